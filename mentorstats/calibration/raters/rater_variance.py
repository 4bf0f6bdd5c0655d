"""How much effects differ from member to member, from estimates that come with their errors.

Pure arithmetic. In the eigenvectors of the estimates' information the estimates, each in its error, are z,
independent with variance 1 + τ²λ for the eigenvalues λ, so that

    Q(τ²) = Σ z² / (1 + τ²λ)

is chi-squared at the variance τ² between members, with as many degrees of freedom as there are directions;
one fewer where the members' mean is estimated and taken out of z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

Floats = NDArray[np.float64]

_NOTHING = 1e-8  # of the largest eigenvalue: directions about which the data say nothing
_LARGEST = 1e12  # multiple of the average error variance beyond which no bound is looked for


@dataclass(frozen=True, slots=True)
class Between:
    """A variance between members, with its interval and the test that it is zero.

    NaN throughout where no degree of freedom is left.

    Attributes
    ----------
    variance, variance_se
        Estimate of [paule_mandel_1982], zero at least, in squared units of the effects; its large-sample
        error.
    low, high
        Bounds by the profile of Q [viechtbauer_2007]. NaN where even a variance of zero leaves less spread
        than chance would: no variance agrees with the data then, and none is claimed.
    statistic, df, p
        Homogeneity [cochran_1954]: Q at a variance of zero, its degrees of freedom, the upper tail of
        chi-squared. ``low`` is above zero exactly where p is below half of what the confidence leaves.
    """

    variance: float
    variance_se: float
    low: float
    high: float
    statistic: float
    df: int
    p: float

    @property
    def sd(self) -> tuple[float, float, float]:
        """Standard deviation between members and its bounds."""
        return math.sqrt(self.variance), math.sqrt(self.low), math.sqrt(self.high)


@dataclass(frozen=True, slots=True)
class Members:
    """Effects of members in independent directions.

    ``toward`` times the members' mean is the mean of ``z``; zero where the effects are about zero. ``roots``
    are the eigenvalues, (r,), ``vectors`` the directions, (k, r).
    """

    roots: Floats
    vectors: Floats
    z: Floats
    toward: Floats

    @property
    def df(self) -> int:
        """Directions that are left when the mean is taken out."""
        return len(self.roots) - bool(self.toward.any())

    def weights(self, variance: float) -> Floats:
        """One over the variance of each direction."""
        return 1 / (1 + variance * self.roots)

    def mean_weights(self, variance: float) -> Floats:
        """Weights of the directions in the mean of the members, by generalised least squares."""
        pull = self.weights(variance) * self.toward
        return np.asarray(pull / (pull @ self.toward or 1.0))

    def left(self, variance: float) -> Floats:
        """What is left of each direction without the mean."""
        return self.z - self.toward * (self.mean_weights(variance) @ self.z)

    def q(self, variance: float) -> float:
        """Weighted sum of squares about the mean; chi-squared with ``df`` at the true variance."""
        return float(self.weights(variance) @ self.left(variance) ** 2)

    def variance_at(self, wanted: float) -> float:
        """The variance at which Q falls to a value; zero where it lies below already."""
        if self.q(0.0) <= wanted:
            return 0.0
        upper = float(1 / self.roots.mean())
        for _ in range(int(math.log2(_LARGEST))):
            if self.q(upper) <= wanted:
                root = optimize.brentq(lambda t: self.q(t) - wanted, 0.0, upper, xtol=1e-14, rtol=1e-12)
                return float(root)
            upper *= 2
        return math.inf


def members(score: Floats, information: Floats, least: float = _NOTHING) -> Members:
    """Members' effects about zero, from a Newton step.

    Parameters
    ----------
    score, information
        Of the effects, (k,) and (k, k).
    least
        Share of the largest eigenvalue below which a direction counts as one of which the data say nothing,
        and is left out.
    """
    roots, vectors = np.linalg.eigh((information + information.T) / 2)
    kept = roots > least * roots.max(initial=0.0)
    roots, vectors = roots[kept], vectors[:, kept]
    return Members(roots, vectors, (vectors.T @ score) / np.sqrt(roots), np.zeros(len(roots)))


def members_about_mean(score: Floats, information: Floats) -> Members:
    """Members' effects about a mean that is taken out; as `members`.

    Where the step says nothing about the mean some information is made up, which changes no difference.
    """
    k, trace = len(score), np.trace(information)
    if information.sum() <= _NOTHING * k * trace:
        information = information + trace / k**2
    found = members(score, information)
    return Members(found.roots, found.vectors, found.z, np.sqrt(found.roots) * found.vectors.sum(axis=0))


def members_of_estimates(estimates: Floats, covariance: Floats, smallest: float) -> Members:
    """Members' effects about zero, from estimates and their covariance, (k,) and (k, k).

    Directions with a variance of ``smallest`` or less say nothing and are left out.
    """
    variances, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    kept = variances > smallest
    roots, vectors = 1 / variances[kept], vectors[:, kept]
    return Members(roots, vectors, (vectors.T @ estimates) * np.sqrt(roots), np.zeros(len(roots)))


def between(found: Members, confidence: float) -> Between:
    """Variance between members: Q(τ²) = df for the estimate, quantiles of chi-squared for the bounds."""
    df = found.df
    if df < 1:
        return Between(math.nan, math.nan, math.nan, math.nan, math.nan, 0, math.nan)
    tail = (1 - confidence) / 2
    variance, at_zero = found.variance_at(df), found.q(0.0)
    low, high = (found.variance_at(float(stats.chi2.ppf(share, df))) for share in (1 - tail, tail))
    if high == 0:
        low = high = math.nan
    return Between(
        variance, _error(found, variance), low, high, at_zero, df, float(stats.chi2.sf(at_zero, df))
    )


def _error(found: Members, variance: float) -> float:
    """Error of the estimated variance: that of Q over the expected slope of Q."""
    weights = found.weights(variance)
    lost = found.mean_weights(variance) * found.toward * weights * found.roots
    slope = float(weights @ found.roots - lost.sum())
    return math.sqrt(2 * found.df) / slope
