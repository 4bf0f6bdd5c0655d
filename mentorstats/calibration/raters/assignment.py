"""Have candidates come to raters as if at random? Severity with and without what candidates are like.

The base fit takes candidates as drawn from one spread, whoever rates them. Where some raters get the
better candidates, part of that counts as the raters' leniency. Comparing raters within candidates is free
of it, at the price of larger errors: the difference between the two says whether it matters.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.within_candidates import candidate_grouping, freed
from mentorstats.calibration.raters.group_means import by_group_means
from mentorstats.calibration.raters.rater_effects import errors
from mentorstats.calibration.raters.rater_rows import interval_columns
from mentorstats.calibration.raters.rater_variance import Between, between, members
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.engines.joint import Joint
from mentorstats.printed import Printed, Shown, counted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LOW_POWER = (
    "The check has little power: where it finds nothing, candidates may still have come to raters by what "
    "they are like."
)
METHOD = "wald_z"
PROFILE = "q_profile"
FEWEST_CANDIDATES = 2  # of a rater: one candidate's quality is not told from who gets which candidates
FEWEST_RATERS = 2
_LEFT = 1e-3  # share of a rater's reliability that has to be left when candidates are free
_ROUNDING = (
    1e-3  # of the within-candidate variances; what differs by less tells only how weights were rounded
)

_OF_RATER = ["rater", "rater_role", "n_ratings", "n_lessons", "n_candidates"]
_ENDS = ("", "_se", "_low", "_high")
_NOT_TOLD = "Shares no candidate with another rater, so that rater and candidates cannot be told apart."
_FEW = "Rated one candidate only, whose quality this difference would stand for."
_SAME = "Compared with others within candidates alone, so that what candidates are like makes no difference."
_OF_ROLE = {
    Status.OK: LOW_POWER,
    Status.NOT_IDENTIFIED: "Fewer than two raters with two candidates or more share candidates with others.",
    Status.ASSIGNMENT_NOT_IGNORABLE: (
        "Severity with candidates as a random sample and severity within candidates differ beyond chance: "
        "adjusted scores and calls are withheld."
    ),
}


@dataclass(frozen=True, repr=False)
class Assignment(Shown):
    """Whether what candidates are like goes with who rates them.

    Attributes
    ----------
    raters
        One row a rater and role. ``contrast``: severity with candidates as a random sample, unshrunken;
        ``within``: the same with candidates free; ``difference``: the first less the second, positive where
        a rater seems the more lenient for the candidates that came; all latent with ``_se``, ``_low``,
        ``_high``, the difference also in ranks (``difference_level``, of a middling candidate).
    roles
        One row a role, by the group means' form. ``sd``: standard deviation between raters, beyond error, of
        what severity moves by when the coefficients of the group means are taken out, with an interval
        whose lower limit is above zero exactly when the test rejects, and NaN where the moves are smaller
        than chance would have them; ``statistic``, ``df``, ``p`` of that test; ``caseload_sd``: that of the
        coefficients, so how far candidates of different raters differ.
    """

    raters: pd.DataFrame
    roles: pd.DataFrame

    @property
    def ignorable(self) -> bool:
        """Whether no role's check says that assignment matters."""
        return not (self.roles["status"] == Status.ASSIGNMENT_NOT_IGNORABLE.value).any()

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Is assignment to raters related to candidate quality?",
            facts=(
                counted(len(self.raters), "rater"),
                *(f"{row['rater_role']}: {_verdict(row)}" for _, row in self.roles.iterrows()),
            ),
            ask=(".ignorable", ".roles", ".raters", "adjusted_scores(…)"),
            people=True,
        )


def _verdict(row: pd.Series) -> str:
    """A role's status in a few words."""
    if row["status"] == Status.ASSIGNMENT_NOT_IGNORABLE.value:
        return "related beyond chance"
    if not has_value(Status(row["status"])):
        return f"not assessed ({row['status']})"
    return "no relation beyond chance"


@entry()
def assignment_check(base: Base, *, confidence: float = 0.95, level: float = 0.05) -> Assignment:
    """Compare raters' severity with candidates as a random sample and within candidates.

    If candidates come to raters as if at random both are right and the first is efficient, so that the
    covariance of the difference is that of the second less that of the first [hausman_1978]; with the
    other raters random, the covariance between raters' differences follows likewise (``difference``).
    The test of a role is the same question asked of the fit itself: have group means, each rater's share of
    a candidate's ratings, coefficients beside it [mundlak_1978]? It is a score test [rao_1948].

    Parameters
    ----------
    base
        From `base_fit`.
    confidence
        Of the raters' intervals.
    level
        Of the test; the interval of a role's ``sd`` has confidence 1 − 2 ``level``.

    Notes
    -----
    For a rater's own difference the working weights of the base fit are kept, and candidates' changes a week
    stay random. The weights depend on the ratings, the more so the fewer there are of a candidate. With
    twelve ratings of a candidate the errors of the difference and of the within-candidate severity are some
    5 to 10 % too small (coverage .93 at 95 %), and twelve supervisors tested by the quadratic form of their
    differences were refused in .14 of 200 programmes with candidates at random, at ``level`` .05. The score
    test has no such step: .07 of 150 for supervisors, .03 for their mentors, with power .90 where .4 of the
    candidates' variance lies between supervisors (tests/calibration/assignment.csv).

    A rater who shares no candidate with another has no within-candidate severity (``not_identified``); one
    who rated a single candidate is listed and left out of the role's test.
    """
    for name, share, top in (("confidence", confidence, 1.0), ("level", level, 0.5)):
        if not 0 < share < top:
            raise ArgumentError(f"{name} is {share}", allowed=f"above 0 and below {top:g}")
    if not has_value(base.status):
        return _without_fit(base, confidence, level)
    within = freed(base)
    made = [_role(base, within, role, confidence, level) for role in _roles(base)]
    raters = pd.concat([rows for rows, _ in made], ignore_index=True)
    return Assignment(raters, pd.DataFrame([row for _, row in made]))


def _roles(base: Base) -> list[str]:
    return sorted(base.raters["rater_role"].unique())


# Arithmetic --------------------------------------------------------------------------------------------


def unshrunken(effect: Floats, error: Floats, prior: Floats) -> tuple[Floats, Floats, Floats]:
    """Contrasts behind shrunken effects: u/ρ, their errors √(C/ρ), and ρ = 1 − C/s²; (r,) each.

    ``error`` C is the prediction-error variance of u, ``prior`` s² the variance between raters. Taking one
    rater's prior out of a normal posterior leaves the precision 1/C − 1/s² and this mean, so the contrast
    is what a fixed effect of that rater would be, the other raters still random; NaN where ratings say
    nothing of the rater.
    """
    reliability = 1 - error / prior
    some = np.where(reliability > 0, reliability, np.nan)
    return effect / some, np.sqrt(error / some), reliability


def difference_covariance(within: Floats, random: Floats, prior: Floats) -> Floats:
    """Covariance of random-effects less within-candidate contrasts of all raters together, (r, r).

    ``within``, ``random`` are joint prediction-error covariances, ``prior`` the variances between raters.
    Both shrunken estimates are linear in the ratings and the random-effects one is their best predictor,
    so its error is uncorrelated with the other: with G = S − C, cov(û_w, û_r) = G_w and
    var(d) = D_w⁻¹G_wD_w⁻¹ + D_r⁻¹G_rD_r⁻¹ − D_w⁻¹G_wD_r⁻¹ − D_r⁻¹G_wD_w⁻¹, where D holds the reliabilities.
    Its diagonal is the difference of the two contrasts' variances [hausman_1978].
    """
    explained_within, explained = np.diag(prior) - within, np.diag(prior) - random
    by_within = 1 / (np.diagonal(explained_within) / prior)
    by_random = 1 / (np.diagonal(explained) / prior)
    crossed = by_within[:, None] * explained_within * by_random
    own = by_within[:, None] * explained_within * by_within
    return np.asarray(own + by_random[:, None] * explained * by_random - crossed - crossed.T)


def _prior(base: Base, columns: Ints) -> Floats:
    """Variance between raters that each of these effects is drawn from, (r,)."""
    t = base.rater_grouping
    factor, part = base.joint.factors[t], base.joint.part(t)
    own = (columns - part.start) % len(factor)
    return np.asarray((factor @ factor.T)[own, own])


# Tables ------------------------------------------------------------------------------------------------


def _role(
    base: Base, within: Joint, role: str, confidence: float, level: float
) -> tuple[pd.DataFrame, dict[str, object]]:
    """The rows of one role's raters, and the role's own."""
    rows = base.raters[base.raters["rater_role"] == role].reset_index(drop=True)
    columns = rows["column"].to_numpy(dtype=np.int64)
    prior, random_error, within_error = (
        _prior(base, columns),
        errors(base.joint, columns),
        errors(within, columns),
    )
    random = unshrunken(base.joint.b[columns], np.diagonal(random_error), prior)
    free = unshrunken(within.b[columns], np.diagonal(within_error), prior)
    told = (random[2] > 0) & (free[2] > _LEFT * random[2])
    covariance = np.full((len(rows), len(rows)), np.nan)
    both = np.ix_(told, told)
    covariance[both] = difference_covariance(within_error[both], random_error[both], prior[told])
    variance = np.diagonal(covariance)
    some = told & (variance > _ROUNDING * free[1] ** 2)
    d = np.where(told, random[0] - free[0], np.nan)
    tested = told & (rows["n_candidates"] >= FEWEST_CANDIDATES).to_numpy()
    table = rows[_OF_RATER].assign(
        **_interval("contrast", random[0], random[1], confidence),
        **_interval("within", np.where(told, free[0], np.nan), np.where(told, free[1], np.nan), confidence),
        **_interval(
            "difference", d, np.sqrt(np.where(some, variance, np.where(told, 0.0, np.nan))), confidence
        ),
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        table["p"] = np.where(some, 2 * norm.sf(np.abs(d) / np.sqrt(np.where(some, variance, 1.0))), np.nan)
    _on_level_scale(base, table)
    table["confidence"], table["interval_method"] = confidence, METHOD
    table["status"] = np.where(told, Status.OK.value, Status.NOT_IDENTIFIED.value)
    table["status_note"] = np.select([~told, ~tested, ~some], [_NOT_TOLD, _FEW, _SAME], "")
    table["reference"] = "hausman_1978"
    found = loads = _NONE
    if tested.sum() >= FEWEST_RATERS:
        smallest = _ROUNDING * float(np.median(free[1][tested] ** 2))
        found, loads = by_group_means(base, rows[tested], level, smallest)
    return table, _row_of_role(base, role, rows, tested, found, loads, level)


_NONE = between(members(np.zeros(0), np.zeros((0, 0))), 0.95)
_BY_DESIGN = replace(_NONE, variance=0.0, low=0.0, high=0.0)  # all comparisons are within candidates anyway


def _interval(name: str, value: Floats, se: Floats, confidence: float) -> dict[str, Floats]:
    return interval_columns([name + end for end in _ENDS], value, se, confidence)


def _bounded(name: str, values: Floats) -> dict[str, float]:
    """A value and its bounds, (3,), as columns."""
    return {name + end: float(value) for end, value in zip(("", "_low", "_high"), values, strict=True)}


def _on_level_scale(base: Base, table: pd.DataFrame) -> None:
    for end in ("", "_low", "_high"):
        table["difference_level" + end] = base.on_level_scale(table["difference" + end].to_numpy())


def _row_of_role(
    base: Base,
    role: str,
    rows: pd.DataFrame,
    tested: NDArray[np.bool_],
    found: Between,
    loads: Between,
    level: float,
) -> dict[str, object]:
    status = Status.OK
    if tested.sum() < FEWEST_RATERS:
        status, found = Status.NOT_IDENTIFIED, _NONE
    elif not found.df:
        found = _BY_DESIGN
    elif found.low > 0:
        status = Status.ASSIGNMENT_NOT_IGNORABLE
    note = _SAME if found is _BY_DESIGN else _OF_ROLE[status]
    return {
        "rater_role": role,
        "n_raters": len(rows),
        "n_compared": int(tested.sum()),
        **_bounded("sd", np.array(found.sd)),
        **_bounded("sd_level", base.level_slope * np.array(found.sd)),
        "statistic": found.statistic,
        "df": found.df,
        "p": found.p,
        **_bounded("caseload_sd", np.array(loads.sd)),
        "caseload_share": _share(base, loads.variance),
        "confidence": 1 - 2 * level,
        "interval_method": PROFILE,
        "status": status.value,
        "status_note": note,
        "reference": "mundlak_1978",
    }


def _share(base: Base, variance: float) -> float:
    """Part of the variance of candidates that lies between raters' candidates, at most 1."""
    t = candidate_grouping(base)
    whole = float(base.model.fitted.covariances()[t][0, 0])
    return min(variance / whole, 1.0) if whole > 0 else np.nan


def _without_fit(base: Base, confidence: float, level: float) -> Assignment:
    numbers = [f"{name}{end}" for name in ("contrast", "within", "difference") for end in _ENDS]
    numbers += ["p", *("difference_level" + end for end in ("", "_low", "_high"))]
    told = {"status": base.status.value, "status_note": base.status_note, "reference": "hausman_1978"}
    raters = base.counted.sort_values(["rater_role", "rater"], ignore_index=True).assign(
        **dict.fromkeys(numbers, np.nan), confidence=confidence, interval_method="none", **told
    )
    names = [f"{name}{end}" for name in ("sd", "sd_level") for end in ("", "_low", "_high")]
    names += ["statistic", "p", "caseload_sd", "caseload_sd_low", "caseload_sd_high", "caseload_share"]
    roles = base.counted.groupby("rater_role", as_index=False).agg(n_raters=("rater", "size"))
    told["reference"] = "mundlak_1978"
    roles = roles.assign(n_compared=0, df=0, **dict.fromkeys(names, np.nan))
    return Assignment(raters, roles.assign(confidence=1 - 2 * level, interval_method="none", **told))
