"""All that is asked about what a score is made of, from a programme's records, in one run."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.entry import entry
from mentorstats.policy import Policy
from mentorstats.progress import stage
from mentorstats.reliability.criteria.by_criterion import by_criterion
from mentorstats.reliability.plans.halves import HalvesChange, change_between_halves
from mentorstats.reliability.plans.visit_plans import VisitPlans, visit_plans


@dataclass(frozen=True)
class Survey:
    """Plans of visits, each criterion by itself, and how dependable change is."""

    plans: VisitPlans
    criteria: pd.DataFrame
    change: HalvesChange | None


@entry()
def survey(long: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy, *, seed: int = 0) -> Survey:
    """Ask everything about the components of a score.

    Parameters
    ----------
    long, rubrics
        Tables of the records.
    policy
        Thresholds ``confidence`` and ``target_dependability``.
    seed
        Of drawn components.
    """
    confidence, target = policy.value("confidence"), policy.value("target_dependability")
    with stage("components and plans"):
        plans = visit_plans(long, rubrics=rubrics, target=target, confidence=confidence, seed=seed)
    with stage("each criterion by itself"):
        criteria = by_criterion(plans.scores, *plans.size, confidence=confidence, seed=seed)
    change = change_between_halves(plans.scores, confidence=confidence, seed=seed)
    return Survey(plans, criteria, change)
