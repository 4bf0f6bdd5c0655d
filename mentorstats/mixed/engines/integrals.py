"""Integrals over the random effects of a member, with the derivatives that quadrature needs.

Rows in blocks of whole members, conditional modes and their curvature, nodes around them, inner effects
given each outer node, and how all of it moves with the parameters.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import EllipsisType
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.special import logsumexp

from mentorstats.mixed.engines.links import BEYOND, Pieces, pieces
from mentorstats.mixed.engines.ordinal import OrdinalProblem

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_T = TypeVar("_T", bound=np.generic)

_SETTLED = 1e-12  # squared Newton step of a mode, in its standard deviations; one more step follows
_MOST_STEPS = 60
_HALVINGS = 25
_ROUNDING = 1e-10  # relative fall of a log density that is not taken for a fall
_ASIDE = 0.25  # standard deviations to both sides for a slope's slope
_CENTRED = 1e-3  # standard deviations from the mode of an outer effect
_FARTHEST = 2.0  # longest step towards it
_WIDEST = 5.0  # most that its standard deviation differs from the first guess
AT_ONCE = 2**18  # rows times nodes: as much as stays in the processor's cache, and bounds the memory
_HALF_LOG_TWO_PI = 0.5 * np.log(2 * np.pi)

# Derivatives of the log-likelihood that are collected row by row: by the linear predictor, the upper and
# the lower cut-point, the log-dispersion, and the size of the two random effects.
ETA, UPPER, LOWER, SPREAD, INNER, OUTER = range(6)


@dataclass(frozen=True, slots=True)
class Rule:
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


def plain_frame(count: int) -> _Frame:
    """Nodes around the joint mode itself."""
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
class Block:
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


def nesting(problem: OrdinalProblem) -> tuple[int, int] | None:
    """Inner and outer one of two factors, or None where they are crossed."""
    codes, sizes = problem.rows.codes, problem.triangles.sizes
    pairs = len(np.unique(codes[0] * sizes[1][0] + codes[1]))
    for inner, outer in ((1, 0), (0, 1)):
        if pairs == len(np.unique(codes[inner])):
            return inner, outer
    return None


def roles(problem: OrdinalProblem) -> tuple[int, int | None]:
    """Inner and outer factor; a single one is the inner."""
    found = nesting(problem) if len(problem.triangles.sizes) == 2 else None
    return (0, None) if found is None else found


def blocks(problem: OrdinalProblem, inner: int, outer: int | None, most: int) -> Iterator[Block]:
    """Cut the rows where a member of the highest factor ends, into blocks of about ``most`` rows."""
    codes = problem.rows.codes[inner if outer is None else outer]
    order = np.argsort(codes, kind="stable")
    begins = np.flatnonzero(np.diff(codes[order], prepend=-1))
    ends = np.append(begins[1:], len(order))
    first = begins[np.flatnonzero(np.diff((ends - 1) // most, prepend=-1))]
    for part in np.split(order, first[1:]):
        if len(part):
            yield _block(problem, inner, outer, part)


def _block(problem: OrdinalProblem, inner: int, outer: int | None, part: NDArray[np.intp]) -> Block:
    rows = problem.rows
    low = _members(rows.codes[inner][part], rows.values[inner][part, 0])
    high = None
    if outer is not None:
        plain = _members(rows.codes[outer][part], rows.values[outer][part, 0])
        parent = np.zeros(low.count, dtype=np.int64)
        parent[low.codes] = plain.codes
        above = _indicator(parent, plain.count)
        high = _Outer(plain.codes, plain.values, plain.indicator, parent, above)
    return Block(
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


class Surface:
    """A block at some parameters."""

    def __init__(
        self,
        link: str,
        block: Block,
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


def _inner_look(surface: Surface, shift: Floats, u: Floats) -> _Look:
    """Inner members given the rest, (members, columns)."""
    block, load = surface.block, _like(surface.inner, shift)
    members, weights = block.inner, _like(block.weights, shift)
    view = surface.view(shift + load * u[members.codes])
    score = members.total(weights * load * view.first) - u
    curvature = 1 - members.total(weights * load**2 * view.second)
    step = score / curvature
    value = members.total(weights * view.at.value) - u**2 / 2
    return _Look(value, step * score, step, view, 1 / np.sqrt(curvature), np.zeros(0), curvature)


def integrate(surface: Surface, rule: Rule, start: Floats, frame: _Frame) -> tuple[float, Floats, Floats]:
    """Log-likelihood of a block, its derivatives row by row, and the modes."""
    if surface.block.outer is not None:
        return _nested(surface, surface.block.outer, rule, start, frame)
    u, value, slopes = _inner(surface, rule, surface.offset[:, None], start[:, None])
    return float(value.sum()), slopes[..., 0], u[:, 0]


def _inner(surface: Surface, rule: Rule, shift: Floats, start: Floats) -> tuple[Floats, Floats, Floats]:
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
    at_nodes[INNER] = at_nodes[ETA] * spots
    bent = by_scale * scale**3 / 2
    third = members.total(weights * load**3 * mode.view.third)
    moved = ((by_mode + bent * third) * scale**2)[codes]
    bent = bent[codes]
    at_mode = mode.view.bends(weights * load * moved, weights * load**2 * bent)
    at_mode[INNER] = at_mode[ETA] * u[codes] + weights * (
        mode.view.first * moved + 2 * load * mode.view.second * bent
    )
    return u, value, at_nodes.sum(axis=-1) + at_mode


def _outer_look(surface: Surface, outer: _Outer, x: Floats) -> _Look:
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


def _joint_mode(surface: Surface, outer: _Outer, start: Floats) -> tuple[Floats, _Look]:
    cells = np.concatenate([np.arange(outer.count), outer.parent])
    return _climb(lambda x: _outer_look(surface, outer, x), start, cells)


@dataclass(frozen=True, slots=True)
class _Across:
    """The outer members at some nodes, (outer members, nodes), inner effects integrated out."""

    spots: Floats  # outer effect of each row, (rows, nodes)
    heights: Floats  # log density
    incline: Floats  # its derivative by the outer effect
    slopes: Floats  # derivatives of the inner integrals, (6, rows, nodes)


def _across(surface: Surface, outer: _Outer, rule: Rule, x: Floats, mode: _Look, places: Floats) -> _Across:
    """Look at the places, (outer members, nodes), in standard deviations from the joint mode."""
    v, u = x[: outer.count], x[outer.count :]
    steps = mode.scale[:, None] * places
    nodes = v[:, None] + steps
    near = u[:, None] - mode.turn[:, None] * steps[outer.parent]
    spots = nodes[outer.codes]
    shift = surface.offset[:, None] + surface.outer[:, None] * spots
    width = max(AT_ONCE // (len(shift) * len(rule.nodes)), 1)
    parts = [
        _inner(surface, rule, shift[:, at : at + width], near[:, at : at + width])
        for at in range(0, places.shape[1], width)
    ]
    inner = np.concatenate([value for _, value, _ in parts], axis=1)
    slopes = np.concatenate([slope for _, _, slope in parts], axis=2)
    incline = outer.total(surface.outer[:, None] * slopes[ETA]) - nodes
    return _Across(spots, outer.collect(inner) - nodes**2 / 2, incline, slopes)


def centred(surface: Surface, outer: _Outer, rule: Rule, start: Floats) -> _Frame:
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
    surface: Surface, outer: _Outer, rule: Rule, start: Floats, frame: _Frame
) -> tuple[float, Floats, Floats]:
    """Integrate over outer effects the product of the integrals over inner ones."""
    x, mode = _joint_mode(surface, outer, start)
    places = frame.centre[:, None] + frame.width[:, None] * rule.nodes
    found = _across(surface, outer, rule, x, mode, places)
    value, shares = rule.integrate(found.heights, mode.scale * frame.width)
    slope = shares * found.incline
    by_mode, by_scale = slope.sum(axis=1), (slope * places).sum(axis=1) + 1 / mode.scale
    slopes = found.slopes
    slopes[OUTER] = slopes[ETA] * found.spots
    at_nodes = np.einsum("snk,nk->sn", slopes, shares[outer.codes])
    return float(value.sum()), at_nodes + _at_joint_mode(surface, outer, x, mode, by_mode, by_scale), x


def _at_joint_mode(
    surface: Surface, outer: _Outer, x: Floats, mode: _Look, by_mode: Floats, by_scale: Floats
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
    slopes[OUTER] = slopes[ETA] * v + first * moved_outer + second
    slopes[INNER] = slopes[ETA] * u + first * moved_inner - second * turn
    return slopes
