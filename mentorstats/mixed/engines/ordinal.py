"""Cumulative-link mixed models by Laplace's approximation, with its exact gradient.

The log-likelihood of (Λ, cut-points τ, slopes β, log dispersion ζ) is approximated at the conditional
mode û of the spherical random effects by Σℓ_i − û'û/2 − ½ log|M|, M = Λ'Z'WZΛ + I, W = −∂²ℓ/∂η²
[tierney_kadane_1986]. The mode moves with the parameters; the implicit function theorem carries that
movement into the gradient through one more solution with M.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.errors import ModelError
from mentorstats.mixed.algebra.covariance import FLOOR, Triangles, scaled_inverse
from mentorstats.mixed.algebra.elimination import Factor
from mentorstats.mixed.algebra.information import average_information, symmetric_products
from mentorstats.mixed.design.crossproducts import Blocks, Meeting, Pair, sums
from mentorstats.mixed.design.scan import Rows
from mentorstats.mixed.engines.links import BEYOND, Pieces, pieces

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SETTLED = 1e-9  # squared Newton step of the modes, relative to one standard deviation each, summed
_NEAR = 1e-4  # below it one more step is certain to settle
_MOST_STEPS = 60
_HALVINGS = 25


@dataclass(frozen=True, slots=True)
class Cuts:
    """Which cut-point of its group bounds a level: upper[g, level], lower[g, level], −1 for none."""

    upper: Ints
    lower: Ints
    groups: Ints  # group of each free cut-point
    between: tuple[tuple[int, int], ...]  # levels on its two sides

    @property
    def count(self) -> int:
        """Number of free cut-points."""
        return len(self.between)


def cuts(seen: NDArray[np.bool_]) -> Cuts:
    """Free cut-points for levels seen in each group, ``seen`` (groups, levels); unused ones have none."""
    upper = np.full(seen.shape, -1)
    lower = np.full(seen.shape, -1)
    groups: list[int] = []
    between: list[tuple[int, int]] = []
    for g, row in enumerate(seen):
        used = np.flatnonzero(row)
        for left, right in itertools.pairwise(used):
            upper[g, left] = lower[g, right] = len(between)
            between.append((int(left), int(right)))
            groups.append(g)
    return Cuts(upper, lower, np.array(groups, dtype=np.int64), tuple(between))


@dataclass(frozen=True, slots=True)
class State:
    """One evaluation."""

    psi: Floats
    value: float  # minus twice the approximated log-likelihood
    gradient: Floats
    hessian: Floats  # approximate
    u: Floats
    factors: list[Floats]
    factor: Factor | None
    cross: Floats  # Λ'Z'(−∂²ℓ/∂η∂ψ), (N, fixed parameters)
    conditional: Floats  # information of the fixed parameters given Λ
    shift: Floats  # slope of the approximated log-likelihood towards a shift of each row, (n,)
    loose: Floats  # variance of each row's random part given the fixed parameters, (n,)
    lean: Floats  # twice how far the mean of that part lies from its mode, (n,)
    by_upper: Floats  # the same towards each row's scaled distance to its upper cut-point
    by_lower: Floats
    by_spread: Floats  # and towards each row's log dispersion


class OrdinalProblem:
    """Rows, pattern and link of one ordinal model.

    The parameter vector runs: free entries of Λ, cut-points, slopes, log-dispersion coefficients.
    """

    def __init__(
        self,
        rows: Rows,
        cut: Cuts,
        link: str,
        triangles: Triangles,
        blocks: Blocks | None,
        meetings: dict[Pair, Meeting],
    ) -> None:
        self.rows, self.cut, self.link = rows, cut, link
        self.triangles, self.blocks, self.meetings = triangles, blocks, meetings
        level = rows.response.astype(np.int64)
        self.up = cut.upper[rows.threshold_group, level]
        self.low = cut.lower[rows.threshold_group, level]
        self.q, self.c = len(triangles.entries), cut.count
        self.p, self.d = rows.fixed.shape[1], rows.scale.shape[1]
        self.natural = self._natural()
        self._modes = np.zeros(triangles.n)
        self._last: tuple[Floats, State | None] | None = None

    @property
    def n_fixed(self) -> int:
        """Cut-points, slopes and log-dispersion coefficients."""
        return int(self.c + self.p + self.d)

    def _natural(self) -> Floats:
        weight = 0.2 if self.link == "logit" else 0.6
        sizes = []
        for t, _, b in self.triangles.entries:
            squares = (self.rows.values[t][:, b] ** 2 * self.rows.weights).sum()
            sizes.append(1 / np.sqrt(max(weight * squares / self.triangles.sizes[t][0], 1e-12)))
        return np.array(sizes)

    @property
    def lower(self) -> Floats:
        """Lower bounds of the parameters."""
        diagonal = self.triangles.diagonal
        free = np.full(self.n_fixed, -np.inf)
        return np.concatenate([np.where(diagonal, FLOOR * self.natural, -np.inf), free])

    def split(self, psi: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Λ's entries, cut-points, slopes, log-dispersion coefficients."""
        ends = np.cumsum([self.q, self.c, self.p])
        a, b, c, d = np.split(psi, ends)
        return a, b, c, d

    def ordered(self, tau: Floats) -> bool:
        """Whether cut-points rise within each group."""
        rising = np.diff(tau) > 0
        return bool((rising | (np.diff(self.cut.groups) != 0)).all())

    def edges(self, tau: Floats, eta: Floats, spread: Floats) -> tuple[Floats, Floats]:
        """Scaled distances of each row to its upper and lower cut-point."""
        edges = np.append(tau, 0.0)
        upper = np.where(self.up < 0, BEYOND, (edges[self.up] - eta) / spread)
        lower = np.where(self.low < 0, -BEYOND, (edges[self.low] - eta) / spread)
        return upper, lower

    def random_part(self, b: Floats) -> Floats:
        """Zb, (n,)."""
        total = np.zeros(len(self.rows.response))
        for t, part in enumerate(self.triangles.parts()):
            m, k = self.triangles.sizes[t]
            total += np.einsum("nk,nk->n", self.rows.values[t], b[part].reshape(m, k)[self.rows.codes[t]])
        return total

    def gather(self, columns: Floats) -> Floats:
        """Z' times columns, (N, c)."""
        out = np.empty((self.triangles.n, columns.shape[1]))
        for t, part in enumerate(self.triangles.parts()):
            m, k = self.triangles.sizes[t]
            block = np.empty((m, k, columns.shape[1]))
            for a in range(k):
                for c in range(columns.shape[1]):
                    values = self.rows.values[t][:, a] * columns[:, c]
                    block[:, a, c] = np.bincount(self.rows.codes[t], values, minlength=m)
            out[part] = block.reshape(m * k, -1)
        return out

    def products(self, weights: Floats) -> list[Floats]:
        """Z'WZ as blocks: within each factor, then between factors."""
        rows = self.rows
        parts = [
            sums(rows.codes[t], m, rows.values[t], rows.values[t], weights)
            for t, (m, _) in enumerate(self.triangles.sizes)
        ]
        for s, t in sorted(self.meetings):
            meeting = self.meetings[s, t]
            parts.append(sums(meeting.of_row, len(meeting.left), rows.values[s], rows.values[t], weights))
        return parts

    def factorise(self, products: list[Floats], factors: list[Floats]) -> Factor:
        """Factorise M = Λ'Z'WZΛ + I from what ``products`` gave."""
        count = len(factors)
        numbers = [
            (f.T @ a @ f + np.eye(len(f))).ravel() for a, f in zip(products[:count], factors, strict=True)
        ]
        for (s, t), block in zip(sorted(self.meetings), products[count:], strict=True):
            numbers.append((factors[s].T @ block @ factors[t]).ravel())
        if self.blocks is None:
            raise ModelError("no random effects", remedy="Declare a grouping.")
        return self.blocks.elimination.factorise(np.concatenate(numbers)[self.blocks.keep])

    def _find_modes(
        self, tau: Floats, offset: Floats, spread: Floats, factors: list[Floats]
    ) -> tuple[Floats, Pieces, Floats, list[Floats], Factor]:
        """Newton's method for û; returns û, pieces, weights, products and the factor there."""
        u = self._modes
        weights = self.rows.weights
        b = self.triangles.spread(factors, u[:, None], transposed=False)[:, 0]
        now = pieces(self.link, *self.edges(tau, offset + self.random_part(b), spread))
        value = weights @ now.value - 0.5 * u @ u
        last = False
        for _ in range(_MOST_STEPS):
            w = -weights * now.ss / spread**2
            products = self.products(w)
            factor = self.factorise(products, factors)
            if last:
                break
            score = self.gather((-weights * now.s / spread)[:, None])
            score = self.triangles.spread(factors, score, transposed=True)[:, 0] - u
            step = factor.solve(score[:, None])[:, 0]
            gain = float(step @ score)
            if gain < _SETTLED:
                break
            last = gain < _NEAR
            for _ in range(_HALVINGS):
                trial = u + step
                b = self.triangles.spread(factors, trial[:, None], transposed=False)[:, 0]
                new = pieces(self.link, *self.edges(tau, offset + self.random_part(b), spread))
                reached = weights @ new.value - 0.5 * trial @ trial
                if reached >= value - 1e-10 * abs(value):
                    break
                step = step / 2
            u, now, value = trial, new, reached
        return u, now, w, products, factor

    def evaluate(self, psi: Floats) -> State | None:
        """Evaluate criterion, gradient and approximate Hessian; None where cut-points are out of order."""
        theta, tau, beta, zeta = self.split(psi)
        if not self.ordered(tau):
            return None
        spread = np.exp(self.rows.scale @ zeta)
        offset = self.rows.fixed @ beta
        if not self.q:
            return self._without_random(psi, tau, offset, spread)
        factors = self.triangles.lifted(theta, self.natural)
        u, now, w, products, factor = self._find_modes(tau, offset, spread, factors)
        value = -2 * float(self.rows.weights @ now.value) + float(u @ u) + factor.log_determinant
        return self._derivatives(psi, value, u, now, w, products, factor, factors, offset, spread)

    def state(self, psi: Floats) -> State | None:
        """``evaluate``, kept for a second question about the same parameters."""
        if self._last is None or not np.array_equal(self._last[0], psi):
            self._last = (psi.copy(), self.evaluate(psi))
        return self._last[1]

    def keep_modes(self, state: State) -> None:
        """Start the next search for modes from these."""
        self._modes = state.u

    def columns(self, tau: Floats, offset: Floats, spread: Floats) -> tuple[Floats, Floats]:
        """Derivatives of A and B by the fixed parameters, (n, fixed parameters) each."""
        n = len(spread)
        upper, lower = self.edges(tau, offset, spread)
        out = []
        for at, edge in ((self.up, upper), (self.low, lower)):
            columns = np.zeros((n, self.n_fixed))
            inside = np.flatnonzero(at >= 0)
            columns[inside, at[inside]] = 1 / spread[inside]
            columns[inside, self.c : self.c + self.p] = -self.rows.fixed[inside] / spread[inside, None]
            columns[inside, self.c + self.p :] = -edge[inside, None] * self.rows.scale[inside]
            out.append(columns)
        return out[0], out[1]

    def _without_random(self, psi: Floats, tau: Floats, offset: Floats, spread: Floats) -> State:
        weights = self.rows.weights
        now = pieces(self.link, *self.edges(tau, offset, spread))
        upper, lower = self.columns(tau, offset, spread)
        gradient = upper.T @ (weights * now.by_upper) + lower.T @ (weights * now.by_lower)
        information = self._fixed_information(now, upper, lower)
        none = np.zeros(0)
        value = -2 * float(weights @ now.value)
        by_upper, by_lower = weights * now.by_upper, weights * now.by_lower
        edges = self.edges(tau, offset, spread)
        return State(
            psi,
            value,
            -2 * gradient,
            2 * information,
            none,
            [],
            None,
            np.zeros((0, len(psi))),
            information,
            -weights * now.s / spread,
            np.zeros(len(spread)),
            np.zeros(len(spread)),
            by_upper,
            by_lower,
            self._by_spread(by_upper, by_lower, edges),
        )

    def _by_spread(self, by_upper: Floats, by_lower: Floats, edges: tuple[Floats, Floats]) -> Floats:
        upper, lower = edges
        return -np.where(self.up < 0, 0.0, upper * by_upper) - np.where(self.low < 0, 0.0, lower * by_lower)

    def _fixed_information(self, now: Pieces, upper: Floats, lower: Floats) -> Floats:
        weights = self.rows.weights
        aa, bb = weights * (now.s_upper - now.cross), weights * (now.s_lower - now.cross)
        crossed = upper.T @ ((weights * now.cross)[:, None] * lower)
        total = upper.T @ (aa[:, None] * upper) + lower.T @ (bb[:, None] * lower) + crossed + crossed.T
        return -np.asarray(total)

    def _leverages(self, inverse: Floats, factors: list[Floats]) -> tuple[Floats, list[Floats]]:
        """Variance of each row's random part given the rest, (n,), and sums of I − G over members."""
        within, between = self._unpack(inverse)
        rows = self.rows
        h = np.zeros(len(rows.response))
        own = []
        for t, (m, k) in enumerate(self.triangles.sizes):
            own.append(m * np.eye(k) - within[t].sum(axis=0))
            block = (factors[t] @ within[t] @ factors[t].T)[rows.codes[t]]
            h += np.einsum("na,nab,nb->n", rows.values[t], block, rows.values[t])
        for (s, t), part in between.items():
            block = (factors[s] @ part @ factors[t].T)[self.meetings[s, t].of_row]
            h += 2 * np.einsum("na,nab,nb->n", rows.values[s], block, rows.values[t])
        return h, own

    def _unpack(self, inverse: Floats) -> tuple[list[Floats], dict[Pair, Floats]]:
        within, at = [], 0
        for m, k in self.triangles.sizes:
            low = np.tril_indices(k)
            block = np.zeros((m, k, k))
            block[:, low[0], low[1]] = inverse[at : at + m * len(low[0])].reshape(m, -1)
            within.append(block + np.transpose(np.tril(block, -1), (0, 2, 1)))
            at += m * len(low[0])
        between = {}
        for s, t in sorted(self.meetings):
            shape = (len(self.meetings[s, t].left), self.triangles.sizes[s][1], self.triangles.sizes[t][1])
            size = int(np.prod(shape))
            between[s, t] = inverse[at : at + size].reshape(shape)
            at += size
        return within, between

    def _derivatives(
        self,
        psi: Floats,
        value: float,
        u: Floats,
        now: Pieces,
        w: Floats,
        products: list[Floats],
        factor: Factor,
        factors: list[Floats],
        offset: Floats,
        spread: Floats,
    ) -> State:
        weights, triangles = self.rows.weights, self.triangles
        _theta, tau, _, _ = self.split(psi)
        eta = offset + self.random_part(triangles.spread(factors, u[:, None], transposed=False)[:, 0])
        h, own = self._leverages(factor.inverse(), factors)
        third = weights * h * (now.ss_upper + now.ss_lower) / spread**3
        pull = triangles.spread(factors, self.gather(third[:, None]), transposed=True)
        v = factor.solve(pull)
        q = self.random_part(triangles.spread(factors, v, transposed=False)[:, 0])
        by_upper = weights * (
            now.by_upper + 0.5 * h * now.ss_upper / spread**2 + 0.5 * q * now.s_upper / spread
        )
        by_lower = weights * (
            now.by_lower + 0.5 * h * now.ss_lower / spread**2 + 0.5 * q * now.s_lower / spread
        )
        upper, lower = self.columns(tau, eta, spread)
        fixed = upper.T @ by_upper + lower.T @ by_lower
        slope = -weights * now.s / spread
        more = h * w + 0.5 * q * slope
        fixed[self.c + self.p :] += self.rows.scale.T @ more
        shift = -(by_upper + by_lower) / spread
        both = self.gather(np.column_stack([shift, slope]))
        random = self._random_gradient(both, u, v[:, 0], own, factors)
        cross = -(weights / spread)[:, None] * (now.s_upper[:, None] * upper + now.s_lower[:, None] * lower)
        cross[:, self.c + self.p :] += -slope[:, None] * self.rows.scale
        toward = self.gather(-cross)
        hessian, lifted, conditional = self._hessian(
            now, upper, lower, toward, u, own, products, factor, factors
        )
        return State(
            psi,
            value,
            -2 * np.concatenate([random, fixed]),
            hessian,
            u,
            factors,
            factor,
            lifted,
            conditional,
            shift,
            h,
            -q,
            by_upper,
            by_lower,
            self._by_spread(by_upper, by_lower, self.edges(tau, eta, spread)) + more,
        )

    def _random_gradient(
        self, both: Floats, u: Floats, v: Floats, own: list[Floats], factors: list[Floats]
    ) -> Floats:
        slopes = []
        for t, part in enumerate(self.triangles.parts()):
            m, k = self.triangles.sizes[t]
            direct, score = both[part, 0].reshape(m, k), both[part, 1].reshape(m, k)
            modes, adjoint = u[part].reshape(m, k), v[part].reshape(m, k)
            trace = (own[t] @ np.linalg.inv(factors[t])).T
            slopes.append(direct.T @ modes - 0.5 * score.T @ adjoint - trace)
        return self.triangles.pack(slopes)

    def _hessian(
        self,
        now: Pieces,
        upper: Floats,
        lower: Floats,
        toward: Floats,
        u: Floats,
        own: list[Floats],
        products: list[Floats],
        factor: Factor,
        factors: list[Floats],
    ) -> tuple[Floats, Floats, Floats]:
        """Approximate Hessian: parameters of Λ as in a linear model with the same weights, and the rest."""
        triangles = self.triangles
        cross = triangles.spread(factors, toward, transposed=True)
        half = factor.half(cross)
        conditional = self._fixed_information(now, upper, lower) - half.T @ half
        unscaled = scaled_inverse(conditional)
        if self.blocks is None:
            raise ModelError("no random effects", remedy="Declare a grouping.")
        numbers = np.concatenate([part.ravel() for part in products])[self.blocks.keep]
        design = symmetric_products(self.blocks.rows, self.blocks.cols, numbers, triangles.n)
        average = average_information(triangles, factors, u, design, factor, toward, half, unscaled)
        slopes = []
        for t, part in enumerate(triangles.parts()):
            modes = u[part].reshape(triangles.sizes[t])
            back = np.linalg.inv(factors[t])
            slopes.append(back.T @ (own[t] - modes.T @ modes) @ back)
        hessian = np.zeros((self.q + self.n_fixed, self.q + self.n_fixed))
        hessian[: self.q, : self.q] = average + triangles.bend(slopes)
        hessian[self.q :, self.q :] = 2 * conditional
        return hessian, factor.back(half), conditional
