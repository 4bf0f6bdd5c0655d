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

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import EllipsisType
from typing import TypeVar

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.special import logsumexp

from mentorstats.errors import ModelError
from mentorstats.mixed.links import BEYOND, Pieces, pieces
from mentorstats.mixed.optimise import Minimum, minimise
from mentorstats.mixed.ordinal import OrdinalProblem

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_T = TypeVar("_T", bound=np.generic)

_GAIN = 1e-8  # as for Laplace's approximation
_SETTLED = 1e-12  # squared Newton step of a mode, in its standard deviations; one more step follows
_MOST_STEPS = 60
_HALVINGS = 25
_ROUNDING = 1e-10  # relative fall of a log density that is not taken for a fall
_MOST_POINTS = 100
_SAME = 1e-7  # change of the criterion by centring that is no reason to search again
_MOST_ROUNDS = 20
_ASIDE = 0.25  # standard deviations to both sides for a slope's slope
_CENTRED = 1e-3  # standard deviations from the mode of an outer effect
_FARTHEST = 2.0  # longest step towards it
_WIDEST = 5.0  # most that its standard deviation differs from the first guess
_AT_ONCE = 2**18  # rows times nodes: as much as stays in the processor's cache, and bounds the memory
_HALF_LOG_TWO_PI = 0.5 * np.log(2 * np.pi)

# Derivatives of the log-likelihood that are collected row by row: by the linear predictor, the upper and
# the lower cut-point, the log-dispersion, and the size of the two random effects.
_ETA, _UPPER, _LOWER, _SPREAD, _INNER, _OUTER = range(6)


def applies(problem: OrdinalProblem) -> str | None:
    """Return why a model cannot be integrated by quadrature here, or None where it can."""
    sizes = problem.triangles.sizes
    if not sizes:
        return "the model has no random effects to integrate over"
    if any(k > 1 for _, k in sizes):
        return "a grouping has more than one effect for each member"
    if len(sizes) > 2:
        return "the model has more than two groupings"
    if len(sizes) == 2 and _nesting(problem) is None:
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
        self._rule = _Rule(nodes, np.log(weights) + nodes**2 / 2)
        self._inner, self._outer = _roles(problem)
        self._blocks = list(_blocks(problem, self._inner, self._outer, max(_AT_ONCE // points, 1)))
        self._modes = [np.zeros(block.unknowns) for block in self._blocks]
        self._frames = [_plain(block.outer.count if block.outer else 0) for block in self._blocks]

    def evaluate(self, psi: Floats) -> tuple[float, Floats, Floats | None]:
        """Minus twice the log-likelihood, its exact gradient, and None for the Hessian.

        The value is infinite where cut-points are out of order.
        """
        problem = self.problem
        if not problem.ordered(problem.split(psi)[1]):
            return np.inf, np.zeros_like(psi), None
        value, gradient = 0.0, np.zeros_like(psi)
        for at, surface in enumerate(self._surfaces(psi)):
            part, slopes, self._modes[at] = _integrate(surface, self._rule, self._modes[at], self._frames[at])
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
                self._frames[at] = _centred(surface, surface.block.outer, self._rule, self._modes[at])

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

    def _surfaces(self, psi: Floats) -> Iterator[_Surface]:
        problem = self.problem
        theta, tau, beta, zeta = problem.split(psi)
        sizes = [float(f[0, 0]) for f in problem.triangles.lifted(theta, problem.natural)]
        outer = None if self._outer is None else sizes[self._outer]
        for block in self._blocks:
            yield _Surface(problem.link, block, tau, beta, zeta, sizes[self._inner], outer)

    def _gather(self, block: _Block, slopes: Floats) -> Floats:
        """From derivatives row by row, (6, rows), to those by the parameters."""
        problem = self.problem
        theta = np.zeros(problem.q)
        theta[self._inner] = block.inner.values @ slopes[_INNER]
        if self._outer is not None and block.outer is not None:
            theta[self._outer] = block.outer.values @ slopes[_OUTER]
        tau = np.zeros(problem.c)
        for at, slope in ((block.up, slopes[_UPPER]), (block.low, slopes[_LOWER])):
            inside = at >= 0
            tau += np.bincount(at[inside], slope[inside], minlength=problem.c)
        return np.concatenate([theta, tau, block.fixed.T @ slopes[_ETA], block.scale.T @ slopes[_SPREAD]])


@dataclass(frozen=True, slots=True)
class _Rule:
    """Nodes for the weight exp(−x²/2), and log weights with that weight taken out again."""

    nodes: Floats
    logs: Floats

    def integrate(self, heights: Floats, scale: Floats) -> tuple[Floats, Floats]:
        """Log integral of a density with these log heights at the nodes (last axis), and shares of nodes."""
        logs = heights + self.logs
        total = logsumexp(logs, axis=-1)
        return total + np.log(scale) - _HALF_LOG_TWO_PI, np.exp(logs - total[..., None])


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the nodes of each outer member stand, in standard deviations from the joint mode."""

    centre: Floats
    width: Floats


def _plain(count: int) -> _Frame:
    return _Frame(np.zeros(count), np.ones(count))


@dataclass(frozen=True, slots=True)
class _Members:
    """Members of one factor in a block."""

    codes: Ints  # of each row
    values: Floats  # what the effect is multiplied by, 1 for an intercept
    indicator: csr_array  # (members, rows)

    @property
    def count(self) -> int:
        return int(self.indicator.shape[0])

    def total(self, columns: Floats) -> Floats:
        """Sum over the rows of each member, whatever axes follow."""
        flat = self.indicator @ columns.reshape(len(columns), -1)
        return np.asarray(flat).reshape(self.count, *columns.shape[1:])


@dataclass(frozen=True, slots=True)
class _Outer(_Members):
    """Members of the outer factor, and the inner ones in them."""

    parent: Ints  # outer member of each inner one
    above: csr_array  # (outer members, inner members)

    def collect(self, of_inner: Floats) -> Floats:
        """Sum over the inner members of each outer one."""
        return np.asarray(self.above @ of_inner)


@dataclass(frozen=True, slots=True)
class _Block:
    """Some members with all their rows."""

    up: Ints
    low: Ints
    fixed: Floats
    scale: Floats
    weights: Floats
    inner: _Members
    outer: _Outer | None

    @property
    def unknowns(self) -> int:
        """Random effects: outer, then inner."""
        return self.inner.count + (self.outer.count if self.outer else 0)


def _nesting(problem: OrdinalProblem) -> tuple[int, int] | None:
    """Inner and outer one of two factors, or None where they are crossed."""
    codes, sizes = problem.rows.codes, problem.triangles.sizes
    pairs = len(np.unique(codes[0] * sizes[1][0] + codes[1]))
    for inner, outer in ((1, 0), (0, 1)):
        if pairs == len(np.unique(codes[inner])):
            return inner, outer
    return None


def _roles(problem: OrdinalProblem) -> tuple[int, int | None]:
    """Inner and outer factor; a single one is the inner."""
    nesting = _nesting(problem) if len(problem.triangles.sizes) == 2 else None
    return (0, None) if nesting is None else nesting


def _blocks(problem: OrdinalProblem, inner: int, outer: int | None, most: int) -> Iterator[_Block]:
    """Cut the rows where a member of the highest factor ends, into blocks of about ``most`` rows."""
    codes = problem.rows.codes[inner if outer is None else outer]
    order = np.argsort(codes, kind="stable")
    begins = np.flatnonzero(np.diff(codes[order], prepend=-1))
    ends = np.append(begins[1:], len(order))
    first = begins[np.flatnonzero(np.diff((ends - 1) // most, prepend=-1))]
    for part in np.split(order, first[1:]):
        if len(part):
            yield _block(problem, inner, outer, part)


def _block(problem: OrdinalProblem, inner: int, outer: int | None, part: NDArray[np.intp]) -> _Block:
    rows = problem.rows
    low = _members(rows.codes[inner][part], rows.values[inner][part, 0])
    high = None
    if outer is not None:
        plain = _members(rows.codes[outer][part], rows.values[outer][part, 0])
        parent = np.zeros(low.count, dtype=np.int64)
        parent[low.codes] = plain.codes
        above = _indicator(parent, plain.count)
        high = _Outer(plain.codes, plain.values, plain.indicator, parent, above)
    return _Block(
        problem.up[part],
        problem.low[part],
        rows.fixed[part],
        rows.scale[part],
        rows.weights[part],
        low,
        high,
    )


def _members(codes: Ints, values: Floats) -> _Members:
    found, local = np.unique(codes, return_inverse=True)
    return _Members(local, values, _indicator(local, len(found)))


def _indicator(codes: Ints, count: int) -> csr_array:
    places = (codes, np.arange(len(codes)))
    return csr_array((np.ones(len(codes)), places), shape=(count, len(codes)))


@dataclass(frozen=True, slots=True)
class _View:
    """Log-likelihood of the rows at some linear predictors, with its derivatives."""

    at: Pieces
    upper: Floats
    lower: Floats
    spread: Floats

    @property
    def first(self) -> Floats:
        """By the linear predictor."""
        return -self.at.s / self.spread

    @property
    def second(self) -> Floats:
        return self.at.ss / self.spread**2

    @property
    def third(self) -> Floats:
        return -(self.at.ss_upper + self.at.ss_lower) / self.spread**3

    def slopes(self, direct: Floats) -> Floats:
        """Derivatives of Σ direct·ℓ, stacked; none by the sizes of the random effects."""
        at, spread = self.at, self.spread
        return _stack(
            direct * self.first,
            direct * at.by_upper / spread,
            direct * at.by_lower / spread,
            -direct * (self.upper * at.by_upper + self.lower * at.by_lower),
        )

    def bends(self, tilt: Floats, curve: Floats) -> Floats:
        """Derivatives of Σ tilt·ℓ′ + curve·ℓ″, stacked; none by the sizes of the random effects."""
        at, spread = self.at, self.spread
        tilts, curves = tilt / spread, curve / spread**2
        return _stack(
            tilt * self.second + curve * self.third,
            (curves * at.ss_upper - tilts * at.s_upper) / spread,
            (curves * at.ss_lower - tilts * at.s_lower) / spread,
            tilts * (at.s + self.upper * at.s_upper + self.lower * at.s_lower)
            - curves * (2 * at.ss + self.upper * at.ss_upper + self.lower * at.ss_lower),
        )


def _stack(eta: Floats, upper: Floats, lower: Floats, spread: Floats) -> Floats:
    none = np.zeros_like(eta)
    return np.stack([eta, upper, lower, spread, none, none])


class _Surface:
    """A block at some parameters."""

    def __init__(
        self,
        link: str,
        block: _Block,
        tau: Floats,
        beta: Floats,
        zeta: Floats,
        inner: float,
        outer: float | None,
    ) -> None:
        self.link, self.block = link, block
        edges = np.append(tau, 0.0)
        self._high, self._low = edges[block.up], edges[block.low]
        self._spread = np.exp(block.scale @ zeta)
        self.offset = block.fixed @ beta
        self.inner = inner * block.inner.values
        self.outer = np.zeros(0) if outer is None or block.outer is None else outer * block.outer.values

    def view(self, eta: Floats) -> _View:
        """Look at the rows with these linear predictors, (rows, ...)."""
        spread, high, low = (_like(x, eta) for x in (self._spread, self._high, self._low))
        upper, lower = (high - eta) / spread, (low - eta) / spread
        # Beyond the other edge, wherever a far node takes that.
        upper = np.where(_like(self.block.up, eta) < 0, BEYOND + np.abs(lower), upper)
        lower = np.where(_like(self.block.low, eta) < 0, -BEYOND - np.abs(upper), lower)
        return _View(pieces(self.link, upper, lower), upper, lower, spread)


def _like(rows: NDArray[_T], eta: Floats) -> NDArray[_T]:
    return rows.reshape(len(rows), *(1,) * (eta.ndim - 1))


@dataclass(frozen=True, slots=True)
class _Look:
    """What Newton's method sees: log density and gain for each cell, the step, and the rest to keep."""

    value: Floats
    gain: Floats
    step: Floats
    view: _View
    scale: Floats  # curvature⁻¹ᐟ² of the inner cells, or of the outer ones where there are any
    turn: Floats  # how much an inner mode falls when the outer effect rises by one
    curvature: Floats  # of the inner effects


def _climb(look: Callable[[Floats], _Look], x: Floats, cells: Ints | EllipsisType) -> tuple[Floats, _Look]:
    """Newton's method in all cells together, each with a step length of its own."""
    now = look(x)
    for _ in range(_MOST_STEPS):
        last = now.gain.max(initial=0.0) < _SETTLED
        share = np.ones_like(now.value)
        least = now.value - _ROUNDING * (1 + np.abs(now.value))
        for _ in range(_HALVINGS):
            trial = x + share[cells] * now.step
            new = look(trial)
            worse = new.value < least
            if not worse.any():
                break
            share = np.where(worse, share / 2, share)
        x, now = trial, new
        if last:
            break
    return x, now


def _inner_look(surface: _Surface, shift: Floats, u: Floats) -> _Look:
    """Inner members given the rest, (members, columns)."""
    block, load = surface.block, _like(surface.inner, shift)
    members, weights = block.inner, _like(block.weights, shift)
    view = surface.view(shift + load * u[members.codes])
    score = members.total(weights * load * view.first) - u
    curvature = 1 - members.total(weights * load**2 * view.second)
    step = score / curvature
    value = members.total(weights * view.at.value) - u**2 / 2
    return _Look(value, step * score, step, view, 1 / np.sqrt(curvature), np.zeros(0), curvature)


def _integrate(surface: _Surface, rule: _Rule, start: Floats, frame: _Frame) -> tuple[float, Floats, Floats]:
    """Log-likelihood of a block, its derivatives row by row, and the modes."""
    if surface.block.outer is not None:
        return _nested(surface, surface.block.outer, rule, start, frame)
    u, value, slopes = _inner(surface, rule, surface.offset[:, None], start[:, None])
    return float(value.sum()), slopes[..., 0], u[:, 0]


def _inner(surface: _Surface, rule: _Rule, shift: Floats, start: Floats) -> tuple[Floats, Floats, Floats]:
    """Integrate over the inner effects at each column of ``shift``, (rows, columns).

    Returns the modes and the log integral of each member, both (members, columns), and the derivatives
    (6, rows, columns) of the latter, each row's of its own member.
    """
    block = surface.block
    members, weights, load = block.inner, block.weights[:, None], surface.inner[:, None]
    codes = members.codes
    u, mode = _climb(lambda x: _inner_look(surface, shift, x), start, ...)
    scale = mode.scale
    nodes = u[..., None] + scale[..., None] * rule.nodes
    spots = nodes[codes]
    view = surface.view(shift[..., None] + load[..., None] * spots)
    heights = members.total(weights[..., None] * view.at.value) - nodes**2 / 2
    value, shares = rule.integrate(heights, scale)
    slope = shares * (members.total((weights * load)[..., None] * view.first) - nodes)
    by_mode, by_scale = slope.sum(axis=-1), slope @ rule.nodes + 1 / scale

    at_nodes = view.slopes(weights[..., None] * shares[codes])
    at_nodes[_INNER] = at_nodes[_ETA] * spots
    bent = by_scale * scale**3 / 2
    third = members.total(weights * load**3 * mode.view.third)
    moved = ((by_mode + bent * third) * scale**2)[codes]
    bent = bent[codes]
    at_mode = mode.view.bends(weights * load * moved, weights * load**2 * bent)
    at_mode[_INNER] = at_mode[_ETA] * u[codes] + weights * (
        mode.view.first * moved + 2 * load * mode.view.second * bent
    )
    return u, value, at_nodes.sum(axis=-1) + at_mode


def _outer_look(surface: _Surface, outer: _Outer, x: Floats) -> _Look:
    """Outer and inner effects together, in that order."""
    block = surface.block
    a, b, weights = surface.outer, surface.inner, block.weights
    v, u = x[: outer.count], x[outer.count :]
    view = surface.view(surface.offset + a * v[outer.codes] + b * u[block.inner.codes])
    slope, w = weights * view.first, -weights * view.second
    curvature = 1 + block.inner.total(w * b**2)
    turn = block.inner.total(w * a * b) / curvature
    rest = a - b * turn[block.inner.codes]
    scale = 1 / np.sqrt(1 + outer.total(w * rest**2) + outer.collect(turn**2))
    score = np.concatenate([outer.total(a * slope) - v, block.inner.total(b * slope) - u])
    step = _solve(outer, scale, turn, curvature, score)
    value = outer.total(weights * view.at.value) - v**2 / 2 - outer.collect(u**2) / 2
    gains = score * step
    gain = gains[: outer.count] + outer.collect(gains[outer.count :])
    return _Look(value, gain, step, view, scale, turn, curvature)


def _solve(outer: _Outer, scale: Floats, turn: Floats, curvature: Floats, right: Floats) -> Floats:
    """Solve with the negative Hessian of outer and inner effects."""
    of_outer, of_inner = right[: len(scale)], right[len(scale) :]
    v = scale**2 * (of_outer - outer.collect(turn * of_inner))
    return np.concatenate([v, of_inner / curvature - turn * v[outer.parent]])


def _joint_mode(surface: _Surface, outer: _Outer, start: Floats) -> tuple[Floats, _Look]:
    cells = np.concatenate([np.arange(outer.count), outer.parent])
    return _climb(lambda x: _outer_look(surface, outer, x), start, cells)


@dataclass(frozen=True, slots=True)
class _Across:
    """The outer members at some nodes, (outer members, nodes), inner effects integrated out."""

    spots: Floats  # outer effect of each row, (rows, nodes)
    heights: Floats  # log density
    incline: Floats  # its derivative by the outer effect
    slopes: Floats  # derivatives of the inner integrals, (6, rows, nodes)


def _across(surface: _Surface, outer: _Outer, rule: _Rule, x: Floats, mode: _Look, places: Floats) -> _Across:
    """Look at the places, (outer members, nodes), in standard deviations from the joint mode."""
    v, u = x[: outer.count], x[outer.count :]
    steps = mode.scale[:, None] * places
    nodes = v[:, None] + steps
    near = u[:, None] - mode.turn[:, None] * steps[outer.parent]
    spots = nodes[outer.codes]
    shift = surface.offset[:, None] + surface.outer[:, None] * spots
    width = max(_AT_ONCE // (len(shift) * len(rule.nodes)), 1)
    parts = [
        _inner(surface, rule, shift[:, at : at + width], near[:, at : at + width])
        for at in range(0, places.shape[1], width)
    ]
    inner = np.concatenate([value for _, value, _ in parts], axis=1)
    slopes = np.concatenate([slope for _, _, slope in parts], axis=2)
    incline = outer.total(surface.outer[:, None] * slopes[_ETA]) - nodes
    return _Across(spots, outer.collect(inner) - nodes**2 / 2, incline, slopes)


def _centred(surface: _Surface, outer: _Outer, rule: _Rule, start: Floats) -> _Frame:
    """Newton's method for the mode of the outer effects alone, with the slope's slope by differences."""
    x, mode = _joint_mode(surface, outer, start)
    at = np.zeros(outer.count)
    for _ in range(_MOST_STEPS):
        places = at[:, None] + np.array([-_ASIDE, _ASIDE])
        incline = _across(surface, outer, rule, x, mode, places).incline * mode.scale[:, None]
        bend = np.clip((incline[:, 0] - incline[:, 1]) / (2 * _ASIDE), 1 / _WIDEST**2, _WIDEST**2)
        step = np.clip(incline.mean(axis=1) / bend, -_FARTHEST, _FARTHEST)
        at = at + step
        if np.abs(step).max(initial=0.0) < _CENTRED:
            break
    return _Frame(at, 1 / np.sqrt(bend))


def _nested(
    surface: _Surface, outer: _Outer, rule: _Rule, start: Floats, frame: _Frame
) -> tuple[float, Floats, Floats]:
    """Integrate over outer effects the product of the integrals over inner ones."""
    x, mode = _joint_mode(surface, outer, start)
    places = frame.centre[:, None] + frame.width[:, None] * rule.nodes
    found = _across(surface, outer, rule, x, mode, places)
    value, shares = rule.integrate(found.heights, mode.scale * frame.width)
    slope = shares * found.incline
    by_mode, by_scale = slope.sum(axis=1), (slope * places).sum(axis=1) + 1 / mode.scale
    slopes = found.slopes
    slopes[_OUTER] = slopes[_ETA] * found.spots
    at_nodes = np.einsum("snk,nk->sn", slopes, shares[outer.codes])
    return float(value.sum()), at_nodes + _at_joint_mode(surface, outer, x, mode, by_mode, by_scale), x


def _at_joint_mode(
    surface: _Surface, outer: _Outer, x: Floats, mode: _Look, by_mode: Floats, by_scale: Floats
) -> Floats:
    """What place and distance of the outer nodes add to the derivatives, given those by either."""
    block, view = surface.block, mode.view
    a, b, weights = surface.outer, surface.inner, block.weights
    high, low = outer.codes, block.inner.codes
    turn = mode.turn[low]
    rest = a - turn * b
    bent = (by_scale * mode.scale**3 / 2)[high]
    curve = weights * rest**2 * bent
    third = curve * view.third
    right = np.concatenate([by_mode + outer.total(third * a), block.inner.total(third * b)])
    moved = _solve(outer, mode.scale, mode.turn, mode.curvature, right)
    moved_outer, moved_inner = moved[: outer.count][high], moved[outer.count :][low]
    slopes = view.bends(weights * (a * moved_outer + b * moved_inner), curve)
    first, second = weights * view.first, 2 * weights * rest * view.second * bent
    v, u = x[: outer.count][high], x[outer.count :][low]
    slopes[_OUTER] = slopes[_ETA] * v + first * moved_outer + second
    slopes[_INNER] = slopes[_ETA] * u + first * moved_inner - second * turn
    return slopes
