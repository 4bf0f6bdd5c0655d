"""The two fitted engines behind a result, seen alike: effects, variances, criterion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from mentorstats.mixed.algebra.covariance import Triangles, scaled_inverse
from mentorstats.mixed.algebra.optimise import Criterion, Minimum, minimise
from mentorstats.mixed.engines.joint import Joint
from mentorstats.mixed.engines.linear import Problem, Solution
from mentorstats.mixed.engines.ordinal import OrdinalProblem, State

Floats = NDArray[np.float64]

_GAIN = 1e-8  # minus twice the log-likelihood; at 1e-6 the fourth published digit of a slope is off
_CENTRAL_UP_TO = 20_000  # rows; with more, one-sided differences are accurate enough
_STEP = 1e-2  # of a standard error


@dataclass(frozen=True)
class LinearEngine:
    """A linear fit; the response inside is (y − shift) / scale."""

    problem: Problem
    solution: Solution
    minimum: Minimum
    shift: float
    scale: float
    slope_scales: tuple[Floats, ...]

    @property
    def triangles(self) -> Triangles:
        """Free entries of Λ."""
        return self.problem.triangles

    @property
    def theta(self) -> Floats:
        """Entries of Λ."""
        return self.solution.theta

    @property
    def log_likelihood(self) -> float:
        """Restricted where the fit is."""
        return -self.solution.criterion / 2

    @property
    def residual(self) -> float:
        """Residual variance."""
        return self.solution.residual / self.problem.freedom * self.scale**2

    def covariances(self) -> list[Floats]:
        """Covariance matrix of each factor's effects, in the units of the data."""
        relative = self.triangles.covariances(self.solution.theta)
        return [self.residual * r / np.outer(s, s) for r, s in zip(relative, self.slope_scales, strict=True)]

    @cached_property
    def joint(self) -> Joint:
        """All effects together; the fixed covariance is not adjusted here."""
        solution, s = self.solution, self.scale
        factors = self.triangles.unpack(solution.theta)
        b = self.triangles.spread(factors, solution.spherical[:, None], transposed=False)[:, 0] * s
        beta = solution.beta * s
        beta[0] += self.shift
        lifted = solution.lifted[:, :-1]
        covariance = self.residual * solution.unscaled
        return Joint(
            self.triangles.sizes, factors, solution.factor, lifted, beta, covariance, self.residual, b
        )


def laplace(problem: OrdinalProblem) -> Criterion:
    """Laplace's criterion as the optimiser takes it; modes start from the best seen so far."""
    best = [np.inf]

    def criterion(psi: Floats) -> tuple[float, Floats, Floats | None]:
        state = problem.state(psi)
        if state is None:
            return np.inf, psi, None
        if state.value < best[0]:
            best[0] = state.value
            problem.keep_modes(state)
        return state.value, state.gradient, state.hessian

    return criterion


def fit_ordinal(problem: OrdinalProblem, start: Floats | None = None) -> tuple[State, Minimum]:
    """Find the maximum of the approximated likelihood; variances at the edge stay at their floor."""
    best: list[State] = []

    def criterion(psi: Floats) -> tuple[float, Floats, Floats | None]:
        state = problem.evaluate(psi)
        if state is None:
            return np.inf, psi, None
        if not best or state.value < best[-1].value:
            best.append(state)
            problem.keep_modes(state)
        return state.value, state.gradient, state.hessian

    start = starting_values(problem) if start is None else start
    found = minimise(criterion, start, problem.lower, np.eye(len(start)), gain=_GAIN, correct=True)
    return best[-1], found


def starting_values(problem: OrdinalProblem) -> Floats:
    """Marginal cut-points, no slopes, moderate variances."""
    rows, tau = problem.rows, []
    for (left, _), group in zip(problem.cut.between, problem.cut.groups, strict=True):
        inside = rows.threshold_group == group
        share = np.average(rows.response[inside] <= left, weights=rows.weights[inside])
        tau.append(np.log(share / (1 - share)) * (1.0 if problem.link == "logit" else 0.6))
    natural = np.maximum(problem.natural, 0.3)
    theta = np.where(problem.triangles.diagonal, natural, 0.0)
    return np.concatenate([theta, tau, np.zeros(problem.p + problem.d)])


@dataclass(frozen=True)
class OrdinalEngine:
    """An ordinal fit."""

    problem: OrdinalProblem
    state: State
    minimum: Minimum
    slope_scales: tuple[Floats, ...]
    zero: NDArray[np.bool_]  # entries of Λ at the edge
    value: float  # minus twice the log-likelihood, by Laplace or by quadrature
    criterion: Criterion  # the same as a function of all parameters
    points: int = 1  # of quadrature; 1 is Laplace
    moving: tuple[Criterion, Callable[[Floats], None]] | None = None  # quadrature with nodes to be moved

    @property
    def triangles(self) -> Triangles:
        """Free entries of Λ."""
        return self.problem.triangles

    @property
    def theta(self) -> Floats:
        """Entries of Λ, exact zeros included."""
        return np.where(self.zero, 0.0, self.state.psi[: self.problem.q])

    @property
    def log_likelihood(self) -> float:
        """Approximated log-likelihood."""
        return -self.value / 2

    def covariances(self) -> list[Floats]:
        """Covariance matrix of each factor's effects, in the units of the data."""
        matrices = self.triangles.covariances(self.theta)
        return [r / np.outer(s, s) for r, s in zip(matrices, self.slope_scales, strict=True)]

    @cached_property
    def free(self) -> NDArray[np.intp]:
        """Parameters that are not held at zero."""
        return np.flatnonzero(np.concatenate([~self.zero, np.ones(self.problem.n_fixed, dtype=bool)]))

    @cached_property
    def full_covariance(self) -> Floats:
        """Covariance of all parameters (zero where held), from differences of the gradient."""
        self.problem.keep_modes(self.state)  # whatever was computed before, the same errors
        size = len(self.state.psi)
        hessian = np.zeros((len(self.free), len(self.free)))
        near = self.state.hessian[np.ix_(self.free, self.free)]
        steps = _STEP / np.sqrt(np.maximum(np.diagonal(near) / 2, 1e-300))
        central = len(self.problem.rows.response) <= _CENTRAL_UP_TO
        here = np.zeros(size) if central else self._gradient(0, 0.0)
        for i, (at, step) in enumerate(zip(self.free, steps, strict=True)):
            up = self._gradient(at, step)
            down = self._gradient(at, -step) if central else here
            hessian[i] = (up - down)[self.free] / ((2 if central else 1) * step)
        covariance = np.zeros((size, size))
        inverse = 2 * scaled_inverse((hessian + hessian.T) / 2)
        covariance[np.ix_(self.free, self.free)] = inverse
        return covariance

    def _gradient(self, at: int, step: float) -> Floats:
        psi = self.state.psi.copy()
        psi[at] += step
        if self.points == 1:
            state = self.problem.evaluate(psi)
            return np.zeros(len(psi)) if state is None else state.gradient
        value, gradient, _ = self.criterion(psi)
        return gradient if np.isfinite(value) else np.zeros(len(psi))

    @cached_property
    def joint(self) -> Joint:
        """All effects together."""
        problem, state = self.problem, self.state
        q = problem.q
        factors = self.triangles.unpack(self.theta)
        b = self.triangles.spread(factors, state.u[:, None], transposed=False)[:, 0]
        covariance = self.full_covariance[q:, q:]
        return Joint(
            self.triangles.sizes, factors, state.factor, state.cross, state.psi[q:], covariance, 1.0, b
        )
