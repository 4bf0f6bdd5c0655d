"""Profile limits of a variance with one Newton step for the others, in a fraction of the evaluations.

A profile refits all other parameters at every value tried. Here they move by one step from the optimum, with
the exact gradient and the average information there, so that a limit takes a handful of evaluations.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from mentorstats.mixed import Fit

Floats = NDArray[np.float64]

_CLOSE = 1e-3  # relative, of a standard deviation
_SURE = 0.01  # of a logarithm: after a secant's move of less than this the next is far smaller
_KNOWN = 0.5  # standard error of a logarithm from which on a root is not about straight
_SECANTS = 6
_STEPS = 40
_FAR = 1e3  # a drop beyond numbers


def sd_limits(found: Fit, x: Floats, entry: int, se: float, deviate: float) -> tuple[float, float]:
    """Limits of one standard deviation where the root of the likelihood's drop reaches ``deviate``.

    Parameters
    ----------
    found
        A linear fit.
    x : (q + 1,)
        Optimum: relative standard deviations, and the logarithm of the residual's.
    entry
        Which of the q is held; q for the residual's.
    se
        Standard error of the logarithm of the standard deviation, to begin with.

    Returns
    -------
    tuple of float
        In units of the scaled response; 0 where even there the drop is smaller, infinity where nothing bounds
        it.
    """
    problem = found.model.linear.problem
    best = problem.absolute(x)[0]
    of_residual = entry == len(x) - 1
    sigma = float(np.exp(x[-1]))
    at = sigma if of_residual else float(x[entry]) * sigma

    def root(sd: float) -> float:
        drop = _held(found, x, entry, sd) - best
        return float(np.sqrt(max(drop, 0.0)) - deviate) if np.isfinite(drop) else _FAR

    low, high = (_secant(root, at, sign * se, deviate) if at > 0 else None for sign in (-1, 1))
    if low is None:
        low = _down(root, at) if at > 0 and (of_residual or root(0.0) > 0) else 0.0
    if high is None:
        high = _up(root, at, at if at > 0 else 0.05 * float(problem.natural[entry]) * sigma)
    return low, high


def _secant(root: Callable[[float], float], at: float, se: float, deviate: float) -> float | None:
    """Where the root, about straight in the logarithm, crosses zero; None where it is not that straight."""
    if not abs(se) < _KNOWN:
        return None
    a, below, b = float(np.log(at)), -deviate, float(np.log(at)) + deviate * se
    for _ in range(_SECANTS):
        here = root(float(np.exp(b)))
        if here == below:
            return None
        then = b - here * (b - a) / (here - below)
        if not 0.3 < (then - np.log(at)) / (deviate * se) < 3:
            return None
        if abs(then - b) < _SURE:
            return float(np.exp(then))
        a, below, b = b, here, then
    return None


def _down(root: Callable[[float], float], at: float) -> float:
    """Where the root crosses zero below the estimate."""
    outside = 0.8 * at
    for _ in range(_STEPS):
        if root(outside) >= 0:
            return float(brentq(root, outside, at, xtol=_CLOSE * at))
        at, outside = outside, 0.6 * outside
    return 0.0


def _up(root: Callable[[float], float], at: float, start: float) -> float:
    """Where it does above."""
    inside, outside = at, 1.25 * start
    for _ in range(_STEPS):
        if root(outside) >= 0:
            return float(brentq(root, inside, outside, xtol=_CLOSE * outside))
        inside, outside = outside, 1.7 * outside
    return float("inf")


def _held(found: Fit, x: Floats, entry: int, sd: float) -> float:
    """Criterion with one standard deviation held, the other parameters one step from where they were.

    θ = sd / σ moves with log σ: its first derivative is −θ, its second θ. With σ held, the others keep their
    own standard deviations and start from θ σ / sd.
    """
    y, last = x.copy(), len(x) - 1
    if entry == last:
        y[:last] *= np.exp(x[last]) / sd
        y[last] = np.log(sd)
    else:
        y[entry] = sd * np.exp(-x[last])
    value, gradient, hessian = found.model.linear.problem.absolute(y)
    if hessian is None or not np.isfinite(value):
        return np.inf
    free = np.array([at for at in range(len(x)) if at != entry and (x[at] > 0 or at == last)], dtype=int)
    jacobian = np.zeros((len(x), len(free)))
    jacobian[free, np.arange(len(free))] = 1.0
    if entry != last:
        jacobian[entry, -1] = -y[entry]
    slope = gradient @ jacobian
    curve = jacobian.T @ hessian @ jacobian
    if entry != last:
        curve[-1, -1] += gradient[entry] * y[entry]
    roots, vectors = np.linalg.eigh(curve)
    along = vectors.T @ slope
    return float(value - 0.5 * (along[roots > 0] ** 2 / roots[roots > 0]).sum())
