"""What every printed form is held to."""

import mentorstats as ms
from mentorstats.caution import CAUTION

LONGEST = 14  # lines of a printed form, the caution included


def plain(result, *, people):
    """Return the text of a result, held to what every printed form is."""
    text, page = repr(result), result._repr_html_()
    assert str(result) == text
    assert text.count("\n") < LONGEST
    assert (CAUTION in text) == (CAUTION in page.replace("&#x27;", "'")) == people
    assert "Next: " in text
    assert page.count("<p>") == page.count("</p>")
    for dump in ("DataFrame", "dtype", "rows x", "<table", " NaN", "{"):
        assert dump not in text
    return text


def exists(text, result, module):
    """Whether what is asked next is there: attributes of the result, functions of its module."""
    asked = next(line for line in text.splitlines() if "Next: " in line).split("Next: ")[1]
    for name in (part.split("(")[0] for part in asked.split(", ")):
        if name.startswith("ms."):
            of = ms
            for step in name.split(".")[1:]:
                of = getattr(of, step)
        elif name.startswith("."):
            assert hasattr(type(result), name[1:]) or name[1:] in type(result).__dataclass_fields__, name
        else:
            assert hasattr(module, name), name
