"""Everything that is asked about the components of a score, from a programme's records."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from mentorstats.entry import entry
from mentorstats.policy import Policy
from mentorstats.printed import Printed, Shown, counts
from mentorstats.progress import stage
from mentorstats.reliability.criteria.by_criterion import by_criterion
from mentorstats.reliability.plans.halves import HalvesChange, change_between_halves
from mentorstats.reliability.plans.visit_plans import VisitPlans, visit_plans


@dataclass(frozen=True, eq=False, repr=False)
class Survey(Shown):
    """Plans of visits, each criterion separately, and how dependable change is; computed when asked for."""

    long: pd.DataFrame
    rubrics: pd.DataFrame
    policy: Policy
    seed: int = 0

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Components of a score and plans of visits, each part computed when asked for",
            facts=(
                counts(((len(self.long), "rating"), (int(self.long["candidate"].nunique()), "candidate"))),
            ),
            ask=(".plans", ".criteria", ".change", "ms.cite(survey)"),
        )

    @property
    def confidence(self) -> float:
        """Coverage of intervals."""
        return self.policy.value("confidence")

    @cached_property
    def plans(self) -> VisitPlans:
        """Components and plans of visits."""
        target = self.policy.value("target_dependability")
        with stage("components and plans"):
            return visit_plans(
                self.long,
                rubrics=self.rubrics,
                target=target,
                enough=math.ceil(self.policy.value("newest_version_candidates")),
                confidence=self.confidence,
                seed=self.seed,
            )

    @cached_property
    def criteria(self) -> pd.DataFrame:
        """Each criterion separately, under the plan of ``plans``."""
        with stage("criteria one at a time"):
            return by_criterion(
                self.plans.scores, *self.plans.size, confidence=self.confidence, seed=self.seed
            )

    @cached_property
    def change(self) -> HalvesChange | None:
        """Reliability of change between the halves of a placement."""
        return change_between_halves(self.plans.scores, confidence=self.confidence, seed=self.seed)


@entry()
def survey(long: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy, *, seed: int = 0) -> Survey:
    """Ask everything about the components of a score; each part is computed when it is first asked for.

    Parameters
    ----------
    long, rubrics
        Tables of the records; ratings without a candidate are left out.
    policy
        Thresholds ``confidence``, ``target_dependability`` and ``newest_version_candidates``.
    seed
        Of drawn components.
    """
    return Survey(long, rubrics, policy, seed)
