"""How many visits by how many raters: from a programme's long table to plans a director can choose from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.printed import Shown
from mentorstats.reliability.components.study import GStudy, g_study
from mentorstats.reliability.plans.cost import Prices, cheapest
from mentorstats.reliability.plans.decision import AS_ESTIMATED, PESSIMISTIC, d_study
from mentorstats.reliability.plans.visit_scores import SCORE, VisitScores, visit_scores

VISITS, RATERS = (1, 2, 3, 4, 6), (1, 2, 3)


@dataclass(frozen=True)
class Trade:
    """What one rater more, and two visits more, would bring to a plan's dependability."""

    rater: float
    visits: float


@dataclass(frozen=True, repr=False)
class VisitPlans(Shown):
    """Plans of visits, and the study behind them.

    Attributes
    ----------
    study
        Candidates by raters, lessons in candidates; a score is the (weighted) mean rank over criteria.
    scores
        What the study was made from.
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
    scores: VisitScores
    table: pd.DataFrame
    chosen: pd.DataFrame
    target: float
    notes: tuple[str, ...]

    @property
    def size(self) -> tuple[int, int]:
        """Raters, and visits each makes, of the plan chosen as estimated; of the best where none was chosen.

        One rater and one visit where no plan has a value.
        """
        chosen = self.chosen[self.chosen["scenario"] == AS_ESTIMATED]
        rows = chosen if len(chosen) else self.estimable.nlargest(1, "dependability")
        if rows.empty:
            return 1, 1
        n_raters, n_visits = int(rows["n_raters"].iloc[0]), int(rows["n_visits"].iloc[0])
        return n_raters, n_visits // n_raters

    @property
    def one_lesson_error(self) -> float:
        """Standard error of the difference in severity of two raters, from one lesson that both scored.

        Root of twice what varies between their scores of one lesson beside severity.
        """
        parts = zip(self.study.told.effects, np.maximum(self.study.estimated.raw, 0.0), strict=True)
        beside = [v for several, v in parts if "rater" in several[-1] and several[0] != {"rater"}]
        return float(np.sqrt(2 * sum(beside)))

    @property
    def pessimistic(self) -> pd.DataFrame:
        """Plans with components of error at zero carried at their upper limit; none where none is at zero."""
        table = self.table[self.table["scenario"] == PESSIMISTIC]
        return _with_value(table)

    @property
    def estimable(self) -> pd.DataFrame:
        """Plans that have a value, as estimated."""
        table = self.table[self.table["scenario"] == AS_ESTIMATED]
        return _with_value(table)

    def trade(self, n_raters: int, n_visits: int) -> Trade | None:
        """Gain by one more rater with as many visits, and by two more visits; None if not estimable."""
        raters = set(self.estimable["n_raters"])
        if not has_value(self.study.status) or max(raters, default=0) < 2:
            return None
        now = _dependability(self.study, n_raters, n_visits / n_raters)
        rater = _dependability(self.study, n_raters + 1, n_visits / (n_raters + 1))
        visits = _dependability(self.study, n_raters, (n_visits + 2) / n_raters)
        return Trade(rater - now, visits - now) if np.isfinite([now, rater, visits]).all() else None


def _with_value(table: pd.DataFrame) -> pd.DataFrame:
    return table[np.array([has_value(Status(status)) for status in table["status"]], dtype=bool)]


def visit_plans(
    ratings: pd.DataFrame,
    *,
    rubrics: pd.DataFrame | None = None,
    visits: Sequence[int] = VISITS,
    raters: Sequence[int] = RATERS,
    target: float = 0.8,
    visit_cost: float = 1.0,
    rater_cost: float = 0.0,
    cut: float | None = None,
    enough: int | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> VisitPlans:
    """Project dependability to plans in which each of some raters makes some visits of their own.

    Parameters
    ----------
    ratings, rubrics
        As in ``plan_scores.visit_scores``: the long table, and declared rubrics for weights of criteria.
    visits, raters
        Visits that each rater makes, and raters.
    target
        Dependability that is wanted.
    visit_cost, rater_cost
        Price of one visit, and of each rater beside it, for one candidate.
    enough
        Candidates from which the newest version of the rubric is used, as in ``visit_scores``.
    cut, confidence, seed
        As in ``d_study`` and ``g_study``; the cut is a mean rank.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or the target is no share.
    """
    if not 0 < target < 1:
        raise ArgumentError(f"target {target!r}", allowed="a dependability between 0 and 1, such as 0.8")
    scores = visit_scores(ratings, rubrics, enough=enough)
    study = g_study(
        scores.table,
        object="candidate",
        facets=["rater", "observation"],
        nested=scores.nested,
        covariates=scores.covariates,
        beside=scores.beside,
        score=SCORE,
        limits="one_step",
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
    by = scores.table["rater"].nunique()
    notes = (*scores.notes, f"Scores are mean ranks over criteria: {study.n_ratings:,} of {by} raters.")
    if "rater_role" in scores.covariates:
        notes = (
            *notes,
            "The mean difference between the roles of raters is set aside: it counts as no error.",
        )
    return VisitPlans(study, scores, table, cheapest(table, target), target, (*notes, *study.notes))


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
