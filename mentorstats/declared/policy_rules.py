"""One row of a policy, what a programme may set in its place, and the check of that."""

import math
import operator
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from numbers import Real
from typing import Any

from mentorstats.declared.toml_file import is_text, shown
from mentorstats.errors import PolicyError, nearest
from mentorstats.sources import SOURCES

NO_SOURCE = "common practice, no source"
OWN_SOURCE = "programme decision"
KINDS = ("regulation", "guidance", "convention")

_COMPARE = {
    "<": operator.lt,
    "<=": operator.le,
    "==": operator.eq,
    ">=": operator.ge,
    ">": operator.gt,
}
_OWN = {"file", "choice"}  # not written in a file as they are
_TEXTS = ("unit", "source", "meaning")


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """What a programme may set in place of a shipped row.

    Attributes
    ----------
    inequalities
        Inequalities that keep the sense of the rule.
    least, above, most, below
        Ends of the values: the first and third belong to them, the second and fourth do not.
    whole
        Whether values are whole numbers.
    unset
        Whether NaN may stand for a rule that is not set.
    names
        Names to choose from, where the row is a choice by name.
    """

    inequalities: tuple[str, ...] = tuple(_COMPARE)
    least: float = -math.inf
    above: float = -math.inf
    most: float = math.inf
    below: float = math.inf
    whole: bool = False
    unset: bool = False
    names: tuple[str, ...] = ()

    def holds(self, value: object) -> bool:
        """Whether a value is among those allowed."""
        if self.names:
            return value in self.names
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        if isinstance(value, float) and not math.isfinite(value):
            return self.unset and math.isnan(value)
        inside = self.least <= value <= self.most and self.above < value < self.below
        return inside and (not self.whole or value == int(value))

    def words(self) -> str:
        """Values allowed, in words."""
        if self.names:
            return ", ".join(f'"{name}"' for name in self.names)
        kind = "a whole number" if self.whole else "a number"
        low = f"from {self.least:,g}" if math.isfinite(self.least) else f"above {self.above:,g}"
        joint = "to" if math.isfinite(self.least) and math.isfinite(self.most) else "and at most"
        high = f"{joint} {self.most:,g}" if math.isfinite(self.most) else f"and below {self.below:,g}"
        return f"{kind} {low} {high}{', or nan for not set' if self.unset else ''}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One threshold, or one choice by name, and where it comes from.

    A choice has its name in ``choice`` and no number: its ``value`` is NaN. ``source`` is a key of the
    bibliography, or what a programme says in its own words.
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
    allowed: Allowed = Allowed()

    def met(self, number: float) -> bool:
        """Whether ``number`` stands to the threshold as the rule asks; a missing one does not."""
        return isinstance(number, Real) and bool(_COMPARE[self.inequality](number, self.value))

    def in_force(self, on: date) -> bool:
        """Whether the rule holds on that day (both ends included)."""
        return self.effective_from <= on and (self.effective_to is None or on <= self.effective_to)


def shipped(row: Mapping[str, Any], where: str) -> Rule:
    """Return a row of data_dictionary/policies, checked.

    Raises
    ------
    PolicyError
        A key is missing, unknown or of the wrong kind.
    """
    name = row.get("id")
    if not is_text(name):
        raise PolicyError("a row has no id", where=where)
    place, limits = f"{where}, rule {name}", row.get("allowed")
    if not isinstance(limits, dict) or set(limits) - {item.name for item in fields(Allowed)}:
        raise PolicyError("does not say what is allowed", where=place, allowed="allowed = { … }")
    several = {key: tuple(value) for key, value in limits.items() if isinstance(value, list)}
    rule = _made({**row, "allowed": Allowed(**{**limits, **several})}, place)
    if rule.source not in (NO_SOURCE, *SOURCES):
        raise PolicyError(f"source = {shown(rule.source)} is not in the bibliography", where=place)
    return rule


def own(row: Mapping[str, Any], like: Rule, where: str) -> Rule:
    """Return a row of a programme's own file, checked against the shipped row that it replaces.

    Raises
    ------
    PolicyError
        A key is missing, unknown or of the wrong kind, or the row is not among what is allowed.
    """
    place = f"{where}, rule {like.id}"
    if "allowed" in row:
        raise PolicyError(
            "unknown key 'allowed'", where=place, remedy="Leave it out: it comes with the rule."
        )
    rule = _made({**row, "allowed": like.allowed}, place)
    if rule.unit != like.unit and not like.allowed.names:
        raise PolicyError(
            f"unit = {shown(rule.unit)} is not the unit of this rule",
            where=place,
            allowed=f'"{like.unit}"',
            remedy="Give the value in that unit.",
        )
    return rule


def one_line(value: object, like: Rule, where: str) -> Rule:
    """Return the shipped row with another value, as ``id = value`` asks for."""
    place = f"{where}, rule {like.id}"
    _check_value(value, like.allowed, place)
    return replace(_valued(like, value), source=OWN_SOURCE, kind="convention", effective_to=None, file=where)


def instead_of(name: object, known: Iterable[str]) -> str:
    """What to do about a name that is not known."""
    near = nearest(name, known)
    return f"Did you mean {near}?" if near else "Use the id of a shipped rule."


def _made(row: Mapping[str, Any], place: str) -> Rule:
    _check_keys(row, place)
    for key in _TEXTS:
        if key in row and not is_text(row[key]):
            raise PolicyError(f"{key} = {shown(row[key])} is no text", where=place, allowed=f'{key} = "…"')
    for key, choices in (("inequality", row["allowed"].inequalities), ("kind", KINDS)):
        if row[key] not in choices:
            quoted = ", ".join(f'"{choice}"' for choice in choices)
            raise PolicyError(
                f"{key} = {shown(row[key])} is not allowed",
                where=place,
                allowed=quoted,
                remedy=f"Change {key}.",
            )
    _check_value(row["value"], row["allowed"], place)
    _check_days(row, place)
    plain = {key: value for key, value in row.items() if key != "value"}
    return _valued(Rule(**plain, value=math.nan, file=place), row["value"])


def _check_keys(row: Mapping[str, Any], place: str) -> None:
    known = {item.name for item in fields(Rule)} - _OWN
    needed = known - {"effective_to", "meaning"}
    if set(row) - known:
        odd = sorted(set(row) - known)[0]
        near = nearest(odd, sorted(known))
        raise PolicyError(
            f"unknown key {shown(odd)}",
            where=place,
            allowed=sorted(known - {"allowed"}),
            remedy=f"Did you mean {near}?" if near else "Correct or remove it.",
        )
    if needed - set(row):
        raise PolicyError(
            f"missing key {', '.join(sorted(needed - set(row)))}",
            where=place,
            allowed=sorted(known - {"allowed"}),
            remedy="Add it, or write the rule as one line: id = value.",
        )


def _check_value(value: object, allowed: Allowed, place: str) -> None:
    if not allowed.holds(value):
        raise PolicyError(
            f"value = {shown(value)} is not allowed",
            where=place,
            allowed=allowed.words(),
            remedy="Change value.",
        )


def _check_days(row: Mapping[str, Any], place: str) -> None:
    for key in ("effective_from", "effective_to"):
        if key in row and type(row[key]) is not date:
            raise PolicyError(
                f"{key} = {shown(row[key])} is not a date",
                where=place,
                allowed=f"a date without quotation marks, like {key} = 2026-09-01",
            )
    if "effective_to" in row and row["effective_to"] < row["effective_from"]:
        raise PolicyError(
            f"effective_to = {row['effective_to']} is before effective_from = {row['effective_from']}",
            where=place,
            remedy="Correct one of the two dates.",
        )


def _valued(rule: Rule, value: object) -> Rule:
    """Return the rule with a value that has been checked: a number, or a name."""
    if isinstance(value, str):
        return replace(rule, value=math.nan, choice=value)
    return replace(rule, value=value)  # type: ignore[arg-type]
