"""All that is asked about raters, in one run with one base fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from mentorstats.calibration.base.base import Base, base_fit
from mentorstats.calibration.base.simulated import Redraws, redraws
from mentorstats.calibration.follow_up import Talks, talks
from mentorstats.calibration.groups.fairness import GROUP_FIELDS, Fairness, candidate_groups, fairness
from mentorstats.calibration.groups.same_instrument import SameInstrument, same_instrument
from mentorstats.calibration.networks.linkage import Linkage, by_version, linkage
from mentorstats.calibration.networks.overlap import in_common
from mentorstats.calibration.raters.adjusted import Adjusted, adjusted_scores
from mentorstats.calibration.raters.assignment import Assignment, assignment_check
from mentorstats.calibration.raters.drift import Drift, drift_between
from mentorstats.calibration.raters.halo import halo
from mentorstats.calibration.raters.level_use import level_use
from mentorstats.calibration.raters.own_mentor import is_own_mentor, own_mentor_difference
from mentorstats.calibration.raters.rating_fit import criterion_fit, rating_fit
from mentorstats.calibration.raters.separation import separation
from mentorstats.calibration.raters.severity import severity
from mentorstats.calibration.raters.spread import central_tendency, range_restriction
from mentorstats.entry import entry
from mentorstats.estimate import Status, has_value
from mentorstats.key_scores.control_charts import ControlCharts, control_charts
from mentorstats.key_scores.trend import key_trend
from mentorstats.policy import Policy
from mentorstats.progress import stage

INSTRUMENT = ("rater_role", "cohort", "visit_mode", "rubric_version")


@dataclass(frozen=True)
class Linked:
    """What identifies severity: networks over all ratings, under each version, and raters in common."""

    all: Linkage
    versions: Mapping[tuple[str, ...], Linkage]
    cohorts: pd.DataFrame


@dataclass(frozen=True)
class Spread:
    """How raters use the levels; every table a row a rater and role unless said otherwise.

    ``levels`` has a row a rater, role and level, ``criteria`` a row a criterion of a version.
    """

    central: pd.DataFrame
    restriction: pd.DataFrame
    halo: pd.DataFrame
    by_information: pd.DataFrame
    by_response: pd.DataFrame
    criteria: pd.DataFrame
    levels: pd.DataFrame


@dataclass(frozen=True)
class Survey:
    """Everything about raters; each part is documented at the function that makes it.

    ``charts`` and ``trend`` are None without key-scored recordings.
    """

    linked: Linked
    base: Base
    assigned: Assignment
    roles: pd.DataFrame
    own_mentor: pd.DataFrame
    weeks: Drift
    cycles: Drift
    charts: ControlCharts | None
    trend: pd.DataFrame | None
    spread: Spread
    groups: Sequence[Fairness]
    instrument: Sequence[SameInstrument]
    scores: Adjusted
    talks: Talks


@entry()
def survey(
    long: pd.DataFrame,
    policy: Policy,
    *,
    placements: pd.DataFrame,
    observations: pd.DataFrame,
    key_ratings: pd.DataFrame | None = None,
    base: Base | None = None,
    cut: float | None = None,
    seed: int = 0,
) -> Survey:
    """Ask everything about raters, with one base fit.

    Parameters
    ----------
    long, placements, observations, key_ratings
        Tables of the records; the last may be missing or empty.
    policy
        Thresholds: ``confidence``, ``linking_lessons``, and those that `talks` and `fairness` name.
    base
        The base fit of ``long``, where it has been made already.
    cut
        Mean score in ranks at which candidates pass, for `adjusted_scores`.
    seed
        Of drawn ratings and of simulated charts.
    """
    confidence = policy.value("confidence")
    with stage("networks of raters"):
        linked = networks(long, policy)
    with stage("base model of all ratings"):
        base = base or base_fit(long, confidence=confidence)
    with stage("assignment and severity"):
        assigned = assignment_check(base, confidence=confidence)
        severe = severity(base, networks=linked.all.raters)
        roles = separation(base, severe)
        own = own_mentor_difference(base, is_own_mentor(base.rows, placements), confidence=confidence)
    with stage("drift"):
        weeks, cycles = (drift_between(base, per=per, confidence=confidence) for per in ("week", "cycle"))
        charts, trend = _recorded(key_ratings, confidence, seed)
    with stage("ratings drawn from the model"):
        drawn = redraws(base, seed=seed) if has_value(base.status) else None
    with stage("spread, halo and fit"):
        spread = _spread(base, drawn, confidence)
    with stage("groups and instrument"):
        groups = [
            fairness(base, candidate_groups(placements, name), policy, confidence=confidence)
            for name in GROUP_FIELDS
            if name in placements
        ]
        instrument = _instrument(base, observations, policy)
    with stage("adjusted scores"):
        scores = adjusted_scores(base, assignment=assigned, cut=cut, confidence=confidence)
    called = {
        "severity": severe,
        "drift over weeks": weeks.raters,
        "central tendency": spread.central,
        "range restriction": spread.restriction,
        "halo": spread.halo,
        "fit by information": spread.by_information,
    }
    return Survey(
        linked=linked,
        base=base,
        assigned=assigned,
        roles=roles,
        own_mentor=own,
        weeks=weeks,
        cycles=cycles,
        charts=charts,
        trend=trend,
        spread=spread,
        groups=groups,
        instrument=instrument,
        scores=scores,
        talks=talks(called, policy, not_ignorable=_not_ignorable(assigned)),
    )


def networks(long: pd.DataFrame, policy: Policy) -> Linked:
    """Look for what lets raters be compared; see `linkage`, `by_version`, `in_common`."""
    least = policy.value("linking_lessons")
    return Linked(
        linkage(long, fewest_lessons=least), by_version(long, fewest_lessons=least), in_common(long)
    )


def _recorded(
    key_ratings: pd.DataFrame | None, confidence: float, seed: int
) -> tuple[ControlCharts | None, pd.DataFrame | None]:
    if key_ratings is None or key_ratings.empty:
        return None, None
    charts = control_charts(key_ratings, confidence=confidence, seed=seed)
    return charts, key_trend(key_ratings, confidence=confidence)


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
