"""What a result rests on, as a reference list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

from mentorstats import __version__
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Estimate
from mentorstats.sources.bibliography import SOURCES, Source, source

FORMS = ("text", "bibtex")
_OWN = "mentorstats"


def cite(result: Any = (), *, form: str = "text") -> str:
    """References of what a result used, and of this package.

    Parameters
    ----------
    result
        A table, a fit, a study, a survey or any other result of the package, a key of the bibliography,
        or several of them in a list or a mapping. Of a survey the parts that were already asked for count.
    form
        ``"text"``: one reference a line, by author; ``"bibtex"``: one entry each, in UTF-8.

    Raises
    ------
    ArgumentError
        No such form, or a key that is not in the bibliography.

    Examples
    --------
    >>> print(cite("cohen_1960", form="bibtex").splitlines()[0])
    @article{cohen_1960,
    """
    if form not in FORMS:
        raise ArgumentError(f"no form {form!r}", where="cite()", allowed=FORMS)
    found = {key: source(key) for key in keys(result)} | {_OWN: _package()}
    rows = sorted(found.values(), key=lambda one: one.full)
    if form == "bibtex":
        return "\n\n".join(one.bibtex for one in rows)
    return "\n".join(one.full for one in rows)


def keys(result: Any) -> list[str]:
    """Keys of the bibliography that a result names, each once, in the order in which they are met."""
    return [key for key in dict.fromkeys(_keys(result, set())) if key]


def _package() -> Source:
    own = source(_OWN)
    return replace(own, container=f"{own.container}, version {__version__}")


def _keys(value: Any, seen: set[int], *, inside: bool = False) -> Iterator[str]:
    """Keys below a value; text inside a result is no key."""
    import pandas as pd

    if isinstance(value, str):
        yield from () if inside else (value,)
        return
    if id(value) in seen:
        return
    seen.add(id(value))
    parts: list[Any] = []
    if isinstance(value, pd.DataFrame):
        if "reference" in value.columns:
            named = [str(key) for key in value["reference"].dropna().unique()]
            yield from (
                key for key in named if key in SOURCES or not inside
            )  # a result may hold what it was given
    elif isinstance(value, Estimate):
        yield value.reference
    elif isinstance(value, Mapping):
        parts = list(value.values())
    elif isinstance(value, list | tuple | set | frozenset):
        parts = list(value)
    elif is_dataclass(value) and not isinstance(value, type):
        inside = True
        yield from getattr(value, "references", ())
        # Fields, and beside them what was computed on request so far.
        parts = [getattr(value, one.name) for one in fields(value)]
        parts += getattr(value, "__dict__", {}).values()
    for part in parts:
        yield from _keys(part, seen, inside=inside)
