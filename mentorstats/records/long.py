"""The long table: one row a rating, with all that the other tables know of it."""

import numpy as np
import pandas as pd

COLUMNS = (
    "observation", "placement", "candidate", "cohort", "site", "licensure_area", "grade_band", "week",
    "date", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level", "rank",
    "missing_reason", "independent", "file", "sheet", "row",
)  # fmt: skip

_OF_PLACEMENT = ("candidate", "cohort", "site", "licensure_area", "grade_band")
_DAYS = 7


def long(
    ratings: pd.DataFrame, observations: pd.DataFrame, placements: pd.DataFrame, rubrics: pd.DataFrame
) -> pd.DataFrame:
    """Join ratings to their lesson, placement and rank; columns exactly ``COLUMNS``, rows as in ratings.

    ``week`` counts from the placement's first day, which lies in week 1 (a lesson before it has a
    week of 0 or less); it is missing where either date is. A rating whose lesson was set aside has no
    placement and no date, and one whose placement was set aside no candidate, cohort, site, area and band:
    such ratings serve agreement, and nothing that is asked about candidates. ``rank`` is Int8, 1 for the
    lowest level.
    """
    lesson = _rows(ratings["observation"], observations["observation"])
    out = ratings.copy()
    for name in ("placement", "date"):
        out[name] = _taken(observations[name], lesson)
    place = _rows(out["placement"], placements["placement"])
    for name in _OF_PLACEMENT:
        out[name] = _taken(placements[name], place)
    days = (out["date"] - _taken(placements["start"], place)).dt.days
    out["week"] = (np.floor(days / _DAYS) + 1).astype("Int64")
    out["rank"] = _rank(ratings, rubrics)
    return out[list(COLUMNS)]


def _rows(codes: pd.Series, keys: pd.Series) -> np.ndarray:
    """Position of each code among unique keys, -1 where it is not there."""
    return np.asarray(pd.Index(keys).get_indexer(pd.Index(codes)))


def _taken(column: pd.Series, rows: np.ndarray) -> pd.Series:
    """Return the values at these rows, missing for -1."""
    from pandas.api.extensions import take

    return pd.Series(take(column.array, rows, allow_fill=True))


def _rank(ratings: pd.DataFrame, rubrics: pd.DataFrame) -> pd.Series:
    keys = ["rubric", "rubric_version", "criterion", "level"]
    given = pd.MultiIndex.from_frame(ratings[keys].astype("str"))
    declared = pd.MultiIndex.from_frame(rubrics[["rubric", "version", "criterion", "level"]])
    return _taken(rubrics["rank"], declared.get_indexer(given)).astype("Int8")
