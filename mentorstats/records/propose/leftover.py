"""Fields that no heading names, taken from what columns hold: always unsure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from mentorstats.records.propose.assign import Match
from mentorstats.records.propose.columns import Column, unique
from mentorstats.records.propose.days import parsed

Take = Callable[[str, Column], None]

SCORE = 0.55  # of such a guess, below that of any that is sure
_UNIQUE = 0.97
_OTHERS = 3  # fields that a sheet must name before its candidates are looked for without a heading
_SHORTEST, _LONGEST = 5, 400  # minutes of a lesson


def filled(found: dict[str, Match], columns: Sequence[Column], table: str) -> dict[str, Match]:
    """Return the matches with what columns without a telling heading can only be."""
    made = dict(found)

    def free() -> list[Column]:
        taken = {id(match.column) for match in made.values()}
        return [column for column in columns if id(column) not in taken and not column.parts]

    def take(name: str, column: Column) -> None:
        made[name] = Match(column, SCORE, 0.1)

    dates = [column for column in free() if column.is_date]
    if table == "placements":
        _placement_dates(made, dates, take)
        people = [c for c in free() if not c.is_date and unique([c]) >= _UNIQUE and _names(c)]
        if "candidate" not in made and people and len(made) >= _OTHERS:
            take("candidate", max(people, key=lambda column: (column.person > 0.9, -column.place)))
    elif table in ("observations", "ratings"):
        if "date" not in made and len(dates) == 1:
            take("date", dates[0])
        lengths = [column for column in free() if _lengths(column)]
        if "minutes" not in made and len(lengths) == 1:
            take("minutes", lengths[0])
    return made


def _placement_dates(made: dict[str, Match], dates: list[Column], take: Take) -> None:
    lacking = [name for name in ("start", "end") if name not in made]
    if len(lacking) == len(dates) == 1:
        take(lacking[0], dates[0])
    elif len(lacking) == len(dates) == 2:
        first, last = sorted(dates, key=_middle)
        take("start", first)
        take("end", last)


def _middle(column: Column) -> float:
    days = [parsed(value, column.dates.formats, column.dates.months) for value in column.values]
    return float(np.median([day.toordinal() for day in days if day]))


def _names(column: Column) -> bool:
    return column.person > 0.9 or (column.code > 0.9 and column.filled > 0.9)


def _lengths(column: Column) -> bool:
    """Whether a column can only be the length of a lesson: whole fives of minutes, or quarters of hours."""
    if column.number < 0.95 or len(column.values) < 2 or column.is_date:
        return False
    values = column.numbers
    fives = bool((values % 5 == 0).all()) and values.min() > _SHORTEST and values.max() <= _LONGEST
    quarters = bool((values * 4 % 1 == 0).all()) and not bool((values % 1 == 0).all()) and values.max() <= 8
    return fives or quarters
