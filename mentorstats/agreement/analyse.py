"""Everything that is asked about two raters of one lesson."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from mentorstats.agreement.coefficients.by_version import by_version
from mentorstats.agreement.counts import double_scoring, flow
from mentorstats.agreement.counts.pairing import double_scored
from mentorstats.agreement.counts.without_level import WithoutLevel, without_level
from mentorstats.agreement.reading import in_words, next_round, selection
from mentorstats.agreement.scores import between_roles, level_differences
from mentorstats.agreement.scores.single_scores import single_scores
from mentorstats.entry import entry
from mentorstats.policy import Policy
from mentorstats.printed import Printed, Shown, counts
from mentorstats.progress import stage

CROSSED = ("candidate", "supervisor")


@dataclass(frozen=True, eq=False, repr=False)
class Survey(Shown):
    """Everything about agreement, each part computed when it is first asked for.

    ``pairs`` are the pairs of a mentor's and a supervisor's ratings of one lesson and criterion; all parts
    but ``with_all`` use those given independently. Each part is documented at the function that computes it.
    """

    long: pd.DataFrame
    rubrics: pd.DataFrame
    policy: Policy
    observations: pd.DataFrame
    seed: int = 0

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Agreement of two raters of one lesson, each part computed when asked for",
            facts=(
                counts(
                    (
                        (len(self.long), "rating"),
                        (len(self.pairs), "pair"),
                        (len(self.independent), "independent pair"),
                    )
                ),
            ),
            ask=(".by_criterion", ".overall", ".words", ".differences", ".flow", "ms.cite(survey)"),
        )

    @property
    def confidence(self) -> float:
        """Coverage of intervals."""
        return self.policy.value("confidence")

    @cached_property
    def flow(self) -> pd.DataFrame:
        """What each filter excludes; see `flow`."""
        return flow.flow(flow.checks(self.long))

    @cached_property
    def gaps(self) -> WithoutLevel:
        """Ratings without a level, by reason and rater."""
        return without_level(self.long)

    @cached_property
    def lessons(self) -> double_scoring.DoubleScoring:
        """How many lessons were double-scored."""
        return double_scoring.double_scores(self.long)

    @cached_property
    def pairs(self) -> pd.DataFrame:
        """All pairs; see `double_scored`. A lesson whose candidate is not known is a cluster of its own."""
        pairs = double_scored(self.long)
        return pairs.assign(candidate=pairs["candidate"].fillna(pairs["observation"]))

    @cached_property
    def independent(self) -> pd.DataFrame:
        """Pairs of which no rating is marked as not independent."""
        return self.pairs[self.pairs["independent"].fillna(True)]

    @cached_property
    def by_criterion(self) -> pd.DataFrame:
        """Coefficients by criterion; see `by_version`."""
        with stage("agreement by criterion"):
            return by_version(self.independent, self.rubrics, confidence=self.confidence)

    @cached_property
    def overall(self) -> pd.DataFrame:
        """Coefficients over all criteria together."""
        return by_version(self.independent, self.rubrics, by=(), confidence=self.confidence)

    @cached_property
    def crossed(self) -> pd.DataFrame:
        """The same, clustered by candidate and supervisor."""
        return by_version(self.independent, self.rubrics, by=(), cluster=CROSSED, confidence=self.confidence)

    @cached_property
    def with_all(self) -> pd.DataFrame:
        """The same with all pairs."""
        return by_version(self.pairs, self.rubrics, by=(), confidence=self.confidence)

    @cached_property
    def representativeness(self) -> selection.Selection:
        """Whether double-scored lessons are representative; see `compare`."""
        return selection.compare(
            self.long, self.independent, self.rubrics, self.policy, more=self.observations
        )

    @cached_property
    def words(self) -> in_words.Words:
        """Coefficients in an author's words."""
        return in_words.in_words(self.by_criterion, self.policy)

    @cached_property
    def paradoxes(self) -> pd.DataFrame:
        """Where high agreement goes with a low kappa."""
        return in_words.paradoxes(self.independent, self.rubrics, self.policy)

    @cached_property
    def differences(self) -> pd.DataFrame:
        """Mean signed differences by criterion."""
        return level_differences.differences(self.independent, confidence=self.confidence)

    @cached_property
    def paired(self) -> pd.DataFrame:
        """Which levels were paired."""
        return level_differences.paired_levels(self.independent, self.rubrics)

    @cached_property
    def levels(self) -> pd.DataFrame:
        """Tests of the use of levels."""
        return between_roles.levels_used(self.independent, self.rubrics)

    @cached_property
    def shares(self) -> pd.DataFrame:
        """Shares of each level by role."""
        return between_roles.shares(self.independent, self.rubrics)

    @cached_property
    def scores(self) -> pd.DataFrame:
        """Agreement of the two scores of a lesson."""
        return between_roles.lesson_agreement(self.independent, confidence=self.confidence)

    @cached_property
    def next_round(self) -> pd.DataFrame:
        """Lessons to double-score next time."""
        return next_round.needed(self.independent, self.rubrics, self.policy)

    @cached_property
    def single(self) -> pd.DataFrame:
        """Reliability of one rating and of a candidate's mean."""
        with stage("reliability of a rating"):
            return single_scores(self.long, confidence=self.confidence, seed=self.seed)


@entry()
def survey(
    long: pd.DataFrame,
    rubrics: pd.DataFrame,
    policy: Policy,
    *,
    observations: pd.DataFrame,
    seed: int = 0,
) -> Survey:
    """Ask everything about agreement; each part is computed when it is first asked for.

    Parameters
    ----------
    long, rubrics, observations
        Tables of the records.
    policy
        Thresholds: ``confidence``, and those that the single parts name.
    seed
        Of drawn variances.
    """
    return Survey(long, rubrics, policy, observations, seed)
