"""How dependable a candidate's change over the placement is, from visits in its two halves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from mentorstats.printed import Shown
from mentorstats.reliability.components.study import GStudy, g_study
from mentorstats.reliability.plans.decision import d_study
from mentorstats.reliability.plans.visit_scores import SCORE, VisitScores

CHANGE = "change of mean rank"


@dataclass(frozen=True, repr=False)
class HalvesChange(Shown):
    """Changes from the first to the second half of the placement, and what they are made of.

    Attributes
    ----------
    study
        Candidates by raters; a score is the mean of a rater's visits in the second half less the first.
    table
        A row a number of raters: ``n_raters``, and the columns of ``d_study`` for a change.
    n_visits
        Visits of a rater to a candidate in one half, harmonic mean.
    notes
        What was left out.
    """

    study: GStudy
    table: pd.DataFrame
    n_visits: float
    notes: tuple[str, ...]


def change_between_halves(
    scores: VisitScores, *, raters: Sequence[int] = (1, 2, 3), confidence: float = 0.95, seed: int = 0
) -> HalvesChange:
    """Study the differences between the halves of each candidate's placement.

    The halves part at the middle of the candidate's weeks with visits. What candidates gain or lose beside
    the others is the component of candidates; a change of the rater's standard, and what visits of two
    halves differ in by chance, is error. For balanced data it is what ``change_study`` makes of candidates by
    halves by raters. A rater's severity cancels; a trend that all candidates share is no one's change.

    Parameters
    ----------
    scores
        From ``plan_scores.visit_scores``.
    raters
        Numbers of raters of a candidate, each in both halves, with as many visits as now.
    confidence, seed
        As for ``g_study``.
    """
    changes, n_visits, left_out = _differences(scores.table)
    study = g_study(
        changes,
        object="candidate",
        facets="rater",
        score=CHANGE,
        confidence=confidence,
        seed=seed,
    )
    found = d_study(study, {"rater": list(raters)}, confidence=confidence)
    notes = []
    if left_out:
        notes.append(f"{left_out} pairs of rater and candidate with visits in one half only were left out.")
    return HalvesChange(study, found.rename(columns={"rater": "n_raters"}), n_visits, tuple(notes))


def _differences(table: pd.DataFrame) -> tuple[pd.DataFrame, float, int]:
    """A row a candidate and rater with visits in both halves; visits a half; pairs with one half only."""
    dated = table[table["week"].notna()]
    weeks = dated.groupby("candidate")["week"]
    second = dated["week"] > (weeks.transform("min") + weeks.transform("max")) / 2
    halves = [
        dated[second == later].groupby(["candidate", "rater"])[SCORE].agg(["mean", "size"])
        for later in (False, True)
    ]
    both = halves[0].merge(halves[1], left_index=True, right_index=True, suffixes=("_first", "_second"))
    change = (both["mean_second"] - both["mean_first"]).rename(CHANGE).reset_index()
    each = both[["size_first", "size_second"]].to_numpy(dtype=float)
    n_visits = float(each.size / (1 / each).sum()) if len(both) else float("nan")
    pairs = dated.groupby(["candidate", "rater"]).ngroups
    return change, n_visits, pairs - len(both)
