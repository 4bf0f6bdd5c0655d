"""One parameter a rater, estimated together: contrasts with the others of a role, and shrunken effects."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from mentorstats.mixed.local.score_test import Step

Floats = NDArray[np.float64]

SHRUNKEN = "empirical_bayes_z"
_CUT = 1e-8  # of the largest eigenvalue; what lies below holds no information but rounding
_ESTIMABLE = 1e-4  # share of a contrast that may lie where there is no information
_NODES = 41
_WIDE = 4.0  # how far beyond the best standard deviation the likely ones are looked for


@dataclass(frozen=True, slots=True)
class Contrasts:
    """Of the raters of one role, (r,) each; NaN where ``estimable`` is false.

    Attributes
    ----------
    contrast, se
        Rater against the weighted mean of the role's other raters, unshrunken.
    effect, effect_se
        Departure from the role's mean, shrunken, and its prediction error.
    sd
        Standard deviation between raters, by restricted maximum likelihood.
    """

    contrast: Floats
    se: Floats
    effect: Floats
    effect_se: Floats
    sd: float
    estimable: NDArray[np.bool_]


def information_inverse(step: Step) -> tuple[Floats, Floats]:
    """Covariance of all parameters added at once, and the projection on what the data tell, (q, q) each."""
    size = np.sqrt(np.diagonal(step.information))
    size = np.where(size > 0, size, 1.0)
    roots, vectors = np.linalg.eigh(step.information / np.outer(size, size))
    kept = roots > _CUT * max(float(roots[-1]), 0.0) if len(roots) else np.zeros(0, dtype=bool)
    told = vectors[:, kept]
    covariance = (told / roots[kept]) @ told.T / np.outer(size, size)
    projection = (told @ told.T) * size[None, :] / size[:, None]
    return covariance, projection


def contrasts(step: Step, role: NDArray[np.bool_]) -> Contrasts:
    """Compare the raters of one role with one another.

    Parameters
    ----------
    step
        One parameter a rater, those of other roles included: they may move too.
    role
        Which parameters belong to the role, (q,).
    """
    covariance, projection = information_inverse(step)
    told = np.diagonal(step.information) > 0
    own = np.flatnonzero(role & told)
    r = int(role.sum())
    nothing = np.full(r, np.nan)
    if len(own) < 2:
        return Contrasts(nothing, nothing, nothing, nothing, np.nan, np.zeros(r, dtype=bool))
    delta, errors = (covariance @ step.score)[own], covariance[np.ix_(own, own)]
    sd = between_sd(delta, errors)
    against = _against_others(1 / (sd**2 + np.diagonal(errors)))
    effect, effect_se = shrunken(delta, errors, sd)
    found = Contrasts(
        nothing.copy(), nothing.copy(), nothing.copy(), nothing.copy(), sd, np.zeros(r, dtype=bool)
    )
    wide = np.zeros((len(own), len(told)))
    wide[:, own] = against
    lost = np.abs(wide @ projection - wide).max(axis=1)
    at = np.flatnonzero(told[role])
    found.estimable[at] = lost < _ESTIMABLE
    variance = ((against @ errors) * against).sum(axis=1)
    for array, values in (
        (found.contrast, against @ delta),
        (found.se, np.sqrt(np.maximum(variance, 0.0))),
        (found.effect, effect),
        (found.effect_se, effect_se),
    ):
        array[at] = np.where(found.estimable[at], values, np.nan)
    return found


def _against_others(weight: Floats) -> Floats:
    """Each member less the weighted mean of the others, (r, r)."""
    others = np.tile(weight, (len(weight), 1))
    np.fill_diagonal(others, 0.0)
    return np.asarray(np.eye(len(weight)) - others / others.sum(axis=1, keepdims=True))


def _turned(delta: Floats, errors: Floats) -> tuple[Floats, Floats, Floats]:
    """Differences turned until their errors are independent: basis (r − 1, r), values, variances."""
    r = len(delta)
    basis = np.linalg.svd(np.ones((1, r)))[2][1:]
    roots, vectors = np.linalg.eigh(basis @ errors @ basis.T)
    basis = vectors.T @ basis
    return basis, basis @ delta, np.maximum(roots, 0.0)


def _criterion(variance: float, y: Floats, errors: Floats) -> float:
    total = variance + errors
    return float(np.log(total).sum() + (y**2 / total).sum())


def between_sd(delta: Floats, errors: Floats) -> float:
    """Standard deviation of true parameters by restricted maximum likelihood, errors known."""
    _, y, own = _turned(delta, errors)
    highest = float(np.sqrt((y**2).mean())) * _WIDE + 1e-12
    found = minimize_scalar(
        lambda sd: _criterion(sd**2, y, own), bounds=(0.0, highest), method="bounded", options={"xatol": 1e-8}
    )
    return float(found.x) if found.fun < _criterion(0.0, y, own) else 0.0


def shrunken(delta: Floats, errors: Floats, sd: float) -> tuple[Floats, Floats]:
    """Departures from the mean given all estimates, and their prediction errors.

    Means and variances over the likely values of the standard deviation between raters [kass_steffey_1989],
    weighted by the restricted likelihood and, as a prior, evenly on the standard deviation [gelman_2006].
    """
    basis, y, own = _turned(delta, errors)
    spread = np.sqrt(np.median(np.diagonal(errors)))
    nodes = np.linspace(0.0, max(sd, 1e-3 * spread) + _WIDE * spread / np.sqrt(len(y)) + sd, _NODES)
    weight = np.exp(-0.5 * np.array([_criterion(s**2, y, own) - _criterion(sd**2, y, own) for s in nodes]))
    weight /= weight.sum()
    squares = basis.T**2
    effect, square = np.zeros(len(delta)), np.zeros(len(delta))
    for s, w in zip(nodes, weight, strict=True):
        precision = 1 / np.maximum(s**2 + own, 1e-300)
        mean = s**2 * basis.T @ (precision * y)
        variance = s**2 - s**4 * squares @ precision
        effect += w * mean
        square += w * (variance + mean**2)
    return effect, np.sqrt(np.maximum(square - effect**2, 0.0))
