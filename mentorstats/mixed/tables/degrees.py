"""Degrees of freedom of fixed effects: Satterthwaite, and Kenward and Roger with their adjusted errors.

Satterthwaite's approximation matches the mean and variance of an estimated variance c'Φc to a multiple
of chi-squared [satterthwaite_1946]. Kenward and Roger also widen Φ for the variances being estimated,
and match two moments of the F statistic [kenward_roger_1997].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.linear import Problem, Slopes, Solution

Floats = NDArray[np.float64]

EXACT_UP_TO = 5000  # unknowns; above, traces come from random probes
PROBES = 256
_STEP = 1e-3  # of a parameter's standard error of one: relative step of the differences
_SEED = 20


@dataclass(frozen=True, slots=True)
class Degrees:
    """Covariance of the fixed effects and the df of any contrast of them."""

    covariance: Floats  # (p, p), adjusted where the method adjusts it
    of_contrast: Callable[[Floats], float]
    method: str
    note: str = ""


def satterthwaite(problem: Problem, solution: Solution) -> Degrees:
    """Df from the curvature of the criterion in the variances that are not zero."""
    sigma = float(np.sqrt(solution.residual / problem.freedom))
    theta = solution.theta
    free = np.flatnonzero(theta != 0)
    step = _STEP * np.maximum(np.abs(theta), problem.natural)
    center_gradient = problem.joint(theta, sigma)
    hessian = np.zeros((len(free) + 1, len(free) + 1))
    slopes = np.zeros((len(free) + 1, problem.p, problem.p))
    for i, at in enumerate(free):
        move = np.zeros(len(theta))
        move[at] = step[at]
        _, up, high = problem.joint(theta + move, sigma)
        _, down, low = problem.joint(theta - move, sigma)
        keep = np.append(free, len(theta))
        hessian[i] = (up - down)[keep] / (2 * step[at])
        slopes[i] = sigma**2 * (high.unscaled - low.unscaled) / (2 * step[at])
    hessian[-1, :-1] = hessian[:-1, -1]
    hessian[-1, -1] = 4 * problem.freedom / sigma**2
    slopes[-1] = 2 * sigma * center_gradient[2].unscaled
    uncertainty = 2 * scaled_inverse((hessian + hessian.T) / 2)
    covariance = sigma**2 * solution.unscaled

    def of_contrast(c: Floats) -> float:
        variance = c @ covariance @ c
        gradient = np.einsum("p,ipq,q->i", c, slopes, c)
        return float(2 * variance**2 / (gradient @ uncertainty @ gradient))

    return Degrees(covariance, of_contrast, "satterthwaite")


def kenward_roger(problem: Problem, solution: Solution) -> Degrees:
    """Adjusted covariance and df [kenward_roger_1997]; no variance may be zero.

    The covariance V of the response is linear in the parameters, V = Σ κ_i V_i. One of the V_i, the
    residual's, is replaced by V itself, which makes all its terms immediate, and changed back last.
    """
    at = problem.with_slope(solution.theta)
    sigma2 = solution.residual / problem.freedom
    basis = _Basis(problem, at, sigma2)
    back = basis.from_whole()
    p = np.tensordot(back, basis.first(), axes=1)
    q = np.einsum("ik,jl,klab->ijab", back, back, basis.second(), optimize=True)
    traces, note = basis.traces()
    k = back @ traces @ back.T
    phi = sigma2 * solution.unscaled
    phi_p = np.einsum("ab,ibc->iac", phi, p)
    information = k - 2 * np.einsum("ab,ijba->ij", phi, q) + np.einsum("iab,jba->ij", phi_p, phi_p)
    w = 2 * scaled_inverse((information + information.T) / 2)
    excess = np.einsum("ij,ijab->ab", w, q) - np.einsum("ij,iab,bc,jcd->ad", w, p, phi, p, optimize=True)
    adjusted = phi + 2 * phi @ excess @ phi

    def of_contrast(c: Floats) -> float:
        scale = c @ phi @ c
        change = np.einsum("a,iab,bc,c->i", c, phi_p, phi, c, optimize=True) / scale
        return _one_contrast(float(change @ w @ change))

    return Degrees((adjusted + adjusted.T) / 2, of_contrast, "kenward_roger", note)


def _one_contrast(a: float) -> float:
    """Df of a single contrast, where A₁ = A₂ = a and all that [kenward_roger_1997] compute comes to 2/a."""
    return 2 / a if a > 0 else np.inf


class _Basis:
    """P_i, Q_ij and tr(V⁻¹V_iV⁻¹V_j) for V_0 = V and V_i = Z_t (I ⊗ E) Z_t', E a symmetric unit."""

    def __init__(self, problem: Problem, at: Slopes, sigma2: float) -> None:
        self.problem, self.at, self.sigma2 = problem, at, sigma2
        self.units: list[tuple[int, Floats]] = []
        for t, (_, k) in enumerate(problem.products.sizes):
            diagonal_only = not any(s == t and a != b for s, a, b in problem.triangles.entries)
            for a in range(k):
                for b in range(a, k):
                    if a != b and diagonal_only:
                        continue
                    unit = np.zeros((k, k))
                    unit[a, b] = unit[b, a] = 1.0
                    self.units.append((t, unit))
        lifted = at.solution.lifted[:, :-1]
        self.tx = self._back(lifted) / sigma2  # Z'V⁻¹X, (N, p)

    def _back(self, columns: Floats) -> Floats:
        """Multiply by Λ⁻ᵀ."""
        inverse = [np.asarray(np.linalg.inv(factor), dtype=np.float64) for factor in self.at.factors]
        return self.problem.triangles.spread(inverse, columns, transposed=True)

    def apply(self, columns: Floats) -> Floats:
        """Multiply by T = Z'V⁻¹Z."""
        image = self.problem.design @ columns
        half = self.at.solution.factor
        through = half.solve(self.problem.triangles.spread(self.at.factors, image, transposed=True))
        lifted = self.problem.triangles.spread(self.at.factors, through, transposed=False)
        return np.asarray((image - self.problem.design @ lifted) / self.sigma2)

    def times(self, i: int, columns: Floats) -> Floats:
        """Multiply by I ⊗ E on the columns of its factor, zero elsewhere."""
        t, unit = self.units[i]
        part = self.problem.triangles.parts()[t]
        m, k = self.problem.products.sizes[t]
        out = np.zeros_like(columns)
        out[part] = (unit @ columns[part].reshape(m, k, -1)).reshape(m * k, -1)
        return out

    def from_whole(self) -> Floats:
        """Matrix that turns (V, V_1, …) into (V_1, …, residual)."""
        count = len(self.units)
        back = np.zeros((count + 1, count + 1))
        back[:-1, 1:] = np.eye(count)
        covariances = [self.sigma2 * factor @ factor.T for factor in self.at.factors]
        values = [covariances[t][tuple(np.argwhere(unit)[0])] for t, unit in self.units]
        back[-1] = np.append(1.0, -np.array(values)) / self.sigma2
        return back

    def first(self) -> Floats:
        """P_i = −X'V⁻¹V_iV⁻¹X."""
        whole = -np.linalg.inv(self.at.solution.unscaled) / self.sigma2
        return np.stack([whole, *(-self.tx.T @ self.times(i, self.tx) for i in range(len(self.units)))])

    def second(self) -> Floats:
        """Q_ij = X'V⁻¹V_iV⁻¹V_jV⁻¹X."""
        first = self.first()
        count = len(self.units)
        q = np.empty((count + 1, count + 1, *first.shape[1:]))
        q[0, :] = q[:, 0] = -first
        left = [self.times(i, self.tx) for i in range(count)]
        right = [self.apply(part) for part in left]
        for i in range(count):
            for j in range(count):
                q[i + 1, j + 1] = left[i].T @ right[j]
        return q

    def traces(self) -> tuple[Floats, str]:
        """Traces of V⁻¹V_iV⁻¹V_j, and a note where they were estimated."""
        problem, count = self.problem, len(self.units)
        k = np.empty((count + 1, count + 1))
        k[0, 0] = problem.products.n
        n_random = problem.triangles.n
        exact = n_random <= EXACT_UP_TO
        if exact:
            probes = np.eye(n_random)
        else:
            signs = np.random.default_rng(_SEED).integers(0, 2, (n_random, PROBES))
            probes = (2.0 * signs - 1.0) / np.sqrt(PROBES)
        image = self.apply(probes)
        for i in range(count):
            turned = self.times(i, probes)
            k[0, i + 1] = k[i + 1, 0] = np.vdot(turned, image)
            there = self.apply(turned)
            for j in range(count):
                k[i + 1, j + 1] = np.vdot(self.times(j, there), image)
        note = "" if exact else f"Traces estimated from {PROBES} random probes of fixed seed."
        return (k + k.T) / 2, note
