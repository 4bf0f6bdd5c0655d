"""Key-scored recordings, one row a rater, day and recording: how far from the key, how often exact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement.counts import coding
from mentorstats.errors import ArgumentError, DuplicateRatingError, need_columns

COLUMNS = ("rater", "recording", "criterion", "level", "key_level", "date")
MEASURES = ("bias", "exact")
TEN_WEEKS = 70 * 86_400.0  # seconds, by which change is told
_WHERE = "key ratings"
_VERSION = ("rubric", "rubric_version")  # part of a criterion's name where they are there


@dataclass(frozen=True, slots=True)
class Recordings:
    """What was scored.

    Attributes
    ----------
    rows
        One row a rater, day and recording, by rater and day: rater, date, recording, n_ratings, bias
        (mean over its criteria of level less key level, in levels), exact (share of them at the key
        level).
    n_left_out
        Ratings without a level or a key level.
    """

    rows: pd.DataFrame
    n_left_out: int


def recordings(key_ratings: pd.DataFrame, *, levels: Sequence[object] | None = None) -> Recordings:
    """Take the criteria of a recording together, because they were scored together.

    Parameters
    ----------
    key_ratings
        The table ``key_ratings``: `COLUMNS`. A recording scored again on a later day is a further row.
    levels
        Every declared level, lowest first; required unless both level columns are ordered categoricals.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; a day is, or the two level columns have different scales; a criterion of a
        recording comes twice on one day.
    """
    need_columns(key_ratings.columns, COLUMNS, where=_WHERE)
    dates = pd.to_datetime(key_ratings["date"]).dt.normalize()
    if dates.isna().any():
        raise ArgumentError(
            f"no day in {int(dates.isna().sum())} rows, first at {key_ratings.index[dates.isna()][0]}",
            where=f"{_WHERE}, column 'date'",
            remedy="Every scoring needs its day, or there is no order in time.",
        )
    scale, given = coding.code_levels(key_ratings["level"], levels)
    own, key = coding.code_levels(key_ratings["key_level"], levels)
    if scale != own:
        raise ArgumentError("level and key level have different scales", where=_WHERE, allowed=scale)
    table = key_ratings[["rater", "recording"]].astype("str").assign(date=dates)
    _refuse_twice(table, key_ratings)
    known = (given >= 0) & (key >= 0)
    table = table.assign(distance=(given - key).astype(float), exact=(given == key).astype(float))[known]
    rows = table.groupby(["rater", "date", "recording"], as_index=False, observed=True, sort=True).agg(
        n_ratings=("distance", "size"), bias=("distance", "mean"), exact=("exact", "mean")
    )
    return Recordings(rows, int((~known).sum()))


def _refuse_twice(table: pd.DataFrame, key_ratings: pd.DataFrame) -> None:
    named = ["criterion", *(name for name in _VERSION if name in key_ratings)]
    full = pd.concat([table, key_ratings[named].astype("str")], axis=1)
    twice = full.duplicated(["rater", "recording", "date", *named], keep=False)
    if twice.any():
        first = full[twice].iloc[0]
        raise DuplicateRatingError(
            f"{first['rater']!r} scored {first['criterion']!r} of recording {first['recording']!r} more than "
            f"once on {first['date'].date()}",
            where=_WHERE,
            remedy="Keep one row a rater, recording, criterion and day.",
        )
