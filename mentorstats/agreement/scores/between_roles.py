"""Do the two roles use the levels equally often, and how far apart are the scores of a lesson?"""

from __future__ import annotations

import pandas as pd
from scipy import stats

from mentorstats.agreement.counts.pairing import ROLES, VERSION, each_criterion, each_version
from mentorstats.agreement.scores.concordance import kendall_w
from mentorstats.agreement.scores.limits_of_agreement import limits_of_agreement
from mentorstats.agreement.scores.marginal_homogeneity import marginal_homogeneity

LESSON = ["observation", *VERSION, "rater_first", "rater_second"]


def levels_used(pairs: pd.DataFrame, rubrics: pd.DataFrame) -> pd.DataFrame:
    """Test by criterion whether both roles give the levels equally often.

    Parameters
    ----------
    pairs, rubrics
        As in `by_version`.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, criterion and test: as `marginal_homogeneity` with candidates
        as clusters, and ``p_adjusted``, of the tests of one kind under one version [benjamini_hochberg_1995].
    """
    parts = {}
    for key, ratings, levels in each_criterion(pairs, rubrics):
        parts[key] = marginal_homogeneity(
            ratings, unit="pair", rater="side", level="rank", levels=levels, cluster="candidate"
        )
    if not parts:
        return pd.DataFrame()
    found = pd.concat(parts, names=[*VERSION, "criterion"])
    family = found["p"].dropna().groupby([*VERSION, "test"])
    found["p_adjusted"] = family.transform(lambda p: stats.false_discovery_control(p))
    return found


def shares(pairs: pd.DataFrame, rubrics: pd.DataFrame) -> pd.DataFrame:
    """Share of each level among the ratings of each role.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, criterion and rank: ``share_first`` and ``share_second``.
    """
    parts = []
    for version, chosen, n_levels in each_version(pairs, rubrics):
        grid = pd.MultiIndex.from_product(
            [sorted(map(str, chosen["criterion"].unique())), range(1, n_levels + 1)],
            names=["criterion", "rank"],
        )
        n = chosen.groupby("criterion", observed=True).size().rename_axis("criterion")
        sides = {}
        for side in ("first", "second"):
            ranks = chosen[f"rank_{side}"].astype("int64").rename("rank")
            counted = ranks.groupby([chosen["criterion"], ranks], observed=True).size()
            sides[f"share_{side}"] = counted.reindex(grid, fill_value=0).div(n, level="criterion")
        parts.append(pd.concat([pd.DataFrame(sides)], keys=[version], names=VERSION))
    return pd.concat(parts) if parts else pd.DataFrame()


def lesson_scores(pairs: pd.DataFrame) -> pd.DataFrame:
    """One row a lesson, rubric version and two raters: each one's mean rank over the same criteria.

    Returns
    -------
    DataFrame
        Indexed by observation, rubric, rubric_version, rater_first and rater_second: ``candidate``,
        ``n_criteria`` that both rated, ``mean_first`` and ``mean_second``.
    """
    ranks = pairs.astype({"rank_first": float, "rank_second": float})
    return ranks.groupby(LESSON, observed=True).agg(
        candidate=("candidate", "first"),
        n_criteria=("criterion", "nunique"),
        mean_first=("rank_first", "mean"),
        mean_second=("rank_second", "mean"),
    )


def lesson_agreement(pairs: pd.DataFrame, *, confidence: float = 0.95) -> pd.DataFrame:
    """Limits of agreement and concordance of the roles' scores of a lesson, by rubric version.

    A score is the mean rank over the criteria that both rated. Lessons of one candidate go together in
    the intervals of the limits; the concordance has none.

    Parameters
    ----------
    pairs
        From `double_scored`, or a selection of its rows.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version and coefficient: the rows of `limits_of_agreement` (first side
        minus second, in levels) and ``kendall_w`` of `kendall_w`. No rows without pairs.
    """
    scores = lesson_scores(pairs)
    parts = {}
    for version, rows in scores.groupby(VERSION, observed=True, sort=True):
        sides = [
            rows.assign(lesson=range(len(rows)), role=role, score=rows[f"mean_{side}"])
            for role, side in zip(ROLES, ("first", "second"), strict=True)
        ]
        long = pd.concat(sides)[["lesson", "role", "score", "candidate"]].reset_index(drop=True)
        limits = limits_of_agreement(
            long, unit="lesson", rater="role", level="score", cluster="candidate", confidence=confidence
        )
        order = kendall_w(long, unit="lesson", rater="role", level="score").loc[["kendall_w"]]
        parts[tuple(map(str, version))] = pd.concat([limits, order])
    return pd.concat(parts, names=VERSION) if parts else pd.DataFrame()
