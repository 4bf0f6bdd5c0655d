"""How one field is made of the cells of a row: a heading, several of them, a part of a cell, a unit."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records.mapping import values

SIDES = ("before", "after")
CLOCK = "h:mm"
# How many of the dictionary's unit one of theirs is; None where it is read as a clock shows it.
UNITS: Mapping[str, Mapping[str, float | None]] = {
    "minutes": {"minutes": 1.0, "hours": 60.0, "seconds": 1 / 60, CLOCK: None},
    "share": {"share": 1.0, "percent": 0.01},
}
_KEYS = ("column", "columns", "join", "unit", "take", "at")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """One field, or one criterion of a wide form, in terms of headings.

    ``whole`` says that a value has all its parts or is empty, as a key is; ``join`` stands between them.
    ``take`` is the side of ``at`` that counts; a cell without ``at`` counts as it is.
    """

    headings: tuple[str, ...]
    join: str = " / "
    whole: bool = True
    unit: str = ""
    take: str = ""
    at: str = ""

    @property
    def named(self) -> str:
        """The headings, as a message names them."""
        return " + ".join(self.headings)


def read(value: object, where: str, key: str) -> Recipe:
    """Read a heading, a list of headings, or a table with ``column`` or ``columns``."""
    if isinstance(value, list):
        return Recipe(headings=_headings(value, where, key))
    if not isinstance(value, dict):
        return Recipe(headings=(values.text(value, where, key).strip(),))
    if "from_file_name" in value:
        raise MappingError(
            f"{key}: a part of the file's name is the same for every row",
            where=where,
            remedy="Write it under constants.",
        )
    values.known(value, _KEYS, f"{where}, {key}")
    if ("column" in value) == ("columns" in value):
        raise MappingError(
            f"{key} needs column or columns, one of the two",
            where=where,
            remedy='Write { column = "your heading" } or { columns = ["one", "another"] }.',
        )
    if "columns" in value:
        return _joined(value, where, key)
    return _of_one(value, where, key)


def _joined(value: Mapping[str, Any], where: str, key: str) -> Recipe:
    idle = [name for name in ("unit", "take", "at") if name in value]
    if idle:
        raise MappingError(f"{key}: {idle[0]} acts on one column, not on several", where=where)
    join = value.get("join", " ")
    if not isinstance(join, str):
        raise MappingError(f"{key}.join = {join!r} is not text", where=where)
    return Recipe(headings=_headings(value["columns"], where, f"{key}.columns"), join=join, whole=False)


def _of_one(value: Mapping[str, Any], where: str, key: str) -> Recipe:
    if "join" in value:
        raise MappingError(f"{key}: join acts on several columns, not on one", where=where)
    if ("take" in value) != ("at" in value):
        raise MappingError(f"{key}: take and at go together", where=where)
    at = value.get("at", "")
    if "at" in value and (not isinstance(at, str) or not at):
        raise MappingError(f"{key}.at = {at!r}", where=where, allowed="the text that parts the cell")
    take = values.one_of(str(value["take"]), SIDES, where, f"{key}.take") if "take" in value else ""
    unit = values.text(value["unit"], where, f"{key}.unit") if "unit" in value else ""
    heading = values.filled(value["column"], where, f"{key}.column").strip()
    return Recipe(headings=(heading,), unit=unit, take=take, at=at)


def _headings(value: object, where: str, key: str) -> tuple[str, ...]:
    headings = tuple(values.filled(one, where, key).strip() for one in values.texts(value, where, key))
    if len(set(headings)) < len(headings):
        raise MappingError(f"{key} names a column twice", where=where)
    return headings


def unit_fits(recipe: Recipe, field: dictionary.Field, where: str) -> None:
    """Raise MappingError where a unit is given that the field cannot be turned into."""
    if not recipe.unit:
        return
    allowed = UNITS.get(field.unit, {})
    if not allowed:
        raise MappingError(
            f"{field.name} = {{ unit = {recipe.unit!r} }}: the field is no quantity with a unit",
            where=where,
            remedy="Leave the unit out.",
        )
    values.one_of(recipe.unit, allowed, where, f"{field.name}.unit")
