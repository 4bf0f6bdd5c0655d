"""Intervals for agreement coefficients, and the status that goes with each.

The default rests on the linearised variance between clusters, Student's t with one degree of
freedom fewer than clusters, and Fisher's z, which keeps the bounds inside the range.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from mentorstats.estimate import Status

FEW_CLUSTERS = 20  # common practice, no source: fewer than this and the interval carries a warning
LEAST_CLUSTERS = 8  # common practice, no source: fewer than this and there is no interval


@dataclass(frozen=True, slots=True)
class Interval:
    """Bounds, how they were made, and what to say about them."""

    low: float = math.nan
    high: float = math.nan
    method: str = "none"
    status: Status = Status.OK
    note: str = ""


def linearised_z(
    value: float, se: float, n_clusters: int, confidence: float, lowest: float = -1.0, highest: float = 1.0
) -> Interval:
    """Student's t interval on Fisher's z of the value, scaled to its range.

    Parameters
    ----------
    value, se
        Estimate strictly inside its range, and linearised standard error.
    n_clusters
        Independent clusters; the t distribution has one degree of freedom fewer.
    confidence
        Nominal coverage, a fraction.
    lowest, highest
        Range of the coefficient. For a share (0 to 1) Fisher's z is half the log-odds. Where there is
        no lower end (weighted AC2), or the value lies below it (single ratings can pull Fleiss's and
        Conger's coefficient under -1), the interval is made on the logarithm of 1 - value instead.
    """
    if math.isinf(lowest) or value <= lowest:
        return _linearised_log(value, se, n_clusters, confidence)
    span = highest - lowest
    inside = 2 * (value - lowest) / span - 1
    half = stats.t.ppf((1 + confidence) / 2, n_clusters - 1) * (2 * se / span) / (1 - inside**2)
    z = np.arctanh(inside)
    low, high = (lowest + span * (np.tanh(z + side * half) + 1) / 2 for side in (-1, 1))
    return Interval(float(low), float(high), "linearised_z", *clusters_status(n_clusters))


def _linearised_log(value: float, se: float, n_clusters: int, confidence: float) -> Interval:
    """Student's t interval on the logarithm of 1 - value, for coefficients without a lower end."""
    half = stats.t.ppf((1 + confidence) / 2, n_clusters - 1) * se / (1 - value)
    low, high = (1 - (1 - value) * np.exp(side * half) for side in (1, -1))
    return Interval(float(low), float(high), "linearised_log", *clusters_status(n_clusters))


def fixed_count(value: float, se: float, n_units: int, confidence: float) -> Interval:
    """Student's t interval on the plain scale, cut at 1, as [gwet_2014] prints it.

    Source: [gwet_2014], chapter 5.
    """
    half = stats.t.ppf((1 + confidence) / 2, n_units - 1) * se
    return Interval(value - half, min(value + half, 1.0), "fixed_count")


def none_seen(why: str = "") -> Interval:
    """No interval where every pair agrees and no exact bound is asked for or holds."""
    note = "No disagreement was seen, so its variance cannot be estimated."
    return Interval(status=Status.NO_DISAGREEMENT, note=f"{note} {why}".strip())


def no_disagreement(n_clusters: int, p_expected: float, confidence: float) -> Interval:
    """Exact lower bound where every pair agrees.

    The Clopper-Pearson bound for agreement with clusters as the number of trials, carried to the
    coefficient at the chance agreement seen.
    """
    bound = ((1 - confidence) / 2) ** (1 / n_clusters)
    low = (bound - p_expected) / (1 - p_expected)
    return Interval(
        max(low, -1.0),
        1.0,
        "clopper_pearson",
        Status.NO_DISAGREEMENT,
        f"No disagreement in {n_clusters} clusters; the lower bound is exact for agreement at the chance "
        "agreement seen.",
    )


def too_few(n_clusters: int) -> Interval | None:
    """Refusal of an interval below LEAST_CLUSTERS, else None."""
    if n_clusters >= LEAST_CLUSTERS:
        return None
    return Interval(
        status=Status.TOO_FEW_CLUSTERS,
        note=f"{n_clusters} clusters; an interval needs at least {LEAST_CLUSTERS}.",
    )


def clusters_status(n_clusters: int) -> tuple[Status, str]:
    """Return the status that a number of clusters gives an interval, and its words."""
    if n_clusters >= FEW_CLUSTERS:
        return Status.OK, ""
    return (
        Status.FEW_CLUSTERS,
        f"{n_clusters} clusters, fewer than {FEW_CLUSTERS}: the interval may be too narrow.",
    )
