"""Everything that is asked about raters, from one base fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from mentorstats.calibration.base.base import Base, base_fit
from mentorstats.calibration.base.simulated import Redraws, redraws
from mentorstats.calibration.follow_up import Flags, flags
from mentorstats.calibration.forms.halo import halo
from mentorstats.calibration.groups.fairness import GROUP_FIELDS, Fairness, candidate_groups, fairness
from mentorstats.calibration.groups.same_instrument import SameInstrument, same_instrument
from mentorstats.calibration.networks.linkage import Linkage, by_version, linkage
from mentorstats.calibration.networks.overlap import in_common
from mentorstats.calibration.raters.adjusted import Adjusted, adjusted_scores
from mentorstats.calibration.raters.assignment import Assignment, assignment_check
from mentorstats.calibration.raters.drift import Drift, drift_between
from mentorstats.calibration.raters.level_use import level_use
from mentorstats.calibration.raters.own_mentor import is_own_mentor, own_mentor_difference
from mentorstats.calibration.raters.rating_fit import criterion_fit, rating_fit
from mentorstats.calibration.raters.separation import separation
from mentorstats.calibration.raters.severity import severity
from mentorstats.calibration.raters.spread import central_tendency, range_restriction
from mentorstats.entry import entry
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.printed import Printed, Shown, counts
from mentorstats.progress import stage
from mentorstats.tables import of_candidates

INSTRUMENT = ("rater_role", "cohort", "visit_mode", "rubric_version")


@dataclass(frozen=True, repr=False)
class Linked(Shown):
    """What identifies severity: networks over all ratings, under each version, and raters in common."""

    about_people = True

    all: Linkage
    versions: Mapping[tuple[str, ...], Linkage]
    cohorts: pd.DataFrame


@dataclass(frozen=True, repr=False)
class Spread(Shown):
    """How raters use the levels; every table a row a rater and role unless said otherwise.

    ``levels`` has a row a rater, role and level, ``criteria`` a row a criterion of a version.
    """

    about_people = True

    central: pd.DataFrame
    restriction: pd.DataFrame
    halo: pd.DataFrame
    by_information: pd.DataFrame
    by_response: pd.DataFrame
    criteria: pd.DataFrame
    levels: pd.DataFrame


@dataclass(frozen=True, eq=False, repr=False)
class Survey(Shown):
    """Everything about raters, from one base fit; each part is computed when it is first asked for.

    Each part is documented at the function that computes it.
    """

    long: pd.DataFrame
    policy: Policy
    placements: pd.DataFrame
    observations: pd.DataFrame
    given: Base | None = None
    cut: float | None = None
    seed: int = 0

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Everything about raters, each part computed when asked for",
            facts=(
                counts(
                    (
                        (len(self.long), "rating"),
                        (int(self.long["rater"].nunique()), "rater"),
                        (int(self.long["candidate"].nunique()), "candidate"),
                    )
                ),
            ),
            ask=(".linked", ".severity", ".roles", ".weeks", ".flags", "ms.cite(survey)"),
            people=True,
        )

    @property
    def confidence(self) -> float:
        """Coverage of intervals."""
        return self.policy.value("confidence")

    @cached_property
    def linked(self) -> Linked:
        """Which raters can be compared; see `networks`."""
        with stage("networks of raters"):
            return networks(self.long, self.policy)

    @cached_property
    def base(self) -> Base:
        """The one fit; see `base_fit`."""
        with stage("base model of all ratings"):
            return self.given or base_fit(self.long, confidence=self.confidence)

    @cached_property
    def assigned(self) -> Assignment:
        """Whether assignment is related to candidate quality."""
        return assignment_check(self.base, confidence=self.confidence)

    @cached_property
    def severity(self) -> pd.DataFrame:
        """Severity of raters."""
        return severity(self.base, networks=self.linked.all.raters)

    @cached_property
    def roles(self) -> pd.DataFrame:
        """How far raters of a role differ; see `separation`."""
        return separation(self.base, self.severity)

    @cached_property
    def own_mentor(self) -> pd.DataFrame:
        """Whether mentors rate their own candidates higher."""
        own = is_own_mentor(self.base.rows, self.placements)
        return own_mentor_difference(self.base, own, confidence=self.confidence)

    @cached_property
    def weeks(self) -> Drift:
        """Drift over weeks."""
        with stage("drift"):
            return drift_between(self.base, per="week", confidence=self.confidence)

    @cached_property
    def cycles(self) -> Drift:
        """Drift from cycle to cycle."""
        return drift_between(self.base, per="cycle", confidence=self.confidence)

    @cached_property
    def drawn(self) -> Redraws | None:
        """Ratings drawn from the base fit, where it has values."""
        with stage("ratings drawn from the model"):
            return redraws(self.base, seed=self.seed) if has_value(self.base.status) else None

    @cached_property
    def spread(self) -> Spread:
        """Central tendency, range restriction, halo, fit and use of levels."""
        with stage("spread, halo and fit"):
            return _spread(self.base, self.drawn, self.confidence)

    @cached_property
    def groups(self) -> Sequence[Fairness]:
        """Fairness to groups of candidates, one a field of the placements."""
        with stage("fairness to groups"):
            return [
                fairness(
                    self.base,
                    candidate_groups(self.placements, name),
                    self.policy,
                    confidence=self.confidence,
                )
                for name in GROUP_FIELDS
                if name in self.placements
            ]

    @cached_property
    def instrument(self) -> Sequence[SameInstrument]:
        """Whether the instrument is the same for roles, cohorts, modes and versions."""
        return _instrument(self.base, self.observations, self.policy)

    @cached_property
    def scores(self) -> Adjusted:
        """Candidates' scores with a rater of average severity."""
        return adjusted_scores(self.base, assignment=self.assigned, cut=self.cut, confidence=self.confidence)

    @cached_property
    def flags(self) -> Flags:
        """Raters flagged on any effect."""
        tables = {
            "severity": self.severity,
            "drift over weeks": self.weeks.raters,
            "central tendency": self.spread.central,
            "range restriction": self.spread.restriction,
            "halo": self.spread.halo,
            "weighted fit": self.spread.by_information,
        }
        closed = _not_ignorable(self.assigned)
        return flags(tables, self.policy, not_ignorable=closed, ratings=self.base.rows)


@entry()
def survey(
    long: pd.DataFrame,
    policy: Policy,
    *,
    placements: pd.DataFrame,
    observations: pd.DataFrame,
    base: Base | None = None,
    cut: float | None = None,
    seed: int = 0,
) -> Survey:
    """Ask everything about raters, with one base fit.

    Parameters
    ----------
    long, placements, observations
        Tables of the records; ratings without a candidate are left out.
    policy
        Thresholds: ``confidence``, ``linking_lessons``, and those that `flags` and `fairness` name.
    base
        The base fit of ``long``, where it has been made already.
    cut
        Mean score in ranks at which candidates pass, for `adjusted_scores`.
    seed
        Of drawn ratings.
    """
    return Survey(of_candidates(long), policy, placements, observations, base, cut, seed)


def networks(long: pd.DataFrame, policy: Policy) -> Linked:
    """Look for what lets raters be compared; see `linkage`, `by_version`, `in_common`."""
    least = policy.value("linking_lessons")
    return Linked(
        linkage(long, fewest_lessons=least), by_version(long, fewest_lessons=least), in_common(long)
    )


def _spread(base: Base, drawn: Redraws | None, confidence: float) -> Spread:
    return Spread(
        central=central_tendency(base, drawn, confidence=confidence),
        restriction=range_restriction(base, drawn, confidence=confidence),
        halo=halo(base, drawn, confidence=confidence),
        by_information=rating_fit(base, drawn, kind="information", confidence=confidence),
        by_response=rating_fit(base, drawn, kind="response", confidence=confidence),
        criteria=criterion_fit(base, drawn, confidence=confidence),
        levels=level_use(base, drawn, confidence=confidence),
    )


def _instrument(base: Base, observations: pd.DataFrame, policy: Policy) -> list[SameInstrument]:
    modes = observations.set_index("observation")["visit_mode"] if "visit_mode" in observations else None
    return [
        same_instrument(base, policy, by=by, values=modes if by == "visit_mode" else None)
        for by in INSTRUMENT
        if by != "visit_mode" or modes is not None
    ]


def _not_ignorable(assigned: Assignment) -> list[str]:
    roles = assigned.roles
    withheld = roles["status"] == Status.ASSIGNMENT_NOT_IGNORABLE.value
    return [str(role) for role in roles.loc[withheld, "rater_role"]]
