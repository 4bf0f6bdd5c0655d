"""Bounded minimisation that begins with full steps, because the curvature is about known.

General optimisers begin with a short trial step. Here the criterion either brings an approximate
Hessian with every evaluation, or is scaled so that the curvature starts at about one.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Criterion = Callable[[Floats], tuple[float, Floats, Floats | None]]
GAIN = 1e-7
_MOST = 300
_SUFFICIENT = 1e-4  # share of the predicted decrease that a step must bring [nocedal_2006]
_LONGEST = 4.0  # longest step, in scaled units (about four standard errors)
_SHORTEST = 1e-8
_ENDLESS = 1e100  # a step as long as this has no end of its own
_REMEMBERED = 12  # steps whose observed curvature corrects the approximate Hessian


@dataclass(frozen=True, slots=True)
class Minimum:
    """Where the search ended."""

    x: Floats
    value: float
    gradient: Floats  # zero where a bound holds the parameter
    evaluations: int
    converged: bool
    hessian: Floats  # approximate

    @property
    def norm(self) -> float:
        """Largest absolute entry of the gradient among parameters off their bound."""
        return float(np.abs(self.gradient).max(initial=0.0))


def minimise(
    criterion: Criterion,
    start: Floats,
    lower: Floats,
    hessian: Floats,
    *,
    gain: float = GAIN,
    correct: bool = False,
) -> Minimum:
    """Search from ``start``.

    Parameters
    ----------
    criterion
        Returns value, gradient, and an approximate Hessian or None, which leaves the curvature to be
        learnt [nocedal_2006]; a value that is not finite shortens the step.
    start, lower
        (q,); ``lower`` is −inf where there is no bound.
    hessian
        Approximate Hessian at the start, (q, q), used when the criterion brings none.
    gain
        Stop when a Newton step would lower the criterion by less than this.
    correct
        Whether the Hessian brought is corrected by the curvature seen along the way; worth it where it
        leaves something out.
    """
    x = np.maximum(start, lower)
    value, gradient, brought = criterion(x)
    b = hessian if brought is None else brought
    learnt: list[tuple[Floats, Floats]] = []
    evaluations, converged = 1, not len(x)
    while not converged and evaluations < _MOST:
        held = (x <= lower) & (gradient > 0)
        step = _direction(b, gradient, held)
        length = float(np.sqrt(max(-float(step @ gradient), 0.0)))
        if length**2 < 2 * gain:
            converged = True
            break
        share = 1.0 if brought is not None else min(1.0, _LONGEST / length)
        while True:
            trial = np.maximum(x + share * step, lower)
            new, slope, brought = criterion(trial)
            evaluations += 1
            expected = gradient @ (trial - x)
            if np.isfinite(new) and new <= value + _SUFFICIENT * expected:
                break
            share *= 0.25 if not np.isfinite(new) else _shorter(value, new, expected)
            if share < _SHORTEST or evaluations >= _MOST:
                settled = length**2 < 1e4 * gain
                return Minimum(x, value, np.where(held, 0.0, gradient), evaluations, settled, b)
        learnt.append((trial - x, slope - gradient))
        b = (
            _update(b, *learnt[-1])
            if brought is None
            else _recall(brought, learnt[-_REMEMBERED:] if correct else [])
        )
        x, value, gradient = trial, new, slope
    held = (x <= lower) & (gradient > 0)
    return Minimum(x, value, np.where(held, 0.0, gradient), evaluations, converged, b)


def _direction(b: Floats, gradient: Floats, held: NDArray[np.bool_]) -> Floats:
    """Newton step of the free parameters; those at a bound stay there.

    Where the approximate Hessian bends down, the step is as long as if it bent up as much.
    """
    step = np.zeros_like(gradient)
    free = ~held
    bends = np.abs(np.diagonal(b)[free])
    size = 1 / np.sqrt(np.maximum(bends, max(1e-16 * bends.max(initial=0.0), 1e-300)))
    scaled = b[np.ix_(free, free)] * np.outer(size, size)
    roots, vectors = np.linalg.eigh(scaled)
    roots = np.maximum(np.abs(roots), 1e-8 * max(roots.max(initial=0.0), 1e-8))
    with np.errstate(over="ignore"):  # where nothing bends
        newton = -size * (vectors @ ((vectors.T @ (size * gradient[free])) / roots))
    step[free] = np.clip(newton, -_ENDLESS, _ENDLESS)
    return step


def _recall(b: Floats, learnt: list[tuple[Floats, Floats]]) -> Floats:
    """Correct an approximate Hessian by the curvature seen along earlier steps, the latest last."""
    for step, change in learnt:
        b = _update(b, step, change)
    return b


def _shorter(value: float, new: float, slope: float) -> float:
    """Where the parabola through the two values and the slope is lowest, kept within reason."""
    return float(np.clip(-slope / (2 * (new - value - slope)), 0.1, 0.5))


def _update(b: Floats, step: Floats, change: Floats) -> Floats:
    """Broyden, Fletcher, Goldfarb and Shanno's update, damped to stay positive definite."""
    image = b @ step
    own = step @ image
    inner = step @ change
    if inner < 0.1 * own:
        share = 0.9 * own / (own - inner)
        change = share * change + (1 - share) * image
        inner = step @ change
    known = np.outer(image, image) / own if own > 0 else np.zeros_like(b)
    return b + np.outer(change, change) / inner - known
