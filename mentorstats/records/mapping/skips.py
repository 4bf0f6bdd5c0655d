"""Which rows of a sheet are no records: totals, footers, notes."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mentorstats.errors import MappingError
from mentorstats.records.mapping import values

BY_PLACE = ("first", "last")
BY_CELL = ("starts_with", "equals", "contains", "empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Skip:
    """One rule: ``what`` is one of BY_PLACE, with ``number``, or of BY_CELL, with ``column`` and ``text``."""

    what: str
    number: int = 0
    column: str = ""
    text: str = ""

    @property
    def rule(self) -> str:
        """The rule in words, as `check` tells it."""
        if self.what in BY_PLACE:
            return f"{self.what} {self.number}"
        if self.what == "empty":
            return "empty"
        return f"{self.what.replace('_', ' ')} {self.text!r}"


def read(value: object, where: str) -> tuple[Skip, ...]:
    """Read one rule, or a list of them."""
    rules: list[Any] = value if isinstance(value, list) else [value]
    if not rules or not all(isinstance(rule, dict) for rule in rules):
        raise MappingError(
            f"skip = {value!r}",
            where=where,
            allowed="a rule or a list of rules",
            remedy='Write skip = { column = "your heading", starts_with = "Total" }.',
        )
    return tuple(_rule(rule, where) for rule in rules)


def _rule(rule: Mapping[str, Any], where: str) -> Skip:
    where = f"{where}, skip"
    values.known(rule, (*BY_PLACE, "column", *BY_CELL), where)
    given = [key for key in rule if key != "column"]
    if len(given) != 1:
        raise MappingError(
            f"a rule says one thing, and this one {', '.join(given) or 'none'}",
            where=where,
            allowed=(*BY_PLACE, *BY_CELL),
            remedy="Write a list of rules, one for each.",
        )
    what = given[0]
    if what in BY_PLACE:
        if "column" in rule:
            raise MappingError(f"{what} counts rows and needs no column", where=where)
        return Skip(what=what, number=values.count(rule[what], where, what))
    if "column" not in rule:
        raise MappingError(f"{what} needs a column", where=where, remedy='Add column = "your heading".')
    column = values.filled(rule["column"], where, "column").strip()
    if what == "empty":
        if rule[what] is not True:
            raise MappingError(f"empty = {rule[what]!r}", where=where, allowed="true")
        return Skip(what=what, column=column)
    return Skip(what=what, column=column, text=values.filled(rule[what], where, what).strip())
