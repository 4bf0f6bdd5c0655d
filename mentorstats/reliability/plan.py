"""How many visits by how many raters: from a programme's long table to plans a director can choose from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.terms import FixedTerm
from mentorstats.reliability.cost import Prices, cheapest
from mentorstats.reliability.decision import AS_ESTIMATED, d_study
from mentorstats.reliability.study import GStudy, g_study

COLUMNS = ("candidate", "observation", "rater", "rater_role", "criterion", "rank", "week")
SCORE = "mean rank"
VISITS, RATERS = (1, 2, 3, 4, 6), (1, 2, 3)


@dataclass(frozen=True)
class Trade:
    """What one rater more, and two visits more, would bring to a plan's dependability."""

    rater: float
    visits: float


@dataclass(frozen=True)
class VisitPlans:
    """Plans of visits, and the study behind them.

    Attributes
    ----------
    study
        Candidates by raters, lessons in candidates; a score is the mean rank over criteria.
    table
        A row a plan: ``n_raters``, ``n_visits`` (in all), ``scenario`` and the columns of ``d_study``.
    chosen
        The cheapest plan that reaches the target, for each scenario; none where no plan does.
    target
        The dependability that is wanted.
    notes
        What was used, and what a reader has to know.
    """

    study: GStudy
    table: pd.DataFrame
    chosen: pd.DataFrame
    target: float
    notes: tuple[str, ...]

    @property
    def estimable(self) -> pd.DataFrame:
        """Plans that have a value, as estimated."""
        table = self.table[self.table["scenario"] == AS_ESTIMATED]
        return table[[has_value(Status(status)) for status in table["status"]]]

    def trade(self, n_raters: int, n_visits: int) -> Trade | None:
        """Gain by one more rater with as many visits, and by two more visits; None if not estimable."""
        raters = set(self.estimable["n_raters"])
        if not has_value(self.study.status) or max(raters, default=0) < 2:
            return None
        now = _dependability(self.study, n_raters, n_visits / n_raters)
        rater = _dependability(self.study, n_raters + 1, n_visits / (n_raters + 1))
        visits = _dependability(self.study, n_raters, (n_visits + 2) / n_raters)
        return Trade(rater - now, visits - now) if np.isfinite([now, rater, visits]).all() else None


def visit_plans(
    ratings: pd.DataFrame,
    *,
    visits: Sequence[int] = VISITS,
    raters: Sequence[int] = RATERS,
    target: float = 0.8,
    visit_cost: float = 1.0,
    rater_cost: float = 0.0,
    cut: float | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> VisitPlans:
    """Project dependability to plans in which each of some raters makes some visits of their own.

    Parameters
    ----------
    ratings
        The long table: candidate, observation, rater, rater_role, criterion, rank, week; where there are
        ``rubric`` and ``rubric_version``, the version with most ratings is used, and where there is
        ``independent``, ratings that are not independent are left out.
    visits, raters
        Visits that each rater makes, and raters.
    target
        Dependability that is wanted.
    visit_cost, rater_cost
        Price of one visit, and of each rater beside it, for one candidate.
    cut, confidence, seed
        As in ``d_study`` and ``g_study``; the cut is a mean rank.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or the target is no share.
    """
    need_columns(ratings.columns, COLUMNS, where="ratings")
    if not 0 < target < 1:
        raise ArgumentError(f"target {target!r}", allowed="a dependability between 0 and 1, such as 0.8")
    rows, notes = _used(ratings)
    scores = _scores(rows)
    study = g_study(
        scores,
        object="candidate",
        facets=["rater", "observation"],
        nested=_nested(scores),
        covariates=_covariates(scores),
        score=SCORE,
        confidence=confidence,
        seed=seed,
    )
    cost: Prices = {"rater": rater_cost, ("rater", "observation"): visit_cost}
    found = d_study(
        study,
        {"rater": list(raters), "observation": list(visits)},
        nested={"observation": "rater"},
        cut=cut,
        cost=cost,
        confidence=confidence,
    )
    table = found.rename(columns={"rater": "n_raters"})
    table.insert(1, "n_visits", found["rater"] * found["observation"])
    table = table.drop(columns="observation")
    notes += [f"Scores are mean ranks over criteria: {study.n_ratings} of {rows['rater'].nunique()} raters."]
    return VisitPlans(study, table, cheapest(table, target), target, (*notes, *study.notes))


def _used(ratings: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Rows with a rank, of one version of the rubric, given independently."""
    rows, notes = ratings[ratings["rank"].notna()], []
    if "independent" in rows:
        dependent = rows["independent"].astype("boolean").fillna(True).eq(False).to_numpy(dtype=bool)
        if dependent.any():
            notes.append(f"{int(dependent.sum())} ratings that were not independent were left out.")
        rows = rows[~dependent]
    version = [name for name in ("rubric", "rubric_version") if name in rows]
    if version and len(rows):
        counts = rows.groupby(version, observed=True).size()
        most = rows.set_index(version).index == counts.idxmax()
        if len(counts) > 1:
            notes.append(f"Of {len(counts)} versions of the rubric the one with most ratings was used.")
        rows = rows[most]
    return rows, notes


def _scores(rows: pd.DataFrame) -> pd.DataFrame:
    keys = ["candidate", "observation", "rater", "rater_role"]
    kept = rows.assign(**{SCORE: rows["rank"].astype("float64"), "week": rows["week"].astype("float64")})
    for name in keys:
        kept[name] = kept[name].astype("str")
    return kept.groupby(keys, as_index=False)[[SCORE, "week"]].mean()


def _nested(scores: pd.DataFrame) -> dict[str, str]:
    """Lessons lie in candidates; raters do where none of several has met two."""
    nested = {"observation": "candidate"}
    met = scores.groupby("rater")["candidate"].nunique()
    if 1 < scores["candidate"].nunique() < len(met) and met.max() == 1:
        nested["rater"] = "candidate"
    return nested


def _covariates(scores: pd.DataFrame) -> list[FixedTerm]:
    """Allow for weeks, which would pass for lessons, and for roles, where they differ."""
    found: list[FixedTerm] = []
    if scores["week"].notna().all() and scores["week"].nunique() > 1:
        found.append("week")
    if scores["rater_role"].nunique() > 1:
        found.append("rater_role")
    return found


def _dependability(study: GStudy, raters: float, visits: float) -> float:
    """Dependability with visits divided evenly, also where they do not divide into whole numbers."""
    raw = np.maximum(study.estimated.raw, 0.0)
    own = error = 0.0
    for several, value in zip(study.told.effects, raw, strict=True):
        if any(effect == {study.design.object} for effect in several):
            own += value
        elif any("observation" not in effect for effect in several):
            error += value / raters
        else:
            error += value / (raters * visits)
    return own / (own + error) if own + error > 0 else np.nan
