"""The long table: one row a rating, with its lesson, placement, level and rank."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import pandas as pd

from mentorstats.errors import MappingError

COLUMNS = (
    "observation",
    "placement",
    "candidate",
    "cohort",
    "site",
    "licensure_area",
    "grade_band",
    "week",
    "date",
    "rater",
    "rater_role",
    "rubric",
    "rubric_version",
    "criterion",
    "level",
    "rank",
    "missing_reason",
    "independent",
    "file",
    "sheet",
    "row",
)
_OF_PLACEMENT = ["placement", "candidate", "cohort", "site", "licensure_area", "grade_band", "start"]


def long_table(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Join ratings with their observations and placements.

    Parameters
    ----------
    tables
        Checked tables by name.

    Returns
    -------
    DataFrame
        ``COLUMNS``; ``level`` an ordered categorical of the declared levels, lowest first, ``rank``
        Int8 from 1, ``week`` Int64 counted from the placement's first day (first week 1).
    """
    lessons = tables["observations"][["observation", "placement", "date"]]
    placed = tables["placements"][_OF_PLACEMENT]
    ratings = tables["ratings"].merge(lessons, on="observation", how="left", sort=False)
    joined = ratings.merge(placed, on="placement", how="left", sort=False)
    joined["week"] = ((joined["date"] - joined["start"]).dt.days // 7 + 1).astype("Int64")
    joined["rank"] = _ranks(joined, tables["rubrics"])
    return joined[list(COLUMNS)]


def _ranks(ratings: pd.DataFrame, rubrics: pd.DataFrame) -> pd.Series:
    keys = ["rubric", "rubric_version", "criterion", "level"]
    declared = rubrics.rename(columns={"version": "rubric_version"})[[*keys, "rank"]]
    of_rating = ratings[keys].astype({"level": "str"}).merge(declared, on=keys, how="left", sort=False)
    ranks = of_rating["rank"].astype("Int8")
    ranks.index = ratings.index
    return ranks


def level_order(rubrics: pd.DataFrame) -> list[str]:
    """All declared levels, lowest first, over every rubric, version and criterion.

    Raises
    ------
    MappingError
        Two versions put the same two levels in opposite order.
    """
    order: list[str] = []
    pairs: dict[str, set[str]] = {}
    scales = (
        rubrics.sort_values("rank").groupby(["rubric", "version", "criterion"], sort=True)["level"].agg(tuple)
    )
    for scale in dict.fromkeys(scales):
        for below, above in itertools.pairwise(scale):
            pairs.setdefault(above, set()).add(below)
            pairs.setdefault(below, set())
        for level in scale:
            pairs.setdefault(level, set())
    waiting = dict(pairs)
    while waiting:
        ready = [level for level, below in waiting.items() if not below - set(order)]
        if not ready:
            raise MappingError(
                f"levels {', '.join(sorted(waiting))} stand in different orders in different versions",
                where="rubrics",
                remedy="Give the levels of the versions different codes.",
            )
        order.append(ready[0])
        del waiting[ready[0]]
    return order
