"""How far several estimates differ beyond their errors: a standard deviation with its interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of what estimates stand for, beyond their errors.

    Attributes
    ----------
    sd, low, high
        Estimate and interval; never negative.
    statistic, df, p
        The test that there is none.
    """

    sd: float
    low: float
    high: float
    statistic: float
    df: int
    p: float


def spread_beyond_error(estimates: Floats, covariance: Floats, level: float, smallest: float) -> Spread:
    """Standard deviation τ of the values behind correlated estimates, by the Q-profile [viechtbauer_2007].

    With estimates d of covariance V + τ²I, Q(τ²) = d'(V + τ²I)⁻¹d is chi-squared [cochran_1954] and falls
    as τ² rises. The limits are where it meets the quantiles 1 − ``level`` and ``level``, the estimate where
    it meets its degrees of freedom. The lower limit is above zero exactly when Q(0) is beyond the quantile
    1 − ``level``, so when the test rejects; the interval has confidence 1 − 2 ``level``.

    Parameters
    ----------
    estimates, covariance
        (q,) and (q, q). Directions with a variance below ``smallest`` say nothing and are left out; the
        degrees of freedom are what is left, and NaN comes back where nothing is.
    level
        Of the test, between 0 and ½.
    """
    variances, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    kept = variances > smallest
    if not kept.any():
        return Spread(np.nan, np.nan, np.nan, np.nan, 0, np.nan)
    squares, variances = (vectors[:, kept].T @ estimates) ** 2, variances[kept]
    df = len(variances)

    def q(tau2: float) -> float:
        return float((squares / (variances + tau2)).sum())

    low, high = (np.sqrt(_where(q, chi2.ppf(share, df))) for share in (1 - level, level))
    return Spread(float(np.sqrt(_where(q, df))), low, high, q(0.0), df, float(chi2.sf(q(0.0), df)))


def _where(q: Callable[[float], float], target: float) -> float:
    """Where a falling function meets a target; 0 where it starts below."""
    if q(0.0) <= target:
        return 0.0
    end = 1.0
    while q(end) > target:
        end *= 4
    return float(brentq(lambda tau2: q(tau2) - target, 0.0, end, xtol=1e-14, rtol=1e-12))
