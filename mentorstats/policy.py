"""Dated rows of thresholds and choices: what the programme, its regulator or the trade asks for.

The shipped rows are data_dictionary/policies/*.toml; ``policy.toml`` in a programme's folder
replaces every shipped row of the same id, by rows or by one line ``id = value``. Each shipped row says
what may stand in its place. A row whose value is a word is a choice by name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from pathlib import Path

from mentorstats import places
from mentorstats.declared import policy_rules, toml_file
from mentorstats.declared.policy_rules import KINDS, NO_SOURCE, OWN_SOURCE, Allowed, Rule
from mentorstats.errors import PolicyError

FILE_NAME = "policy.toml"

__all__ = ["FILE_NAME", "KINDS", "NO_SOURCE", "OWN_SOURCE", "Allowed", "Policy", "Rule", "read"]


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
    """Read the shipped rules, overridden by ``folder/policy.toml`` where that exists.

    Raises
    ------
    PolicyError
        The file cannot be read, is not legal TOML, or sets something that a shipped row does not allow;
        the message says where, what is allowed and what to do.
    """
    rules: list[Rule] = []
    for path in sorted((places.data_dictionary() / "policies").glob("*.toml")):
        content = toml_file.read(path, PolicyError) or {}
        rules += [policy_rules.shipped(row, str(path)) for row in content.get("rule", [])]
    replacing = _own(folder / FILE_NAME, {rule.id: rule for rule in rules}) if folder else []
    replaced = {rule.id for rule in replacing}
    return Policy((*(rule for rule in rules if rule.id not in replaced), *replacing))


def _own(path: Path, known: Mapping[str, Rule]) -> list[Rule]:
    """Rows of a programme's own file."""
    content = toml_file.read(path, PolicyError) or {}
    where = str(path)
    rows = content.pop("rule", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise PolicyError(
            f"rule = {toml_file.shown(rows)} is no row",
            where=where,
            allowed="[[rule]] with its keys below, or one line: id = value",
        )
    found = [policy_rules.own(row, _like(row.get("id"), known, where), where) for row in rows]
    lines = [
        policy_rules.one_line(value, _like(name, known, where), where) for name, value in content.items()
    ]
    _check_periods([*found, *lines], where)
    return [*found, *lines]


def _like(name: object, known: Mapping[str, Rule], where: str) -> Rule:
    """Return the shipped row of that id."""
    if isinstance(name, str) and name in known:
        return known[name]
    if name is None:
        raise PolicyError(
            "a [[rule]] has no id", where=where, remedy='Give it id = "…", the id of a shipped rule.'
        )
    raise PolicyError(
        f"unknown rule {toml_file.shown(name)}",
        where=where,
        allowed=sorted(known),
        remedy=policy_rules.instead_of(name, known),
    )


def _check_periods(rows: Sequence[Rule], where: str) -> None:
    """Refuse two rows of one rule that hold on one day."""
    ordered = sorted(rows, key=lambda rule: (rule.id, rule.effective_from))
    for first, second in pairwise(ordered):
        if first.id == second.id and first.in_force(second.effective_from):
            raise PolicyError(
                f"two rows are in force on {second.effective_from}",
                where=f"{where}, rule {first.id}",
                remedy="Keep one of them, or end the first with effective_to.",
            )
