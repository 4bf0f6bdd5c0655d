"""Candidates' scores as expected with a middling rater, beside those recorded; for monitoring only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import norm

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import FORM, MEASURE, WEEKS
from mentorstats.calibration.base.within_candidates import candidate_grouping
from mentorstats.calibration.raters.assignment import Assignment
from mentorstats.entry import entry
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.tables.levels_scale import Places, level_shares
from mentorstats.printed import Printed, Shown, counted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KEYS = ["candidate", "cohort", "rubric", "rubric_version"]
METHOD = "delta_z_on_logit"
_STEP = 1e-4
_LESSONS = ("observation", FORM)  # what a score is averaged over
_RATERS = ("rater", "rater × criterion")  # what is set to the middle
_FEWEST = 3  # candidates for a correlation
WITHHELD = "Raters' candidates differ beyond chance, so severity cannot be taken out of the scores."
_VALUES = ("adjusted", "sem", "low", "high", "rater_shift")


@dataclass(frozen=True, repr=False)
class Adjusted(Shown):
    """Scores expected with a middling rater.

    Attributes
    ----------
    scores
        One row a candidate, cohort and rubric version, in ranks. ``recorded``: mean of the ratings;
        ``adjusted``: expected with a middling rater, with ``sem``, ``low``, ``high``; ``rater_shift``: what
        the raters who came did to the mean of the candidate's ratings.
    summary
        One row a rubric version: ``correlation`` of recorded and adjusted, ``sem`` and ``shift_sd`` as
        roots of mean squares, and with a cut the decisions that would change.
    """

    scores: pd.DataFrame
    summary: pd.DataFrame

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        known = int(self.scores["adjusted"].notna().sum())
        told = self.scores.loc[self.scores["adjusted"].isna(), "status_note"].drop_duplicates()
        return Printed(
            title="Scores expected with a rater of average severity",
            facts=(
                f"{counted(len(self.scores), 'score')} of candidates in cohorts and versions, "
                f"{known:,} with an adjusted value",
            ),
            notes=tuple(str(note) for note in told if note),
            ask=(".scores", ".summary"),
            people=True,
        )


@entry()
def adjusted_scores(
    base: Base, *, assignment: Assignment | None = None, cut: float | None = None, confidence: float = 0.95
) -> Adjusted:
    """Expected mean rank of each candidate with a middling rater.

    The mean over the criteria of the version, each counted alike, at the mean week and in the candidate's
    own cohort; raters' effects are zero, the middle of their role, and roles are averaged as often as
    they rated in the programme; lessons are averaged over. The candidate's effect is the shrunken one, so
    that scores of candidates with few ratings lie nearer to their cohort's mean. The error is that of all
    effects and fixed parameters together by the delta method, the interval made on the logit scale within
    the range of the levels, the variances held.

    Parameters
    ----------
    base
        From `base_fit`.
    assignment
        From `assignment_check`; where it says of a role that assignment is not ignorable, the adjusted
        scores are withheld with that status.
    cut
        A score in ranks that decides: at or above it passes. Without one no decisions are counted.
    confidence
        Of the intervals.
    """
    scores = _recorded(base)
    status, note = Status.OK, ""
    if not has_value(base.status):
        status, note = base.status, base.status_note
    elif assignment is not None and not assignment.ignorable:
        status, note = Status.ASSIGNMENT_NOT_IGNORABLE, WITHHELD
    values = _adjusted(base, scores, confidence) if status is Status.OK else dict.fromkeys(_VALUES, np.nan)
    scores = scores.assign(**values, confidence=confidence)
    scores["interval_method"] = METHOD if status is Status.OK else "none"
    scores["status"], scores["status_note"], scores["reference"] = status.value, note, "henderson_1975"
    return Adjusted(scores, _summary(scores, cut))


def _recorded(base: Base) -> pd.DataFrame:
    grouped = base.rows.groupby(KEYS, observed=True, as_index=False, dropna=False)
    return grouped.agg(
        n_ratings=("rank", "size"),
        n_lessons=("observation", "nunique"),
        n_raters=("rater", "nunique"),
        recorded=("rank", "mean"),
    )


# Expected ranks ----------------------------------------------------------------------------------------


def expected_rank(base: Base, tau: Floats, predictor: Floats, measure: Ints, variance: float) -> Floats:
    """Expected rank at linear predictors, (r,), averaged over normal effects of a variance.

    ``tau`` holds the cut-points, ``measure`` says which of them apply.
    """
    r = len(predictor)
    at = Places(np.zeros((r, 0)), np.zeros((r, 0)), measure, ())
    shares = level_shares(base.model, at, tau, predictor, np.ones(r), np.full(r, variance))
    return np.asarray(shares @ np.arange(1.0, shares.shape[1] + 1))


def lesson_variance(base: Base) -> float:
    """Variance of lessons and forms, which a score is averaged over."""
    parts = zip(base.model.members, base.model.fitted.covariances(), strict=True)
    return float(sum(covariance[0, 0] for members, covariance in parts if members.name in _LESSONS))


def role_weights(base: Base) -> pd.Series:
    """Share of each role in the ratings of the programme."""
    return base.rows["rater_role"].value_counts(normalize=True).sort_index()


def _adjusted(base: Base, scores: pd.DataFrame, confidence: float) -> dict[str, Floats]:
    grid = _grid(base, scores)
    x, measure = base.model.fixed_part(grid), grid["measure"].to_numpy(dtype=np.int64)
    t, joint = candidate_grouping(base), base.joint
    members = base.model.members[t]
    column = joint.part(t).start + members.find(scores) * members.k
    r, c = len(grid), len(scores)
    weight = sparse.csr_array(
        (grid["weight"].to_numpy(), (grid["row"].to_numpy(), np.arange(r))), shape=(c, r)
    )
    cuts = base.model.levels.problem.c
    tau, beta = joint.beta[:cuts], joint.beta[cuts : cuts + x.shape[1]]
    predictor, variance = x @ beta + joint.b[column][grid["row"]], lesson_variance(base)
    value = expected_rank(base, tau, predictor, measure, variance)
    by_eta = (expected_rank(base, tau, predictor + _STEP, measure, variance) - value) / _STEP
    slopes = np.concatenate(
        [_by_cut(base, tau, predictor, measure, variance, value, weight), weight @ (by_eta[:, None] * x)],
        axis=1,
    )
    of_candidate = sparse.csr_array((weight @ by_eta, (np.arange(c), column)), shape=(c, len(joint.b)))
    adjusted, sem = weight @ value, np.sqrt(joint.error_variances(slopes, of_candidate))
    low, high = _within(adjusted, sem, len(base.model.found.levels), confidence)
    shift = _rater_shift(base, variance, scores)
    return dict(zip(_VALUES, (adjusted, sem, low, high, shift), strict=True))


def _grid(base: Base, scores: pd.DataFrame) -> pd.DataFrame:
    """One row a score, role and criterion of its version, with its weight in the score."""
    rows = base.rows.assign(measure=base.model.rows.threshold_group)
    criteria = rows[["rubric", "rubric_version", MEASURE, "measure"]].drop_duplicates()
    criteria["n_criteria"] = criteria.groupby(["rubric", "rubric_version"], observed=True)[
        "measure"
    ].transform("size")
    roles = role_weights(base).rename("share").rename_axis("rater_role").reset_index()
    grid = scores[KEYS].assign(row=np.arange(len(scores)))
    grid = grid.merge(criteria, on=["rubric", "rubric_version"]).merge(roles, how="cross")
    return grid.assign(weight=grid["share"] / grid["n_criteria"], **{WEEKS: 0.0})


def _by_cut(
    base: Base,
    tau: Floats,
    predictor: Floats,
    measure: Ints,
    variance: float,
    value: Floats,
    weight: sparse.csr_array,
) -> Floats:
    """Slopes of the scores towards each cut-point, (c, cut-points); one of each criterion moves at a time."""
    groups = base.model.levels.problem.cut.groups
    place = np.arange(len(groups)) - np.searchsorted(groups, groups)
    out = np.zeros((weight.shape[0], len(tau)))
    for nth in range(int(place.max(initial=-1)) + 1):
        moving = np.flatnonzero(place == nth)
        moved = tau.copy()
        moved[moving] += _STEP
        slope = (expected_rank(base, moved, predictor, measure, variance) - value) / _STEP
        at = np.searchsorted(groups[moving], measure)
        own = (at < len(moving)) & (groups[moving][np.minimum(at, len(moving) - 1)] == measure)
        spread = sparse.csr_array(
            (slope[own], (np.flatnonzero(own), moving[at[own]])), shape=(len(measure), len(tau))
        )
        out += (weight @ spread).toarray()
    return out


def _within(value: Floats, se: Floats, levels: int, confidence: float) -> tuple[Floats, Floats]:
    """Intervals on the logit scale of the place between the lowest and the highest level."""
    share = (value - 1) / (levels - 1)
    half = norm.ppf(0.5 + confidence / 2) * se / ((levels - 1) * share * (1 - share))
    at = np.log(share / (1 - share))
    low, high = (1 + (levels - 1) / (1 + np.exp(-(at + sign * half))) for sign in (-1, 1))
    return low, high


def _rater_shift(base: Base, variance: float, scores: pd.DataFrame) -> Floats:
    """Mean expected rank of a candidate's ratings by the raters who gave them, less that by middling ones."""
    tau, measure = base.joint.beta[: base.model.levels.problem.c], base.model.rows.threshold_group
    held = base.joint.b.copy()
    there = []
    for names in (_LESSONS, (*_LESSONS, *_RATERS)):
        for t, members in enumerate(base.model.members):
            if members.name in names:
                held[base.joint.part(t)] = 0.0
        beside = base.random_columns @ (base.joint.b - held)
        there.append(expected_rank(base, tau, base.predictor - beside, measure, variance))
    row = base.rows.groupby(KEYS, observed=True, dropna=False).ngroup().to_numpy()  # as the scores stand
    total = np.bincount(row, there[0] - there[1], minlength=len(scores))
    return np.asarray(total / np.bincount(row, minlength=len(scores)))


# Summary -----------------------------------------------------------------------------------------------


def _summary(scores: pd.DataFrame, cut: float | None) -> pd.DataFrame:
    groups = scores.groupby(["rubric", "rubric_version"], observed=True, sort=True)
    return pd.DataFrame([_of_version(rows, cut) for _, rows in groups])


def _of_version(rows: pd.DataFrame, cut: float | None) -> dict[str, object]:
    told = rows["adjusted"].notna().all()
    spread = len(rows) >= _FEWEST and rows["recorded"].nunique() > 1
    correlation = rows["recorded"].corr(rows["adjusted"]) if told and spread else np.nan
    first = rows.iloc[0]
    out: dict[str, object] = {
        "rubric": first["rubric"],
        "rubric_version": first["rubric_version"],
        "n_candidates": rows["candidate"].nunique(),
        "n_ratings": int(rows["n_ratings"].sum()),
        "correlation": correlation,
        "sem": float(np.sqrt((rows["sem"] ** 2).mean())),
        "shift_sd": float(np.sqrt((rows["rater_shift"] ** 2).mean())),
        "cut": np.nan if cut is None else cut,
    }
    counted: dict[str, object] = dict.fromkeys(("n_changed", "n_changed_by_raters", "n_within_sem"), pd.NA)
    if cut is not None and told:
        passing = rows["recorded"] >= cut
        counted = {
            "n_changed": int((passing != (rows["adjusted"] >= cut)).sum()),
            "n_changed_by_raters": int((passing != (rows["recorded"] - rows["rater_shift"] >= cut)).sum()),
            "n_within_sem": int(((rows["adjusted"] - cut).abs() < rows["sem"]).sum()),
        }
    return out | counted | {name: first[name] for name in ("status", "status_note", "reference")}
