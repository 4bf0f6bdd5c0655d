"""The mean of something over clusters, with the default interval of a mean."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import stats

from mentorstats.agreement.coefficients import intervals
from mentorstats.estimate import Estimate, Status

Array = npt.NDArray[np.float64]


def clustered(
    name: str, values: Array, cluster: npt.NDArray[np.intp], confidence: float, *, of: str, same: str
) -> Estimate:
    """Mean with its error between clusters and Student's t with clusters − 1 [liang_zeger_1986].

    Parameters
    ----------
    name
        What it is the mean of.
    values : array (n,)
        One a unit, at least one.
    cluster : integer array (n,)
        Cluster of each, from zero without gaps.
    confidence
        Nominal coverage, a fraction.
    of, same
        Words for the clusters, and for there being no variation, in notes.
    """
    mean, n, n_clusters = float(values.mean()), len(values), int(cluster.max()) + 1
    bare = Estimate(name=name, value=mean, n_units=n, reference="liang_zeger_1986")
    sums = np.bincount(cluster, weights=values - mean) / n
    return linearised(bare, sums, n_clusters, confidence, of=of, same=same)


def linearised(
    bare: Estimate, sums: Array, n_clusters: int, confidence: float, *, of: str, same: str
) -> Estimate:
    """Give a value its error and interval [liang_zeger_1986].

    Parameters
    ----------
    bare
        The value alone.
    sums : array (clusters,)
        What each cluster adds to the value's departure from the truth.
    n_clusters
        How many of them say anything.
    confidence, of, same
        As for `clustered`.
    """
    value, bare = bare.value, replace(bare, n_clusters=n_clusters)
    refused = intervals.too_few(n_clusters)
    if refused is not None:
        return replace(bare, status=refused.status, status_note=refused.note)
    se = math.sqrt(n_clusters / (n_clusters - 1) * float(sums @ sums))
    if se == 0:
        return replace(bare, status=Status.BOUNDARY, status_note=same)
    half = float(stats.t.ppf((1 + confidence) / 2, n_clusters - 1)) * se
    few = n_clusters < intervals.FEW_CLUSTERS
    return replace(
        bare,
        se=se,
        low=value - half,
        high=value + half,
        confidence=confidence,
        interval_method="linearised_t",
        status=Status.FEW_CLUSTERS if few else Status.OK,
        status_note=f"{n_clusters} {of}: the interval may be too narrow." if few else "",
    )
