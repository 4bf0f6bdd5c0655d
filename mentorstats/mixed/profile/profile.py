"""Profile likelihood: how far a quantity can move before the best fit with it held becomes too bad.

The limits are where twice the drop in (restricted) log-likelihood reaches the chi-squared quantile of
one degree of freedom; at the edge of its range a quantity's lower limit is the edge itself when even
there the drop is smaller [venzon_moolgavkar_1988]. Where the parameters that are profiled out cost
degrees of freedom, their information is part of the criterion [cox_reid_1987].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

from mentorstats.mixed.algebra.optimise import Criterion, minimise

Floats = NDArray[np.float64]
Lift = Callable[[Floats, float], tuple[Floats, Floats, Floats] | None]

_CLOSE = 5e-4  # of a standard error
_MOST = 8  # steps outward, each half as long again: beyond them there is no limit
_GAIN = 1e-5
_WORST = 10.0  # a drop that is larger, or not finite, counts as this


@dataclass(frozen=True, slots=True)
class Held:
    """A quantity held at a value, and the free parameters around it.

    ``lift(y, value)`` gives the full parameters, their derivatives by ``y`` (full, free), and the
    second derivatives of the one parameter that carries the value, as (index and (free, free)) packed
    in a matrix of zeros where there are none; None where the value is out of reach.
    """

    criterion: Criterion
    lift: Lift
    start: Floats  # free parameters at the optimum
    lower: Floats
    carrier: int  # parameter that carries the value
    hessian: Floats  # approximate, of all parameters, for a criterion that brings none
    adjust: Callable[[Floats], float] | None = None  # what is added for the parameters profiled out
    recentre: Callable[[Floats], None] | None = None  # puts nodes of a quadrature around these parameters

    def best(self, value: float, start: Floats) -> tuple[float, Floats]:
        """Lowest criterion with the quantity at ``value``, and where."""

        def criterion(y: Floats) -> tuple[float, Floats, Floats | None]:
            lifted = self.lift(y, value)
            if lifted is None:
                return np.inf, y, None
            x, jacobian, bend = lifted
            try:
                found, gradient, hessian = self.criterion(x)
            except np.linalg.LinAlgError:  # so far out that the numbers give way
                return np.inf, y, None
            if not np.isfinite(found) or hessian is None:
                return found, gradient @ jacobian if np.isfinite(found) else y, None
            return found, gradient @ jacobian, jacobian.T @ hessian @ jacobian + gradient[self.carrier] * bend

        lifted = self.lift(start, value)
        if self.recentre is not None and lifted is not None:
            self.recentre(lifted[0])
        if not len(start):
            return (np.inf if lifted is None else self.criterion(lifted[0])[0]), start
        first = np.eye(len(start)) if lifted is None else lifted[1].T @ self.hessian @ lifted[1]
        found = minimise(criterion, start, self.lower, first, gain=_GAIN, correct=True)
        end = self.lift(found.x, value)
        if end is None:
            return found.value, found.x
        reached = found.value
        if self.recentre is not None:
            self.recentre(end[0])
            reached = self.criterion(end[0])[0]
        return reached + (self.adjust(end[0]) if self.adjust is not None else 0.0), found.x

    def peak(
        self, best: float, at: float, step: float, edge: float, to_value: Callable[[float], float]
    ) -> tuple[float, float]:
        """Lowest criterion over all values and where it is reached, on the straight scale."""
        if self.adjust is None:
            return best, at
        start = [self.start]

        def reached(here: float) -> float:
            value, free = self.best(to_value(here), start[0])
            start[0] = free if np.isfinite(value) else start[0]
            return value

        found = minimize_scalar(
            reached,
            bounds=(at - 2 * step, at + 4 * step),
            method="bounded",
            options={"xatol": 0.15 * step},
        )
        at_edge = self.best(edge, self.start)[0] if np.isfinite(edge) else np.inf
        return min(float(found.fun), at_edge), float(found.x)


def limits(
    held: Held,
    best: float,
    deviate: float,
    *,
    at: float,
    step: float,
    edges: tuple[float, float] = (-np.inf, np.inf),
    to_value: Callable[[float], float] = float,
) -> tuple[float, float]:
    """Lower and upper limit of a quantity.

    Parameters
    ----------
    held
        What is held.
    best
        Criterion at the optimum, before any adjustment.
    deviate
        Standard normal quantile of the coverage.
    at, step
        The estimate and about a standard error, on a scale on which the root of the drop is about
        straight. For an estimate at the lower edge ``at`` is only where to begin.
    edges
        Values between which the quantity lies; a finite one is tried as a limit itself.
    to_value
        From that scale to the quantity.
    """
    best, at = held.peak(best, at, step, edges[0], to_value)
    root = _Root(held, best, deviate, to_value)
    found = []
    for sign, edge in zip((-1.0, 1.0), edges, strict=True):
        if np.isfinite(edge) and root.of_value(edge) <= 0:
            found.append(edge)
            continue
        crossing = _crossing(root, at, sign * step, sign * step * deviate)
        found.append(to_value(sign * np.inf) if crossing is None else to_value(crossing))
    return found[0], found[1]


class _Root:
    """Signed root of the drop minus the deviate; below zero inside the interval."""

    def __init__(self, held: Held, best: float, deviate: float, to_value: Callable[[float], float]) -> None:
        self.held, self.best, self.deviate, self.to_value = held, best, deviate, to_value
        self.start = held.start
        self.seen: dict[float, float] = {}

    def __call__(self, at: float) -> float:
        """Evaluate on the straight scale."""
        return self.of_value(self.to_value(at))

    def of_value(self, value: float) -> float:
        """Evaluate at a value of the quantity."""
        if value not in self.seen:
            reached, free = self.held.best(value, self.start)
            drop = np.sqrt(max(reached - self.best, 0.0)) - self.deviate
            self.seen[value] = float(min(drop, _WORST))
            if drop < 1.0:
                self.start = free
        return self.seen[value]


def _crossing(root: _Root, at: float, step: float, first: float) -> float | None:
    """Where the root crosses zero, going from ``at`` in the direction of ``step``; None if it never does."""
    inside, back = at, step
    for _ in range(_MOST):
        if root(inside) < 0:
            break
        inside, back = inside - back, 1.5 * back
    outside = inside + first
    for _ in range(_MOST):
        if root(outside) >= 0:
            return float(brentq(root, inside, outside, xtol=_CLOSE * abs(step)))
        inside, first = outside, 1.5 * first
        outside = outside + first
    return None
