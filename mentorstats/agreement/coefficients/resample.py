"""Bootstrap over clusters: replicates are weights on cluster counts, so nothing is tabulated again."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import stats

from mentorstats.agreement.coefficients.intervals import Interval
from mentorstats.agreement.counts.tabulate import Tabulation
from mentorstats.estimate import Status

Array: TypeAlias = npt.NDArray[np.float64]

PERCENTILE_CLUSTERS = 200  # fewer, and percentile intervals were seen to be too narrow
MOST_FAILED = 0.05  # share of replicates without a value above which there is no interval

_CHUNK = 250  # replicates drawn at a time


def replicates(table: Tabulation, values: Callable[[Tabulation], list[float]], *, n: int, seed: int) -> Array:
    """Values of the coefficients in ``n`` resampled sets of clusters (n, coefficients).

    Clusters are drawn with replacement, as multinomial counts; where every unit is its own
    cluster, units are. A coefficient that has no value in a replicate is NaN there.
    """
    rows = []
    for start, child in enumerate(np.random.SeedSequence(seed).spawn(math.ceil(n / _CHUNK))):
        size = min(_CHUNK, n - start * _CHUNK)
        for units in _resampled_units(table, np.random.default_rng(child), size):
            rows.append(values(replace(table, units=units, clusters=())))
    return np.asarray(rows, dtype=float)


def _resampled_units(table: Tabulation, rng: np.random.Generator, size: int) -> Array:
    """Units of each pattern in ``size`` replicates (size, p)."""
    if not table.clusters:
        total = int(table.units.sum())
        return rng.multinomial(total, table.units / total, size=size).astype(float)
    members = table.clusters[0].members
    n_clusters = members.shape[0]
    drawn = rng.multinomial(n_clusters, np.full(n_clusters, 1 / n_clusters), size=size)
    return np.asarray((members.T @ drawn.T.astype(float)).T)


def bca(estimate: float, drawn: Array, skewness: float, confidence: float) -> Interval:
    """Bias-corrected and accelerated interval; the acceleration comes from the influence values.

    Source: [efron_1987].

    Parameters
    ----------
    estimate
        Value in the data.
    drawn : array (b,)
        Values in the replicates, NaN where there was none.
    skewness
        Sum of cubes over the 3/2 power of the sum of squares of the influence summed by cluster.
    confidence
        Nominal coverage, a fraction.
    """
    kept = drawn[np.isfinite(drawn)]
    failed = len(drawn) - len(kept)
    if failed > MOST_FAILED * len(drawn):
        return _failed(failed, len(drawn))
    below = (np.count_nonzero(kept < estimate) + np.count_nonzero(kept == estimate) / 2) / len(kept)
    edge = 0.5 / len(kept)
    z0 = stats.norm.ppf(min(max(below, edge), 1 - edge))
    acceleration = skewness / 6
    z = stats.norm.ppf(np.array([(1 - confidence) / 2, (1 + confidence) / 2]))
    share = stats.norm.cdf(z0 + (z0 + z) / (1 - acceleration * (z0 + z)))
    low, high = np.quantile(kept, share)
    return Interval(float(low), float(high), "bca", note=_counted(failed, len(drawn)))


def percentile(drawn: Array, n_clusters: int, confidence: float) -> Interval:
    """Percentile interval, refused below PERCENTILE_CLUSTERS clusters."""
    if n_clusters < PERCENTILE_CLUSTERS:
        return Interval(
            status=Status.TOO_FEW_CLUSTERS,
            note=f"{n_clusters} clusters; a percentile interval needs at least {PERCENTILE_CLUSTERS}.",
        )
    kept = drawn[np.isfinite(drawn)]
    failed = len(drawn) - len(kept)
    if failed > MOST_FAILED * len(drawn):
        return _failed(failed, len(drawn))
    low, high = np.quantile(kept, [(1 - confidence) / 2, (1 + confidence) / 2])
    return Interval(float(low), float(high), "percentile", note=_counted(failed, len(drawn)))


def _failed(failed: int, n: int) -> Interval:
    return Interval(
        status=Status.RESAMPLING_FAILED, note=f"{failed} of {n} resampled data sets gave no value."
    )


def _counted(failed: int, n: int) -> str:
    return f"{failed} of {n} resampled data sets gave no value." if failed else ""
