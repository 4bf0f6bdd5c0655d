"""How far apart are the totals that two raters, or two roles, give the same lesson? Limits of agreement."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, stats

from mentorstats.agreement.coefficients import means, scope
from mentorstats.agreement.counts import coding
from mentorstats.agreement.scores import scores as scoring
from mentorstats.agreement.scores.scores import Columns
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]
Flags: TypeAlias = npt.NDArray[np.bool_]

NAMES = ("mean_difference", "lower_limit", "upper_limit", "half_width")
_POINTS = 80  # of the quadrature over the mean; the factor is then right to ten digits


@entry(named=True)
def limits_of_agreement(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    share: float = 0.95,
    confidence: float = 0.95,
    cluster: str | None = None,
) -> pd.DataFrame:
    """Limits between which most differences of two raters lie.

    Parameters
    ----------
    ratings
        One row a score; two raters. To compare roles, name the role column as the rater.
    unit, rater
        Column, or several, that name what was scored and who scored it.
    level
        Column of numeric scores, for example totals of all criteria. A row whose score, unit or rater is
        missing is left out and counted, and so is a unit that one rater alone scored.
    share
        Share of differences between the limits.
    confidence
        Nominal coverage of the intervals, a fraction.
    cluster
        Column within which units go together, such as the candidate. The intervals then allow for it, and
        do not take differences as normal.

    Returns
    -------
    DataFrame
        Indexed by coefficient, all in units of the score: ``mean_difference`` (first rater in sorted or
        category order minus second) with Student's t interval (``student_t``); ``lower_limit`` and
        ``upper_limit``, mean ∓ z·SD with z from the normal distribution [bland_altman_1999], each with
        its exact interval (``noncentral_t``) [carkeet_2015]; ``half_width``, z·SD, with the inner and
        outer half-widths of the two limits as a pair (``tolerance_factor``) [carkeet_2015]. value, se,
        low, high, confidence, interval_method, sd (of the differences), n_units, n_raters, n_ratings,
        n_clusters, n_left_out, definition, status, status_note, reference.

        These intervals take differences as normal and units as independent. With ``cluster`` all four
        are ``linearised_t``: the variance between clusters of what each unit adds to the value, with
        Student's t on clusters − 1 [liang_zeger_1986]. The limits themselves still are those of a normal
        distribution.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; scores are not numbers; there are more than two raters; a rater scored a
        unit twice; a unit lies in two clusters.
    """
    for name, number in (("share", share), ("confidence", confidence)):
        if not 0 < number < 1:
            raise ArgumentError(f"{name} is {number}", allowed="a fraction between 0 and 1")
    found = scoring.read(ratings, unit=unit, rater=rater, level=level)
    if found.n_raters > 2:
        raise ArgumentError(
            f"{found.n_raters} raters",
            where=", ".join(found.rater_names),
            allowed="two",
            remedy="Choose two raters, or name the role column as the rater.",
        )
    differences, both = _differences(found)
    members = None
    if cluster is not None:
        members = coding.renumber(_of_units(ratings, cluster, found)[both])
    bare = Estimate(
        name="",
        n_units=len(differences),
        n_raters=found.n_raters,
        n_ratings=2 * len(differences),
        n_clusters=None if members is None else int(members.max(initial=-1)) + 1,
        n_left_out=len(ratings) - 2 * len(differences),
        reference="bland_altman_1999",
    )
    refused = _refusal(found, differences)
    if refused is not None:
        rows = [replace(bare, name=n, status=refused[0], status_note=refused[1]) for n in NAMES]
        return _table(rows, math.nan, _words(ratings, found, share))
    sd = float(differences.std(ddof=1))
    rows = _points(bare, float(differences.mean()), sd, share)
    if sd == 0:
        return _table(_without_spread(rows), sd, _words(ratings, found, share))
    if cluster is not None and members is not None:
        speaks_of = scope.of_columns(ratings, [cluster], found.rater_names)
        rows = _clustered(rows, differences, members, confidence, speaks_of)
    else:
        rows = _exact(rows, sd, share, confidence)
    return _table(rows, sd, _words(ratings, found, share))


def _differences(found: scoring.Scores) -> tuple[Array, Flags]:
    """Differences of the units that both raters scored, and which units those are."""
    if found.n_raters < 2:
        return np.zeros(0), np.zeros(found.n_units, dtype=bool)
    grid = found.grid()
    each = grid[:, 0] - grid[:, 1]
    both = ~np.isnan(each)
    return np.asarray(each[both]), np.asarray(both)


def _of_units(ratings: pd.DataFrame, cluster: str, found: scoring.Scores) -> Codes:
    """Cluster of each unit."""
    need_columns(ratings.columns, [cluster], where="ratings")
    codes = coding.cluster_codes(ratings, [cluster], found.rows, found.unit)[:, 0]
    of_unit = np.zeros(found.n_units, dtype=np.intp)
    of_unit[found.unit] = codes
    return of_unit


def _refusal(found: scoring.Scores, differences: Array) -> tuple[Status, str] | None:
    """Why there are no limits at all, if there are none."""
    refused = scoring.refusal(found)
    if refused is not None:
        return refused
    if len(differences) < 2:
        few = Status.NO_DOUBLE_SCORES if not len(differences) else Status.ONE_UNIT
        return few, f"{len(differences)} units were scored by both raters."
    return None


def _points(bare: Estimate, mean: float, sd: float, share: float) -> list[Estimate]:
    """Mean, limits and half-width, without intervals."""
    z = float(stats.norm.ppf((1 + share) / 2))
    values = (mean, mean - z * sd, mean + z * sd, z * sd)
    return [replace(bare, name=name, value=value) for name, value in zip(NAMES, values, strict=True)]


def _without_spread(rows: list[Estimate]) -> list[Estimate]:
    note = "All differences are the same, so their variation cannot be judged; there is no interval."
    status = Status.NO_DISAGREEMENT if rows[0].value == 0 else Status.BOUNDARY
    return [replace(row, status=status, status_note=note) for row in rows]


def _exact(rows: list[Estimate], sd: float, share: float, confidence: float) -> list[Estimate]:
    """The rows with intervals for normal, independent differences."""
    n, mean = rows[0].n_units or 0, rows[0].value
    t = float(stats.t.ppf((1 + confidence) / 2, n - 1)) * sd / math.sqrt(n)
    near, far = (one_limit(n, share, side * confidence) for side in (-1, 1))
    inner, outer = (tolerance_factor(n, share, (1 + side * confidence) / 2) for side in (-1, 1))
    made = [
        (mean - t, mean + t, "student_t", sd / math.sqrt(n)),
        (mean - far * sd, mean - near * sd, "noncentral_t", math.nan),
        (mean + near * sd, mean + far * sd, "noncentral_t", math.nan),
        (inner * sd, outer * sd, "tolerance_factor", math.nan),
    ]
    return [
        replace(row, low=low, high=high, interval_method=method, se=se, confidence=confidence)
        for row, (low, high, method, se) in zip(rows, made, strict=True)
    ]


def _clustered(
    rows: list[Estimate], differences: Array, members: Codes, confidence: float, speaks_of: str
) -> list[Estimate]:
    """The rows with intervals from the variance between clusters.

    A unit that differs by d adds (d − mean) to the mean and ((d − mean)² − SD²) / (2 SD) to the SD.
    """
    mean, sd = differences.mean(), differences.std()
    of_mean, of_sd = differences - mean, ((differences - mean) ** 2 - sd**2) / (2 * sd)
    z = rows[3].value / differences.std(ddof=1)
    adds = (of_mean, of_mean - z * of_sd, of_mean + z * of_sd, z * of_sd)
    made = []
    for row, added in zip(rows, adds, strict=True):
        found = means.clustered(row.name, row.value + added, members, confidence, of="clusters", same=_SAME)
        kept = {name: getattr(found, name) for name in _INTERVAL}
        made.append(replace(row, **kept, generalises_to="" if math.isnan(found.low) else speaks_of))
    return made


_SAME = "All clusters add the same, so there is no interval."
_INTERVAL = ("se", "low", "high", "confidence", "interval_method", "status", "status_note", "reference")


def one_limit(n: int, share: float, confidence: float) -> float:
    """Factor c for which mean + c·SD is a bound of one limit [carkeet_2015].

    The limit μ + zσ lies below mean + c·SD with probability (1 + confidence) / 2, by the noncentral t
    distribution; a negative confidence gives the other bound.
    """
    z = stats.norm.ppf((1 + share) / 2)
    return float(stats.nct.ppf((1 + confidence) / 2, n - 1, z * math.sqrt(n)) / math.sqrt(n))


def tolerance_factor(n: int, share: float, probability: float) -> float:
    """Factor c for which mean ± c·SD holds ``share`` of a normal population with the given probability.

    Exact: the probability given the mean is that of a chi-squared variable, integrated over the mean
    [carkeet_2015].
    """
    x, weight = np.polynomial.hermite_e.hermegauss(_POINTS)
    weight = weight / weight.sum()
    reach2 = stats.ncx2.ppf(share, 1, x**2 / n)  # squared half-width around mean + x/√n

    def excess(c: float) -> float:
        return float(weight @ stats.chi2.sf((n - 1) * reach2 / c**2, n - 1)) - probability

    z = stats.norm.ppf((1 + share) / 2)
    top = 2 * z
    while excess(top) < 0:
        top *= 2
    return float(optimize.brentq(excess, 1e-3 * z, top, xtol=1e-12))


def _words(ratings: pd.DataFrame, found: scoring.Scores, share: float) -> list[str]:
    first, second = "first rater", "second rater"
    if found.n_raters == 2:
        names = ratings[found.rater_names].iloc[found.rows]
        first, second = (
            "/".join(map(str, names.iloc[int(np.argmax(found.rater == side))])) for side in (0, 1)
        )
    most = f"{100 * share:g} % of differences"
    return [
        f"{first} minus {second}",
        f"{most}: lower limit",
        f"{most}: upper limit",
        f"{most}: distance of the limits from the mean; low and high are for both limits together",
    ]


def _table(rows: list[Estimate], sd: float, words: list[str]) -> pd.DataFrame:
    table = to_frame(rows, index="coefficient").drop(columns=["p_observed", "p_expected"])
    table["sd"] = sd
    table["definition"] = words
    if table["n_clusters"].isna().all():
        table.loc[["half_width"], "reference"] = "carkeet_2015"
    return table
