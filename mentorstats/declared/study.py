"""What a programme says of its own study, in ``study.toml`` beside the exports, and what it is asked.

The items are data_dictionary/vocabulary/reporting_items.toml.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from mentorstats import places
from mentorstats.declared import toml_file
from mentorstats.errors import DictionaryError, SourceFileError, nearest

FILE_NAME = "study.toml"
PARTS = ("title and abstract", "introduction", "methods", "results", "discussion", "supplement")


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a report of an agreement study should tell."""

    name: str
    part: str
    asks: str
    prompt: str
    from_data: bool


@cache
def items() -> tuple[Item, ...]:
    """All items, in the order of a report."""
    path = places.data_dictionary() / "vocabulary" / "reporting_items.toml"
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    known = {item.name for item in fields(Item)} - {"name"}
    for name, block in content.items():
        if set(block) != known or block["part"] not in PARTS:
            raise DictionaryError("is no item", where=f"{path}, {name}", allowed=sorted(known))
    return tuple(Item(name=name, **block) for name, block in content.items())


def read(folder: Path) -> Mapping[str, str]:
    """Read ``folder/study.toml``: a text an item; empty where there is no such file.

    Raises
    ------
    SourceFileError
        The file cannot be read, is not legal TOML, names something that is no item, or gives an item no text.
    """
    path = folder / FILE_NAME
    return checked(toml_file.read(path, SourceFileError) or {}, where=str(path))


def checked(content: Mapping[str, object], *, where: str) -> Mapping[str, str]:
    """Return the texts without white space at their ends; blank ones count as not given."""
    names = [item.name for item in items()]
    for name, text in content.items():
        if name not in names:
            near = nearest(name, names)
            raise SourceFileError(
                f"{toml_file.shown(name)} is no reporting item",
                where=where,
                allowed=names,
                remedy=f"Did you mean {near!r}?" if near else "Use the name of an item.",
            )
        if not isinstance(text, str) or (text.strip() and not toml_file.is_text(text)):
            raise SourceFileError(
                f"{name} = {toml_file.shown(text)} is no text",
                where=where,
                allowed=f'{name} = "…", without control characters',
                remedy="Write the answer in quotation marks.",
            )
    return {name: str(text).strip() for name, text in content.items() if str(text).strip()}
