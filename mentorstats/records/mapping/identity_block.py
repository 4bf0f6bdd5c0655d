"""The block ``[identities]``: whether people are replaced by codes on the way in, and where the list lies."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records.mapping import values

RANDOM, KEYED = "random", "keyed"
BLOCK = "identities"
_KEYS = ("folder", "replace", "release", "weeks", "accept")
_REMEDY = 'Name one outside the folder of exports: folder = "../codes-of-people".'


@dataclass(frozen=True, slots=True, kw_only=True)
class Identities:
    """What the block says.

    ``folder`` holds the list of codes, and the key where codes are keyed; ``release`` is a name under which
    everybody gets another code; ``weeks`` makes dates of lessons weeks of a placement; ``accept`` names
    fields in which what looks like an identity is none.
    """

    folder: str
    where: str
    replace: str = RANDOM
    release: str = ""
    weeks: bool = False
    accept: tuple[str, ...] = ()


def read(content: Mapping[str, Any], file: str) -> Identities | None:
    """Read the block, None where there is none; raises MappingError naming key and what is allowed."""
    if BLOCK not in content:
        return None
    block, where = content[BLOCK], f"{file}, {BLOCK}"
    if not isinstance(block, dict):
        raise MappingError(f"{block!r} is no block", where=where, remedy=f"Write [{BLOCK}].")
    values.known(block, _KEYS, where)
    if "folder" not in block:
        raise MappingError("says no folder for the list of names and codes", where=where, remedy=_REMEDY)
    replace = values.text(block.get("replace", RANDOM), where, "replace")
    accepted = values.texts(block["accept"], where, "accept") if "accept" in block else ()
    names = {name for table in dictionary.tables() for name in dictionary.table(table).names}
    for name in accepted:
        values.one_of(name, sorted(names), where, "field")
    return Identities(
        folder=values.filled(block["folder"], where, "folder").strip(),
        where=where,
        replace=values.one_of(replace, (RANDOM, KEYED), where, "way"),
        release=values.text(block.get("release", ""), where, "release").strip(),
        weeks=values.yes_no(block.get("weeks", False), where, "weeks"),
        accept=accepted,
    )
