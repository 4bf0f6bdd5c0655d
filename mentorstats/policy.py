"""Dated rows of thresholds and choices: what the programme, its regulator or the trade asks for.

The shipped rows are data_dictionary/policies/*.toml; ``policy.toml`` in a programme's folder
replaces every shipped row of the same id. A row whose value is a word is a choice by name.
"""

import math
import operator
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path
from typing import Any

from mentorstats import places
from mentorstats.errors import PolicyError
from mentorstats.sources import SOURCES

FILE_NAME = "policy.toml"
NO_SOURCE = "common practice, no source"
KINDS = ("regulation", "guidance", "convention")

_COMPARE = {
    "<": operator.lt,
    "<=": operator.le,
    "==": operator.eq,
    ">=": operator.ge,
    ">": operator.gt,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One threshold, or one choice by name, and where it comes from.

    A choice has its name in ``choice`` and no number: its ``value`` is NaN.
    """

    id: str
    value: float
    inequality: str
    unit: str
    source: str
    kind: str
    effective_from: date
    effective_to: date | None = None
    meaning: str = ""
    file: str = ""
    choice: str = ""

    def met(self, number: float) -> bool:
        """Whether ``number`` stands to the threshold as the rule asks."""
        return bool(_COMPARE[self.inequality](number, self.value))

    def in_force(self, on: date) -> bool:
        """Whether the rule holds on that day (both ends included)."""
        return self.effective_from <= on and (self.effective_to is None or on <= self.effective_to)


@dataclass(frozen=True, slots=True)
class Policy:
    """The rules in use, one row a threshold and period."""

    rules: tuple[Rule, ...]
    asked: set[str] = field(default_factory=set, compare=False)

    def rule(self, name: str, *, on: date | None = None) -> Rule:
        """Return the rule of that id in force on a day (today, unless said), noting that it was used.

        Raises PolicyError where none is, or more than one.
        """
        day = on or date.today()
        known = [rule for rule in self.rules if rule.id == name]
        current = [rule for rule in known if rule.in_force(day)]
        if len(current) != 1:
            what = f"{len(current)} rules {name!r} are in force on {day}" if known else f"no rule {name!r}"
            raise PolicyError(
                what,
                allowed=sorted({rule.id for rule in self.rules}) if not known else None,
                remedy=f"Give exactly one row with id {name!r} for that day in {FILE_NAME}.",
            )
        self.asked.add(name)
        return current[0]

    def value(self, name: str, *, on: date | None = None) -> float:
        """Threshold of ``rule(name)``."""
        return self.rule(name, on=on).value

    def choice(self, name: str, *, on: date | None = None) -> str:
        """Name that ``rule(name)`` chooses."""
        return self.rule(name, on=on).choice

    def used(self) -> tuple[Rule, ...]:
        """Rules that were asked for so far, in file order: what a report prints."""
        return tuple(rule for rule in self.rules if rule.id in self.asked)


def read(folder: Path | None = None) -> Policy:
    """Read the shipped rules, overridden by ``folder/policy.toml`` where that exists."""
    rules: list[Rule] = []
    for path in sorted((places.data_dictionary() / "policies").glob("*.toml")):
        rules += _rules(path)
    own = folder / FILE_NAME if folder else None
    if own and own.is_file():
        replacing = _rules(own)
        replaced = {rule.id for rule in replacing}
        unknown = sorted(replaced - {rule.id for rule in rules})
        if unknown:
            raise PolicyError(
                f"unknown rule {', '.join(unknown)}",
                where=str(own),
                allowed=sorted({rule.id for rule in rules}),
                remedy="Use the id of a shipped rule.",
            )
        chosen = {rule.id: bool(rule.choice) for rule in rules}
        for rule in replacing:
            _same_kind(rule, chosen[rule.id])
        rules = [rule for rule in rules if rule.id not in replaced] + replacing
    return Policy(tuple(rules))


def _same_kind(rule: Rule, chooses: bool) -> None:
    """Refuse a number where the shipped row chooses by name, and the other way round."""
    if bool(rule.choice) != chooses:
        raise PolicyError(
            f"the value of {rule.id!r} is {'a name' if rule.choice else 'a number'}",
            where=rule.file,
            allowed="a name in quotation marks" if chooses else "a number",
        )


def _rules(path: Path) -> list[Rule]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise PolicyError(f"not legal TOML: {error}", where=str(path)) from error
    rows = content.get("rule", [])
    if not isinstance(rows, list) or set(content) - {"rule"}:
        raise PolicyError("holds something else than [[rule]] rows", where=str(path), allowed="[[rule]]")
    return [_rule(row, f"{path}, rule {number}") for number, row in enumerate(rows, start=1)]


def _rule(row: dict[str, Any], where: str) -> Rule:
    known = {item.name for item in fields(Rule)} - {"file", "choice"}
    needed = known - {"effective_to", "meaning"}
    if set(row) - known or needed - set(row):
        odd = sorted(set(row) - known) or sorted(needed - set(row))
        what = "unknown key" if set(row) - known else "missing key"
        raise PolicyError(f"{what} {', '.join(odd)}", where=where, allowed=sorted(known))
    for key in ("effective_from", "effective_to"):
        if key in row and type(row[key]) is not date:
            raise PolicyError(
                f"{key} = {row[key]!r} is not a date", where=where, allowed="a date like 2026-09-01"
            )
    value = row["value"]
    named = isinstance(value, str) and bool(value.strip()) and row["inequality"] == "=="
    if not named and (isinstance(value, bool) or not isinstance(value, int | float)):
        raise PolicyError(
            f"value = {value!r} is not a number", where=where, allowed='a number, or a name with "=="'
        )
    _one_of(row["inequality"], _COMPARE, "inequality", where)
    _one_of(row["kind"], KINDS, "kind", where)
    _one_of(row["source"], (NO_SOURCE, *SOURCES), "source", where)
    return Rule(**{**row, "value": math.nan, "choice": value} if named else row, file=where)


def _one_of(value: object, allowed: Iterable[str], key: str, where: str) -> None:
    choices = list(allowed)
    if value not in choices:
        raise PolicyError(f"{key} = {value!r} is not known", where=where, allowed=choices)
