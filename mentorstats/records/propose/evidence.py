"""How far a column is a field: by its heading, by what it holds, and by codes that stand in other files."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from mentorstats import dictionary
from mentorstats.dictionary import Field
from mentorstats.records.propose import words
from mentorstats.records.propose.columns import Column

PEOPLE = ("candidate", "mentor", "supervisor", "rater", "pupil")
KEYS = ("placement", "observation", "recording")
GROUPS = ("site", "cohort", "licensure_area", "grade_band", "gender", "entry_route", "subject", "item")

WORDY = ("criterion", "title", "label", "item", "standards", "subject")
FEW = ("rubric", "rubric_version", "version")

Pools = Mapping[str, frozenset[str]]  # codes that stand elsewhere, by what they are codes of

_NAMED = 0.42  # likeness of a heading below which only the cells speak
_LONG_CODE = 24
_HOURS = ("hours", "hour", "hrs", "hr", "h")


def score(column: Column, table: str, name: str, pools: Pools) -> float:
    """Return how far a column is a field, from 0 to 1; 0 where what it holds rules it out.

    Parameters
    ----------
    pools
        Codes that other sheets hold, by field; empty on the first look.
    """
    if not column.n:
        return 0.0
    field = dictionary.table(table).field(name)
    if name not in (*PEOPLE, *KEYS) and _people(column, pools):
        return 0.0
    heading = _heading(column, table, name)
    held = _held(column, field, table)
    if held == 0.0:
        return 0.0
    named = heading * (0.3 + 0.7 * held) if heading >= _NAMED else 0.0
    own = _unmistakable(column, field, table, pools)
    return 1.0 - (1.0 - named) * (1.0 - 0.62 * own)


def _people(column: Column, pools: Pools) -> bool:
    """Whether a column holds people whom another sheet names."""
    if len(column.values) < 3 or (column.number > 0.9 and len(column.values) < 12):
        return False
    pool = pools.get("rater", frozenset()) | pools.get("candidate", frozenset())
    return bool(pool) and column.share([value in pool for value in column.values]) > 0.6


def _heading(column: Column, table: str, name: str) -> float:
    heading = column.heading
    if not heading:
        return 0.0
    found = words.like_field(heading, table, name)
    if found < 0.95 and words.like_listed(heading, "unrelated") > max(found, 0.8):
        return 0.15 * found
    if found < 0.95 and words.like_listed(heading, "free_text") > max(found, 0.8):
        return 0.15 * found
    return found


def _held(column: Column, field: Field, table: str) -> float:
    """How well the cells fit the field, from 0 (cannot be) to 1."""
    if field.type != "string":
        return _KINDS[field.type](column, field)
    if (column.is_date and not column.code > 0.9) or column.mail > 0.5:
        return 0.0
    if field.categories:
        return _category(column, field, table)
    if column.remarks > 0.5 and field.name not in WORDY:
        return 0.02
    if field.name in PEOPLE:
        return _person(column)
    if field.name in KEYS:
        return 0.9 if column.number > 0.9 or column.code > 0.6 else 0.6 if column.person > 0.9 else 0.75
    if field.name in FEW:
        return 0.9 if len(column.values) <= 6 and (column.distinct < 0.34 or column.n < 9) else 0.1
    if field.name in GROUPS:
        return 0.9 if column.distinct < 0.5 or column.n < 12 else 0.45
    if field.name == "level":
        return 0.9 if len(column.values) <= 15 and column.distinct < 0.6 else 0.1
    if field.name == "criterion":
        return 0.9 if column.distinct < 0.6 or column.n < 12 else 0.3
    return 0.85


def _person(column: Column) -> float:
    if column.number > 0.9 and len(column.values) < 4 and column.n > 12:
        return 0.3
    if column.yes_no > 0.9:
        return 0.05
    return 0.95 if column.person > 0.8 or column.code > 0.8 else 0.75


def _category(column: Column, field: Field, table: str) -> float:
    share = _in_groups(column, table, field.name)
    if share > 0.3:
        return 0.55 + 0.45 * share
    if len(column.values) > max(12, 2 * len(field.categories)) or column.number > 0.8 or column.yes_no > 0.9:
        return 0.03
    return 0.35


def _in_groups(column: Column, table: str, name: str) -> float:
    groups = words.groups(table, name)
    return column.share([words.category(value, groups) is not None for value in column.values])


def _date(column: Column, _: Field) -> float:
    return 1.0 if column.dates.share >= 0.85 else 0.5 if column.dates.share >= 0.6 else 0.0


def _integer(column: Column, field: Field) -> float:
    if field.unit == "minutes" and column.clock > 0.9:
        return 0.95
    if column.number < 0.85 or column.is_date:
        return 0.0
    values = column.numbers
    if field.minimum is not None and (values < field.minimum).any():
        return 0.2
    whole = bool((values == values.astype(int)).all())
    if field.unit == "minutes":
        return 0.95 if (whole and values.max() > 5) or (not whole and values.max() <= 12) else 0.6
    return 0.95 if whole else 0.3


def _number(column: Column, field: Field) -> float:
    text = [value.rstrip("% ").replace(",", ".") for value in column.values]
    share = column.share([value.replace(".", "", 1).replace("-", "", 1).isdigit() for value in text])
    return 0.95 if share >= 0.85 and not column.is_date else 0.0


def _boolean(column: Column, _: Field) -> float:
    return 1.0 if column.yes_no >= 0.85 else 0.0


_KINDS: Mapping[str, Callable[[Column, Field], float]] = {
    "date": _date,
    "integer": _integer,
    "number": _number,
    "boolean": _boolean,
}


def _unmistakable(column: Column, field: Field, table: str, pools: Pools) -> float:
    """What the cells alone tell, from 0 to 1: words of a closed list, codes that stand elsewhere."""
    if field.type != "string":
        return 0.0
    if field.categories:
        share = _in_groups(column, table, field.name)
        return share if len(column.values) > 1 and share > 0.7 and column.number < 0.5 else 0.0
    pool = pools.get(field.name)
    if pool and len(column.values) > 2 and not (column.number > 0.9 and len(column.values) < 12):
        if (
            field.name in ("mentor", "supervisor")
            and words.like_field(column.heading, table, field.name) < _NAMED
        ):
            return 0.0  # raters are mentors and supervisors too
        inside = column.share([value in pool for value in column.values])
        return 0.95 * inside if inside > 0.6 else 0.0
    return 0.0


def unit_of(column: Column, field: Field) -> str:
    """The unit in which a column gives a quantity where that is not the dictionary's, else nothing."""
    if field.unit == "minutes":
        if column.clock > 0.9:
            return "h:mm"
        named = set(words.bare(column.heading).split())
        small = column.number > 0.85 and float(column.numbers.max()) <= 12
        if named & set(_HOURS) and not named & {"minutes", "min", "mins"}:
            return "hours"
        if small and not (column.numbers == column.numbers.astype(int)).all():
            return "hours"
    if field.unit == "share":
        if any("%" in value for value in column.values) or "%" in column.heading:
            return "percent"
        if column.number > 0.85 and float(column.numbers.max()) > 1.5:
            return "percent"
    return ""
