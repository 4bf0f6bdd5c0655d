"""Linear mixed models by profiled penalised least squares, from cross-products alone [bates_2015].

With relative covariance ΛΛ' of the random effects b = Λu, everything follows from one factorisation of
M = Λ'Z'ZΛ + I. Write S for the cross-products of (X, y) left after eliminating u; then
β = S_xx⁻¹ S_xy, r² = S_yy − S_xy'β, and the restricted criterion is
log|M| + log|S_xx| + (n − p)(1 + log 2πr²/(n − p)).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve

from mentorstats.mixed.algebra.covariance import FLOOR, Triangles
from mentorstats.mixed.algebra.elimination import Factor
from mentorstats.mixed.algebra.information import average_information, symmetric_products
from mentorstats.mixed.algebra.optimise import Minimum, minimise
from mentorstats.mixed.design.crossproducts import Blocks, CrossProducts

Floats = NDArray[np.float64]

FARTHEST = 30.0  # log of the residual's standard deviation, the response's being one
_STRONGEST = 1e12  # times the natural size of an entry of Λ: beyond it there is nothing but rounding
_LOG_TWO_PI = float(np.log(2 * np.pi))
_ZERO = 1e-3  # relative to its natural size: below it a variance is tried at exactly zero
_MOST_EXPLAINED = 0.6  # share of the variance given to the factors at the start
_NO_WORSE = 1e-8  # the criterion may rise by this much when a variance is set to exactly zero


@dataclass(frozen=True, slots=True)
class Solution:
    """One evaluation at given relative covariances, on the scale of the scaled response."""

    theta: Floats
    criterion: float  # profiled over the residual variance
    log_determinants: float  # log|M| (+ log|S_xx| when restricted)
    residual: float  # r²
    beta: Floats
    unscaled: Floats  # S_xx⁻¹
    factor: Factor
    half: Floats  # lower half of the solution for (X, y)

    @property
    def lifted(self) -> Floats:
        """M⁻¹ Λ'Z'(X, y), (N, p + 1)."""
        return self.factor.back(self.half)

    @property
    def spherical(self) -> Floats:
        """The random effects u, (N,)."""
        lifted = self.lifted
        return lifted[:, -1] - lifted[:, :-1] @ self.beta


@dataclass(frozen=True, slots=True)
class Slopes:
    """A solution, and for each factor the derivatives by its relative covariance Σ, (k, k)."""

    solution: Solution
    factors: list[Floats]  # triangular factors, lifted off the boundary
    u: Floats  # spherical random effects
    logs: list[Floats]  # derivative of the log determinants
    squares: list[Floats]  # minus the derivative of r²


@dataclass(frozen=True)
class Problem:
    """Cross-products and pattern of one linear model."""

    products: CrossProducts
    blocks: Blocks
    triangles: Triangles
    restricted: bool
    log_scale: float = 0.0  # logarithm of what the response was divided by

    @property
    def p(self) -> int:
        """Number of fixed columns."""
        return len(self.products.fixed) - 1

    @property
    def freedom(self) -> int:
        """N − p when restricted, else n."""
        return self.products.n - self.p if self.restricted else self.products.n

    @property
    def natural(self) -> Floats:
        """Size of each parameter at which a member's own rows and the penalty weigh the same."""
        means = [np.einsum("mii->i", block) / max(len(block), 1) for block in self.products.within]
        return np.array([1 / np.sqrt(max(means[t][b], 1e-12)) for t, _, b in self.triangles.entries])

    def matrix(self, factors: list[Floats]) -> Floats:
        """Numbers of M at its pattern."""
        parts = []
        for block, factor in zip(self.products.within, factors, strict=True):
            parts.append((factor.T @ block @ factor + np.eye(len(factor))).ravel())
        for s, t in self.blocks.pairs:
            parts.append((factors[s].T @ self.products.between[s, t][2] @ factors[t]).ravel())
        return np.concatenate([np.zeros(0), *parts])[self.blocks.keep]

    @cached_property
    def design(self) -> sparse.csr_array:
        """Products Z'Z of the random columns."""
        rows, cols = self.blocks.rows, self.blocks.cols
        numbers = self.matrix([np.eye(k) for _, k in self.products.sizes]) - (rows == cols)
        return symmetric_products(rows, cols, numbers, self.triangles.n)

    def solve(self, theta: Floats) -> Solution:
        """Evaluate the criterion at ``theta``."""
        return self._solve(theta, self.triangles.unpack(theta))

    def _solve(self, theta: Floats, factors: list[Floats]) -> Solution:
        factor = self.blocks.elimination.factorise(self.matrix(factors))
        half = factor.half(self.triangles.spread(factors, self.products.random_fixed, transposed=True))
        left = self.products.fixed - half.T @ half
        beta, unscaled, log_x = _regress(left)
        residual = max(float(left[-1, -1] - left[:-1, -1] @ beta), np.finfo(float).tiny)
        logs = factor.log_determinant + (log_x if self.restricted else 0.0)
        value = (
            logs
            + self.freedom * (1 + _LOG_TWO_PI + np.log(residual / self.freedom) + 2 * self.log_scale)
            - self.products.log_weights
        )
        return Solution(theta, float(value), logs, residual, beta, unscaled, factor, half)

    def with_slope(self, theta: Floats) -> Slopes:
        """Evaluate, and return what derivatives are made of; zeros are lifted off the boundary."""
        factors = self.triangles.lifted(theta, self.natural)
        solution = self._solve(theta, factors)
        lifted = solution.lifted
        u = lifted[:, -1] - lifted[:, :-1] @ solution.beta
        inverse = self._own_blocks(solution.factor)
        logs, squares = [], []
        for t, (part, factor) in enumerate(zip(self.triangles.parts(), factors, strict=True)):
            m, k = self.products.sizes[t]
            total = inverse[t]
            if self.restricted:
                x = lifted[part, :-1].reshape(m, k, -1)
                total = total + np.einsum("map,pq,mbq->ab", x, solution.unscaled, x, optimize=True)
            mode = u[part].reshape(m, k)
            back = np.linalg.inv(factor)
            logs.append(back.T @ (m * np.eye(k) - total) @ back)
            squares.append(back.T @ (mode.T @ mode) @ back)
        return Slopes(solution, factors, u, logs, squares)

    def _own_blocks(self, factor: Factor) -> list[Floats]:
        """Sum over members of each factor's diagonal blocks of M⁻¹."""
        if all(k == 1 for _, k in self.products.sizes):
            ends = np.cumsum([m for m, _ in self.products.sizes])[:-1]
            return [part.sum().reshape(1, 1) for part in np.split(factor.inverse_diagonal(), ends)]
        own = sum(m * k * (k + 1) // 2 for m, k in self.products.sizes)
        values = factor.inverse()[:own]
        sums, at = [], 0
        for m, k in self.products.sizes:
            low = np.tril_indices(k)
            total = np.zeros((k, k))
            total[low] = values[at : at + m * len(low[0])].reshape(m, -1).sum(axis=0)
            sums.append(total + np.tril(total, -1).T)
            at += m * len(low[0])
        return sums

    def _within_reach(self, theta: Floats) -> Slopes | None:
        """``with_slope``, or None so far out that rounding leaves no positive matrix."""
        if (np.abs(theta) > _STRONGEST * self.natural).any():
            return None
        try:
            return self.with_slope(theta)
        except np.linalg.LinAlgError:
            return None

    def profiled(self, theta: Floats) -> tuple[float, Floats, Floats | None]:
        """Criterion profiled over the residual variance, its gradient by theta, approximate Hessian."""
        at = self._within_reach(theta)
        if at is None:
            return np.inf, theta, None
        variance = at.solution.residual / self.freedom
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # next to no residual left
            slopes = [log - square / variance for log, square in zip(at.logs, at.squares, strict=True)]
            squares = self.triangles.chain(at.factors, at.squares) / variance
            hessian = self._information(at) / variance - np.outer(squares, squares) / self.freedom
        if not np.isfinite(hessian).all():
            return np.inf, theta, None
        return (
            at.solution.criterion,
            self.triangles.chain(at.factors, slopes),
            hessian + self.triangles.bend(slopes),
        )

    def _information(self, at: Slopes) -> Floats:
        solution = at.solution
        return average_information(
            self.triangles,
            at.factors,
            at.u,
            self.design,
            solution.factor,
            self.products.random_fixed[:, :-1],
            solution.half[:, :-1],
            solution.unscaled,
        )

    def joint(self, theta: Floats, sigma: float) -> tuple[float, Floats, Solution]:
        """Criterion at a given residual standard deviation, its gradient by (theta, sigma), the solution."""
        at = self.with_slope(theta)
        solution = at.solution
        variance = sigma**2
        value = (
            solution.log_determinants
            + self.freedom * (_LOG_TWO_PI + np.log(variance) + 2 * self.log_scale)
            + solution.residual / variance
            - self.products.log_weights
        )
        slopes = [log - square / variance for log, square in zip(at.logs, at.squares, strict=True)]
        by_sigma = 2 * (self.freedom - solution.residual / variance) / sigma
        return float(value), np.append(self.triangles.chain(at.factors, slopes), by_sigma), solution

    def absolute(self, x: Floats) -> tuple[float, Floats, Floats | None]:
        """Criterion at (theta, log of the residual standard deviation), gradient, approximate Hessian."""
        at = None if abs(x[-1]) > FARTHEST else self._within_reach(x[:-1])
        if at is None:
            return np.inf, x, None
        sigma = float(np.exp(x[-1]))
        residual, variance = at.solution.residual, sigma**2
        value = (
            at.solution.log_determinants
            + self.freedom * (_LOG_TWO_PI + np.log(variance) + 2 * self.log_scale)
            + residual / variance
            - self.products.log_weights
        )
        slopes = [log - square / variance for log, square in zip(at.logs, at.squares, strict=True)]
        mixed = 2 * self.triangles.chain(at.factors, at.squares) / variance
        hessian = np.empty((len(x), len(x)))
        hessian[:-1, :-1] = self._information(at) / variance + self.triangles.bend(slopes)
        hessian[-1, :-1] = hessian[:-1, -1] = mixed
        hessian[-1, -1] = 4 * residual / variance
        by_log_sigma = 2 * (self.freedom - residual / variance)
        return float(value), np.append(self.triangles.chain(at.factors, slopes), by_log_sigma), hessian

    def begin(self) -> Floats:
        """Start from the one-way analysis of variance of each factor on its own."""
        yy, n = self.products.fixed[-1, -1], self.products.n
        shares = []
        for t, (m, k) in enumerate(self.products.sizes):
            at = int(self.blocks.offsets[t])
            sums = self.products.random_fixed[at : at + m * k : k, -1]
            rows = np.maximum(self.products.within[t][:, 0, 0], 1e-12)
            between = float((sums**2 / rows).sum())
            inside = (yy - between) / max(n - m, 1)
            usual = (n - (rows**2).sum() / rows.sum()) / max(m - 1, 1)
            shares.append(max((between / max(m - 1, 1) - inside) / usual, 0.0) if usual > 0 else 0.0)
        explained = float(sum(shares)) / (yy / n)
        kept = np.array(shares) / (yy / n) * min(1.0, _MOST_EXPLAINED / max(explained, 1e-12))
        found = np.sqrt(kept / (1 - kept.sum()))
        natural, diagonal = self.natural, self.triangles.diagonal
        first = [found[t] if b == 0 else 0.0 for t, _, b in self.triangles.entries]
        return np.where(diagonal, np.clip(first, natural, 20 * natural), 0.0)

    def optimise(self, start: Floats | None = None) -> tuple[Solution, Minimum]:
        """Find the relative covariances; variances that end at the edge become exact zeros."""
        lower = np.where(self.triangles.diagonal, FLOOR * self.natural, -np.inf)
        begin = np.maximum(self.begin() if start is None else start, lower)
        found = minimise(self.profiled, begin, lower, np.eye(len(begin)))
        theta, best = found.x, self.solve(found.x)
        small = (np.abs(theta) < _ZERO * self.natural) & self.triangles.diagonal
        for at in np.flatnonzero(small):
            trial = theta.copy()
            trial[at] = 0.0
            tried = self.solve(trial)
            if tried.criterion <= best.criterion + _NO_WORSE:
                theta, best = trial, tried
        return best, replace(found, x=theta, value=best.criterion)


def _regress(left: Floats) -> tuple[Floats, Floats, float]:
    """Coefficients, unscaled covariance and log determinant from (X, y) cross-products."""
    p = len(left) - 1
    if not p:
        return np.zeros(0), np.zeros((0, 0)), 0.0
    c = cho_factor(left[:p, :p], lower=True, check_finite=False)
    solved = cho_solve(c, np.column_stack([left[:p, p], np.eye(p)]), check_finite=False)
    return solved[:, 0], solved[:, 1:], 2 * float(np.log(np.diagonal(c[0])).sum())
