"""How far raters of one role differ in something, from one-step scores and their information.

Pure arithmetic. The members' coefficients have one mean, which is taken out because it is not what is
asked, and vary about it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from mentorstats.mixed.covariance import scaled_inverse

Floats = NDArray[np.float64]

_NOTHING = 1e-10  # of the largest eigenvalue: directions about which the data say nothing
_LARGEST = 1e12  # multiple of the average error variance beyond which no bound is looked for
_CLOSE = 1e-8  # relative, of variances of several roles that depend on each other
_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Spread:
    """Variance between the members of one role.

    Attributes
    ----------
    variance, variance_se
        Estimate of [paule_mandel_1982], zero at least, and its large-sample error.
    low, high
        Bounds by the profile of Q [viechtbauer_2007]; NaN where even a variance of zero leaves less
        spread than chance would.
    q, df, p
        Homogeneity: Q at a variance of zero, its degrees of freedom, the upper tail of chi-squared.
    """

    variance: float
    variance_se: float
    low: float
    high: float
    q: float
    df: int
    p: float


@dataclass(frozen=True, slots=True)
class Differences:
    """Members against the middle of their role, (k,) each.

    ``contrast`` is unshrunken, with its sampling error; ``effect`` is shrunken to the middle.
    """

    contrast: Floats
    contrast_se: Floats
    effect: Floats
    effect_se: Floats


@dataclass(frozen=True, slots=True)
class Members:
    """Coefficients of members about which one Newton step gives a score and an information.

    In the directions of the information's eigenvectors the estimates, each in its error, are
    ``z`` with variance 1 + τ²·``roots`` and mean ``toward`` times the members' mean.
    """

    roots: Floats
    vectors: Floats
    z: Floats
    toward: Floats

    @property
    def df(self) -> int:
        """Directions that are left when the mean is taken out."""
        return len(self.roots) - 1

    def weights(self, variance: float) -> Floats:
        """One over the variance of each direction."""
        return 1 / (1 + variance * self.roots)

    def mean_weights(self, variance: float) -> Floats:
        """Weights of the directions in the mean of the members, by generalised least squares."""
        pull = self.weights(variance) * self.toward
        return np.asarray(pull / (pull @ self.toward))

    def left(self, variance: float) -> Floats:
        """What is left of each direction without the mean."""
        return self.z - self.toward * (self.mean_weights(variance) @ self.z)

    def q(self, variance: float) -> float:
        """Weighted sum of squares about the mean; chi-squared with ``df`` at the true variance."""
        return float(self.weights(variance) @ self.left(variance) ** 2)


def members(score: Floats, information: Floats) -> Members:
    """Take the eigenvectors of the information, without directions that it says nothing about.

    Parameters
    ----------
    score, information
        Of the members' coefficients, (k,) and (k, k), k of one or more. Where they say nothing about the
        mean some information is made up, which changes no difference.
    """
    k, held = len(score), (information + information.T) / 2
    if held.sum() <= _NOTHING * k * np.trace(held):
        held = held + np.trace(held) / k**2
    roots, vectors = np.linalg.eigh(held)
    kept = roots > _NOTHING * roots.max()
    roots, vectors = roots[kept], vectors[:, kept]
    return Members(roots, vectors, (vectors.T @ score) / np.sqrt(roots), np.sqrt(roots) * vectors.sum(axis=0))


def spread(found: Members, confidence: float) -> Spread:
    """Variance between members: Q(τ²) = df for the estimate, quantiles of chi-squared for the bounds."""
    df = found.df
    tail = (1 - confidence) / 2
    at_zero = found.q(0.0)
    variance = _crossing(found, df)
    low, high = (_crossing(found, float(stats.chi2.ppf(level, df))) for level in (1 - tail, tail))
    if high == 0:
        low = high = math.nan
    return Spread(
        variance, _error(found, variance), low, high, at_zero, df, float(stats.chi2.sf(at_zero, df))
    )


def _crossing(found: Members, wanted: float) -> float:
    """The variance at which Q falls to a value; zero where it lies below already."""
    if found.q(0.0) <= wanted:
        return 0.0
    upper = float(1 / found.roots.mean())
    for _ in range(int(math.log2(_LARGEST))):
        if found.q(upper) <= wanted:
            root = optimize.brentq(lambda t: found.q(t) - wanted, 0.0, upper, xtol=1e-14, rtol=1e-12)
            return float(root)
        upper *= 2
    return math.inf


def _error(found: Members, variance: float) -> float:
    """Error of the estimated variance: that of Q over the expected slope of Q."""
    weights = found.weights(variance)
    lost = found.mean_weights(variance) * found.toward * weights * found.roots
    slope = float(weights @ found.roots - lost.sum())
    return math.sqrt(2 * found.df) / slope


def differences(found: Members, between: Spread) -> Differences:
    """Contrasts with the middle of the role, unshrunken and shrunken.

    Notes
    -----
    The middle is the mean by generalised least squares at the estimated variance. Errors of shrunken
    effects allow for the middle and, to first order, for the variance being estimated
    [kass_steffey_1989].
    """
    variance = between.variance
    mean = found.mean_weights(variance)
    unshrunken = found.vectors / np.sqrt(found.roots) - mean[None, :]
    contrast = unshrunken @ found.z
    contrast_se = np.sqrt((unshrunken**2).sum(axis=1))
    effect, effect_se = _shrunken(found, between)
    return Differences(contrast, contrast_se, effect, effect_se)


def _shrunken(found: Members, between: Spread) -> tuple[Floats, Floats]:
    variance = between.variance
    lifted = found.vectors * np.sqrt(found.roots)  # covariance of effects and directions, over τ²

    def without_mean(directions: Floats) -> Floats:
        weighted = found.weights(variance) * directions
        return np.asarray(weighted - np.outer(weighted @ found.toward, found.mean_weights(variance)))

    onto = without_mean(lifted)  # (k, r)
    pulled = onto @ found.z
    known = variance - variance**2 * (onto * lifted).sum(axis=1)
    sense = pulled - variance * (onto * found.roots) @ _projected(found, variance)
    return variance * pulled, np.sqrt(np.maximum(known, 0.0) + (sense * between.variance_se) ** 2)


def _projected(found: Members, variance: float) -> Floats:
    return np.asarray(found.weights(variance) * found.left(variance))


def each_role(
    score: Floats, information: Floats, role: NDArray[np.int64], confidence: float
) -> list[tuple[Members, Spread | None]]:
    """Take each role by itself, the coefficients of the others being random with their own variance.

    Parameters
    ----------
    score, information
        Of all members' coefficients, (k,) and (k, k).
    role
        Number of each member's role, (k,), from zero without gaps.

    Returns
    -------
    list
        For each role its members and the variance between them, None where there is one member only. The
        others' means are free.
    """
    n_roles = int(role.max()) + 1
    variances = np.zeros(n_roles)
    for _ in range(_ROUNDS):
        before = variances.copy()
        for r in range(n_roles):
            own = members(*without_others(score, information, role, r, variances))
            variances[r] = _crossing(own, own.df) if own.df > 0 else 0.0
        if n_roles == 1 or np.allclose(before, variances, rtol=_CLOSE, atol=0.0):
            break
    out: list[tuple[Members, Spread | None]] = []
    for r in range(n_roles):
        own = members(*without_others(score, information, role, r, variances))
        out.append((own, spread(own, confidence) if own.df > 0 else None))
    return out


def without_others(
    score: Floats, information: Floats, role: NDArray[np.int64], r: int, variances: Floats
) -> tuple[Floats, Floats]:
    """Score and information of one role when the others' coefficients are integrated out."""
    own, other = np.flatnonzero(role == r), np.flatnonzero(role != r)
    if not len(other):
        return score, information
    basis, penalty = _prior(role[other], variances)
    inner = scaled_inverse(basis.T @ information[np.ix_(other, other)] @ basis + penalty)
    across = information[np.ix_(own, other)] @ basis
    return (
        score[own] - across @ inner @ (basis.T @ score[other]),
        information[np.ix_(own, own)] - across @ inner @ across.T,
    )


def _prior(role: NDArray[np.int64], variances: Floats) -> tuple[Floats, Floats]:
    """What the others' coefficients may be: columns, and the precision of the columns' coefficients.

    A role without variance has its mean only; otherwise each member is free about the mean.
    """
    columns: list[Floats] = []
    blocks: list[Floats] = []
    for r in np.unique(role):
        there = (role == r).astype(np.float64)
        if variances[r] == 0:
            columns.append(there[:, None])
            blocks.append(np.zeros((1, 1)))
            continue
        k = int(there.sum())
        columns.append(np.eye(len(role))[:, there > 0])
        blocks.append((np.eye(k) - 1 / k) / variances[r])
    size = sum(len(block) for block in blocks)
    penalty, at = np.zeros((size, size)), 0
    for block in blocks:
        penalty[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return np.concatenate(columns, axis=1), penalty
