"""Quantities of a model held at a value: a variance, a share, a correlation, one parameter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from mentorstats.mixed.algebra.covariance import FLOOR, Triangles
from mentorstats.mixed.algebra.optimise import Criterion
from mentorstats.mixed.engines.engines import laplace
from mentorstats.mixed.engines.linear import FARTHEST, Problem
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.engines.ordinal import OrdinalProblem
from mentorstats.mixed.profile.profile import Held, Lift

Floats = NDArray[np.float64]

_MANY = 100  # members from which on the fixed parameters of an ordinal model cost nothing worth counting


class Space:
    """Parameters of a profile: Λ's entries and then, linear, log σ or, ordinal, everything fixed."""

    def __init__(self, model: Model, t: int | None, order: list[int]) -> None:
        self.model = model
        engine = model.fitted
        if t is None:
            self.problem, theta = engine.problem, engine.theta
        else:
            self.problem, theta = _turned(model, t, order)
        self.triangles = engine.triangles
        self.theta = theta
        self.recentre: Callable[[Floats], None] | None = None
        if isinstance(self.problem, Problem):
            solution = model.linear.solution
            sigma = np.sqrt(solution.residual / self.problem.freedom)
            self.sigma = float(sigma)
            self.x = np.append(theta, np.log(sigma))
            self.criterion: Criterion = self.problem.absolute
            diagonal = self.triangles.diagonal
            floor = np.where(diagonal, FLOOR * self.problem.natural, -np.inf)
            self.lower = np.append(floor, -np.inf)
            self.best = solution.criterion
            self.hessian = np.eye(len(self.x))
        else:
            engine_o = model.levels
            self.sigma = 1.0
            self.x = np.concatenate([theta, engine_o.state.psi[self.problem.q :]])
            same = self.problem is engine_o.problem
            self.criterion = engine_o.criterion if same else laplace(self.problem)
            if engine_o.moving is not None:
                self.criterion, self.recentre = engine_o.moving
            self.lower = self.problem.lower
            self.best = engine_o.value
            self.hessian = engine_o.state.hessian
        self.x = np.maximum(self.x, self.lower)
        self.adjust = _lost_freedom(self.problem) if t is not None and adjusted(model, t) else None

    def hold(self, lift: Lift, free: NDArray[np.intp], carrier: int) -> Held:
        """Hold a quantity, the parameters ``free`` staying free."""
        return Held(
            self.criterion,
            lift,
            self.x[free],
            self.lower[free],
            carrier,
            self.hessian,
            self.adjust,
            self.recentre,
        )

    def without(self, *indices: int) -> NDArray[np.intp]:
        """All parameters but these."""
        return np.setdiff1d(np.arange(len(self.x)), indices)


def adjusted(model: Model, t: int) -> bool:
    """Whether profiles of a factor's variances allow for the fixed parameters being estimated.

    Restricted likelihood does so by itself; for ordinal models with few members it matters as well.
    """
    return model.ordinal and model.members[t].m < _MANY


def _lost_freedom(problem: Problem | OrdinalProblem) -> Callable[[Floats], float] | None:
    if isinstance(problem, Problem):
        return None

    def adjust(x: Floats) -> float:
        state = problem.state(x)
        return np.inf if state is None else float(np.linalg.slogdet(state.conditional)[1])

    return adjust


def _turned(model: Model, t: int, order: list[int]) -> tuple[Problem | OrdinalProblem, Floats]:
    """The problem with the effects of one factor in another order, and Λ's entries there."""
    engine = model.fitted
    problem, triangles = engine.problem, engine.triangles
    theta = engine.theta
    if order == sorted(order) or not any(s == t and a != b for s, a, b in triangles.entries):
        return problem, theta
    factors = triangles.lifted(theta, problem.natural)
    covariance = (factors[t] @ factors[t].T)[np.ix_(order, order)]
    factors[t] = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    turned = triangles.pack(factors)
    if isinstance(problem, Problem):
        return replace(problem, products=problem.products.reordered(t, order)), turned
    values = list(problem.rows.values)
    values[t] = np.ascontiguousarray(values[t][:, order])
    again = OrdinalProblem(
        replace(problem.rows, values=tuple(values)),
        problem.cut,
        problem.link,
        triangles,
        problem.blocks,
        problem.meetings,
    )
    return again, turned


def entry(triangles: Triangles, t: int, a: int, b: int) -> int:
    """Place of an entry of Λ among the free ones."""
    return triangles.entries.index((t, a, b))


def variance_space(model: Model, t: int, b: int) -> tuple[Space, int, float]:
    """Parameters with the variance's effect first, its entry of Λ, and the unit of its sd."""
    members = model.members[t]
    correlated = members.grouping.correlated and members.k > 1
    order = [b, *(j for j in range(members.k) if j != b)] if correlated else list(range(members.k))
    space = Space(model, t, order)
    first = entry(space.triangles, t, *((0, 0) if correlated else (b, b)))
    return space, first, (1.0 if model.ordinal else model.linear.scale) / float(members.scales[b])


def hold_sd(space: Space, first: int, linear: bool) -> Held:
    """Hold Λ's entry times σ."""
    floor = float(space.lower[first])
    free = space.without(first)
    size = len(space.x)

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats] | None:
        x = np.empty(size)
        x[free] = y
        if linear and abs(x[-1]) > FARTHEST:
            return None
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        bend = np.zeros((len(free), len(free)))
        x[first] = value / np.exp(x[-1]) if linear else value
        if x[first] <= floor:
            x[first] = floor
        elif linear:
            jacobian[first, -1] = -x[first]
            bend[-1, -1] = x[first]
        return x, jacobian, bend

    return space.hold(lift, free, first)


def hold_one(space: Space, index: int) -> Held:
    """Hold one parameter."""
    free = space.without(index)
    size = len(space.x)
    jacobian = np.zeros((size, len(free)))
    jacobian[free, np.arange(len(free))] = 1.0
    bend = np.zeros((len(free), len(free)))

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats]:
        x = np.empty(size)
        x[free], x[index] = y, value
        return x, jacobian, bend

    return space.hold(lift, free, index)


def hold_share(space: Space, first: int, weights: Floats, spread: float) -> Held:
    """Hold the share of one entry of Λ: its square is odds × (what the rest makes up)."""
    free = space.without(first)
    size, q = len(space.x), len(weights)
    others = np.flatnonzero(free < q)

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats] | None:
        if value >= 1:
            return None
        x = np.empty(size)
        x[free] = y
        odds = value / (1 - value)
        theta, own = y[others], weights[free[others]]
        square = odds / weights[first] * (spread + (own * theta**2).sum())
        x[first] = max(np.sqrt(square), space.lower[first])
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        if x[first] > space.lower[first]:
            jacobian[first, others] = odds / weights[first] * own * theta / x[first]
        return x, jacobian, np.zeros((len(free), len(free)))

    return space.hold(lift, free, first)


def hold_correlation(space: Space, below: int, diagonal: int) -> Held:
    """Row (ρ r, √(1 − ρ²) r) of Λ, free in r, which takes the diagonal's place."""
    free = space.without(below)
    size = len(space.x)
    place = int(np.flatnonzero(free == diagonal)[0])
    start = space.x[free].copy()
    start[place] = np.hypot(space.x[below], space.x[diagonal])

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats]:
        x = np.empty(size)
        x[free] = y
        root = np.sqrt(max(1 - value**2, 0.0))
        x[below], x[diagonal] = value * y[place], root * y[place]
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        jacobian[below, place], jacobian[diagonal, place] = value, root
        return x, jacobian, np.zeros((len(free), len(free)))

    return replace(space.hold(lift, free, below), start=start, adjust=None)
