"""Cumulative-link mixed models by adaptive Gauss-Hermite quadrature, with its exact gradient.

The integral over the random effects of a member is a sum over nodes that stand around the conditional
mode, as far apart as the curvature there says [naylor_smith_1982] [liu_pierce_1994]
[pinheiro_bates_1995]. With one node it is Laplace's approximation. Where the members of an inner factor
are nested in those of an outer one, the inner nodes stand around the inner modes given each outer node.

Modes and distances move with the parameters. The gradient carries that movement (implicit function
theorem, third derivatives of the rows), so it is the slope of the very number that is returned, however
few the nodes.

The joint mode of outer and inner effects is off the mode of the outer effect alone by many of its standard
deviations where it has hundreds of inner members with few rows each. ``recentre`` measures how far, in
standard deviations; between two calls that distance is constant, so that the gradient stays exact.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray

from mentorstats.errors import ModelError
from mentorstats.mixed.algebra.optimise import Minimum, minimise
from mentorstats.mixed.engines.integrals import (
    AT_ONCE,
    ETA,
    INNER,
    LOWER,
    OUTER,
    SPREAD,
    UPPER,
    Block,
    Rule,
    Surface,
    blocks,
    centred,
    integrate,
    nesting,
    plain_frame,
    roles,
)
from mentorstats.mixed.engines.ordinal import OrdinalProblem

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GAIN = 1e-8  # as for Laplace's approximation
_MOST_POINTS = 100
_SAME = 1e-7  # change of the criterion by centring that is no reason to search again
_MOST_ROUNDS = 20


def applies(problem: OrdinalProblem) -> str | None:
    """Return why a model cannot be integrated by quadrature here, or None where it can."""
    sizes = problem.triangles.sizes
    if not sizes:
        return "the model has no random effects to integrate over"
    if any(k > 1 for _, k in sizes):
        return "a grouping has more than one effect for each member"
    if len(sizes) > 2:
        return "the model has more than two groupings"
    if len(sizes) == 2 and nesting(problem) is None:
        return "the two groupings are crossed: neither has each member inside one member of the other"
    return None


def fit_quadrature(problem: OrdinalProblem, points: int, start: Floats, hessian: Floats) -> Minimum:
    """Find the maximum of the likelihood by quadrature.

    Parameters
    ----------
    problem
        The model.
    points
        Nodes for each integral, 1 to 100.
    start, hessian
        Optimum of Laplace's approximation and the approximate Hessian there.

    Raises
    ------
    ModelError
        Where :func:`applies` has a reason, or the number of points is not possible.
    """
    return QuadratureProblem(problem, points).search(start, hessian)


class QuadratureProblem:
    """The criterion of an ordinal model by quadrature; parameters as in the problem it is made from.

    With two factors call :meth:`recentre` near the parameters of interest before :meth:`evaluate`, and once
    only for a set of values that are to be compared; :meth:`search` does so itself.
    """

    def __init__(self, problem: OrdinalProblem, points: int) -> None:
        reason = applies(problem)
        if reason is not None:
            raise ModelError(f"no quadrature: {reason}", remedy="Use Laplace's approximation.")
        if not 1 <= points <= _MOST_POINTS:
            raise ModelError(f"quadrature with {points} points", allowed=f"1 to {_MOST_POINTS}")
        self.problem, self.points = problem, points
        nodes, weights = hermegauss(points)
        self._rule = Rule(nodes, np.log(weights) + nodes**2 / 2)
        self._inner, self._outer = roles(problem)
        self._blocks = list(blocks(problem, self._inner, self._outer, max(AT_ONCE // points, 1)))
        self._modes = [np.zeros(block.unknowns) for block in self._blocks]
        self._frames = [plain_frame(block.outer.count if block.outer else 0) for block in self._blocks]

    def evaluate(self, psi: Floats) -> tuple[float, Floats, Floats | None]:
        """Minus twice the log-likelihood, its exact gradient, and None for the Hessian.

        The value is infinite where cut-points are out of order.
        """
        problem = self.problem
        if not problem.ordered(problem.split(psi)[1]):
            return np.inf, np.zeros_like(psi), None
        value, gradient = 0.0, np.zeros_like(psi)
        for at, surface in enumerate(self._surfaces(psi)):
            part, slopes, self._modes[at] = integrate(surface, self._rule, self._modes[at], self._frames[at])
            value += part
            gradient += self._gather(surface.block, slopes)
        return -2 * value, -2 * gradient, None

    def recentre(self, psi: Floats) -> None:
        """Put the outer nodes around the mode of each outer effect alone, given these parameters.

        Changes nothing with one factor, or with one point, which stays Laplace's approximation.
        """
        if self._outer is None or self.points == 1:
            return
        for at, surface in enumerate(self._surfaces(psi)):
            if surface.block.outer is not None:
                self._frames[at] = centred(surface, surface.block.outer, self._rule, self._modes[at])

    def search(self, start: Floats, hessian: Floats, *, held: NDArray[np.bool_] | None = None) -> Minimum:
        """Find the minimum, again from where the nodes are centred anew until that changes nothing.

        Parameters
        ----------
        start, hessian
            Where to begin, and the approximate Hessian there.
        held
            Which parameters stay as they are, for a profile of the likelihood.
        """
        free = np.arange(len(start)) if held is None else np.flatnonzero(~held)
        x = np.maximum(start, self.problem.lower)
        hessian, gradient, evaluations = hessian.copy(), np.zeros_like(x), 0
        self.recentre(x)
        for _ in range(_MOST_ROUNDS):
            found = self._search(x, free, self._loosened(x, hessian)[np.ix_(free, free)])
            evaluations += found.evaluations
            x[free], gradient[free] = found.x, found.gradient
            hessian[np.ix_(free, free)] = found.hessian
            self.recentre(x)
            value, _, _ = self.evaluate(x)
            converged = found.converged and abs(value - found.value) < _SAME
            if converged:
                break
        return Minimum(x, value, gradient, evaluations, converged, hessian)

    def _loosened(self, x: Floats, hessian: Floats) -> Floats:
        """Hessian in which a standard deviation at its floor, where nothing is learnt, stands alone."""
        floor = np.flatnonzero(x <= self.problem.lower)
        loose = hessian.copy()
        loose[floor] = loose[:, floor] = 0.0
        loose[floor, floor] = np.maximum(np.diagonal(hessian)[floor], self.problem.natural[floor] ** -2)
        return loose

    def _search(self, start: Floats, free: NDArray[np.intp], hessian: Floats) -> Minimum:
        x = start.copy()

        def criterion(some: Floats) -> tuple[float, Floats, None]:
            x[free] = some
            value, gradient, _ = self.evaluate(x)
            return value, gradient[free], None

        return minimise(criterion, start[free], self.problem.lower[free], hessian, gain=_GAIN)

    def _surfaces(self, psi: Floats) -> Iterator[Surface]:
        problem = self.problem
        theta, tau, beta, zeta = problem.split(psi)
        sizes = [float(f[0, 0]) for f in problem.triangles.lifted(theta, problem.natural)]
        outer = None if self._outer is None else sizes[self._outer]
        for block in self._blocks:
            yield Surface(problem.link, block, tau, beta, zeta, sizes[self._inner], outer)

    def _gather(self, block: Block, slopes: Floats) -> Floats:
        """From derivatives row by row, (6, rows), to those by the parameters."""
        problem = self.problem
        theta = np.zeros(problem.q)
        theta[self._inner] = block.inner.values @ slopes[INNER]
        if self._outer is not None and block.outer is not None:
            theta[self._outer] = block.outer.values @ slopes[OUTER]
        tau = np.zeros(problem.c)
        for at, slope in ((block.up, slopes[UPPER]), (block.low, slopes[LOWER])):
            inside = at >= 0
            tau += np.bincount(at[inside], slope[inside], minlength=problem.c)
        return np.concatenate([theta, tau, block.fixed.T @ slopes[ETA], block.scale.T @ slopes[SPREAD]])
