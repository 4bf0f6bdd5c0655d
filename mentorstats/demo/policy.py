"""What the invented programme has decided for itself, in ``policy.toml``."""

RULES = {"certification_recordings": 5, "certification_exact": 0.8}
"""Threshold of each rule of certification that the programme has set."""

_ROW = """
[[rule]]
id = "{id}"
value = {value}
inequality = ">="
unit = "{unit}"
source = "common practice, no source"
kind = "convention"
effective_from = 2023-09-01
meaning = "Decided by the programme."
"""
_UNITS = {"certification_recordings": "recordings", "certification_exact": "fraction of ratings"}


def document() -> str:
    """The file."""
    rows = [_ROW.format(id=name, value=value, unit=_UNITS[name]) for name, value in RULES.items()]
    return "# Rules of this programme; all others are the shipped ones.\n" + "".join(rows)
