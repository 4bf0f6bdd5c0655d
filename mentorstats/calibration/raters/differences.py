"""How far raters of one role differ in something, from one-step scores and their information.

Pure arithmetic. The members' coefficients have one mean, which is taken out because it is not what is
asked, and vary about it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.calibration.raters.rater_variance import Between, Members, between, members_about_mean
from mentorstats.mixed.algebra.covariance import scaled_inverse

Floats = NDArray[np.float64]

_CLOSE = 1e-8  # relative, of variances of several roles that depend on each other
_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Differences:
    """Members against the middle of their role, (k,) each.

    ``contrast`` is unshrunken, with its sampling error; ``effect`` is shrunken to the middle.
    """

    contrast: Floats
    contrast_se: Floats
    effect: Floats
    effect_se: Floats


def differences(found: Members, of_role: Between) -> Differences:
    """Contrasts with the middle of the role, unshrunken and shrunken.

    Notes
    -----
    The middle is the mean by generalised least squares at the estimated variance. Errors of shrunken
    effects allow for the middle and, to first order, for the variance being estimated
    [kass_steffey_1989].
    """
    variance = of_role.variance
    mean = found.mean_weights(variance)
    unshrunken = found.vectors / np.sqrt(found.roots) - mean[None, :]
    contrast = unshrunken @ found.z
    contrast_se = np.sqrt((unshrunken**2).sum(axis=1))
    effect, effect_se = _shrunken(found, of_role)
    return Differences(contrast, contrast_se, effect, effect_se)


def _shrunken(found: Members, of_role: Between) -> tuple[Floats, Floats]:
    variance = of_role.variance
    lifted = found.vectors * np.sqrt(found.roots)  # covariance of effects and directions, over τ²

    def without_mean(directions: Floats) -> Floats:
        weighted = found.weights(variance) * directions
        return np.asarray(weighted - np.outer(weighted @ found.toward, found.mean_weights(variance)))

    onto = without_mean(lifted)  # (k, r)
    pulled = onto @ found.z
    known = variance - variance**2 * (onto * lifted).sum(axis=1)
    sense = pulled - variance * (onto * found.roots) @ _projected(found, variance)
    return variance * pulled, np.sqrt(np.maximum(known, 0.0) + (sense * of_role.variance_se) ** 2)


def _projected(found: Members, variance: float) -> Floats:
    return np.asarray(found.weights(variance) * found.left(variance))


def each_role(
    score: Floats, information: Floats, role: NDArray[np.int64], confidence: float
) -> list[tuple[Members, Between]]:
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
        For each role its members and the variance between them. The others' means are free.
    """
    n_roles = int(role.max()) + 1
    variances = np.zeros(n_roles)
    for _ in range(_ROUNDS):
        before = variances.copy()
        for r in range(n_roles):
            own = members_about_mean(*without_others(score, information, role, r, variances))
            variances[r] = own.variance_at(own.df) if own.df else 0.0
        if n_roles == 1 or np.allclose(before, variances, rtol=_CLOSE, atol=0.0):
            break
    out = []
    for r in range(n_roles):
        own = members_about_mean(*without_others(score, information, role, r, variances))
        out.append((own, between(own, confidence)))
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
