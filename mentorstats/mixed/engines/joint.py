"""Fixed and random effects together: estimates and the covariance of their errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.mixed.algebra.elimination import Factor

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Joint:
    """Estimates of all effects and what the covariance of their errors is made of.

    With G = M⁻¹ the errors of z'b + x'β have variance
    σ² z'ΛGΛ'z + (x − C'Λ'z)' V (x − C'Λ'z), C = G Λ'Z'WX: the second part is what not knowing the
    fixed effects adds [henderson_1975].
    """

    sizes: tuple[tuple[int, int], ...]
    factors: list[Floats]  # relative triangular factors Λ
    factor: Factor | None  # None without random effects
    lifted: Floats  # C, (N, p)
    beta: Floats  # (p,)
    covariance: Floats  # V, (p, p)
    variance: float  # σ², 1 for ordinal models
    b: Floats  # (N,)

    def part(self, t: int) -> slice:
        """Random columns of one factor."""
        ends = np.concatenate([[0], np.cumsum([m * k for m, k in self.sizes])])
        return slice(int(ends[t]), int(ends[t + 1]))

    def effects(self, t: int) -> tuple[Floats, Floats]:
        """Effects of the members of one factor, (m, k), and their prediction-error covariances, (m, k, k)."""
        m, k = self.sizes[t]
        if self.factor is None:
            return np.zeros((m, k)), np.zeros((m, k, k))
        own = _own_blocks(self.factor, self.sizes, t)
        tilt = self.factors[t] @ self.lifted[self.part(t)].reshape(m, k, -1)
        covariance = self.variance * (self.factors[t] @ own @ self.factors[t].T)
        covariance = covariance + np.einsum("map,pq,mbq->mab", tilt, self.covariance, tilt, optimize=True)
        return self.b[self.part(t)].reshape(m, k), covariance

    def spread(self) -> sparse.csr_array:
        """Λ as a sparse matrix."""
        blocks = [
            sparse.kron(sparse.eye_array(m), f) for (m, _), f in zip(self.sizes, self.factors, strict=True)
        ]
        return sparse.csr_array(sparse.block_diag(blocks)) if blocks else sparse.csr_array((0, 0))

    def error(self, x: Floats, z: sparse.csr_array | None) -> Floats:
        """Covariance of the errors of the combinations x'β + z'b, (r, r); x is (r, p), z (r, N)."""
        if z is None or self.factor is None:
            return x @ self.covariance @ x.T
        through = (z @ self.spread()).toarray()
        half = self.factor.half(np.ascontiguousarray(through.T))
        tilt = x - through @ self.lifted
        return np.asarray(self.variance * half.T @ half + tilt @ self.covariance @ tilt.T)

    def error_and_fixed(self, x: Floats, z: sparse.csr_array) -> tuple[Floats, Floats]:
        """``error``, and its part that falls on the fixed parameters, (p, r)."""
        if self.factor is None:
            return x @ self.covariance @ x.T, self.covariance @ x.T
        through = (z @ self.spread()).toarray()
        half = self.factor.half(np.ascontiguousarray(through.T))
        toward = self.covariance @ (x - through @ self.lifted).T
        return np.asarray(self.variance * half.T @ half + (x - through @ self.lifted) @ toward), toward

    def error_variances(self, x: Floats, z: sparse.csr_array, batch: int = 256) -> Floats:
        """Diagonal of ``error``, (r,), a batch of rows at a time."""
        out = np.empty(len(x))
        spread = self.spread()
        for start in range(0, len(x), batch):
            rows = slice(start, start + batch)
            tilt, own = x[rows], np.zeros(len(x[rows]))
            if self.factor is not None and z.shape[1]:
                through = (z[rows] @ spread).toarray()
                half = self.factor.half(np.ascontiguousarray(through.T))
                own = self.variance * (half**2).sum(axis=0)
                tilt = tilt - through @ self.lifted
            out[rows] = own + np.einsum("rp,pq,rq->r", tilt, self.covariance, tilt, optimize=True)
        return out


def _own_blocks(factor: Factor, sizes: tuple[tuple[int, int], ...], t: int) -> Floats:
    """Diagonal blocks of the inverse for one factor, (m, k, k)."""
    begin = sum(m * k * (k + 1) // 2 for m, k in sizes[:t])
    m, k = sizes[t]
    low = np.tril_indices(k)
    blocks = np.zeros((m, k, k))
    blocks[:, low[0], low[1]] = factor.inverse()[begin : begin + m * len(low[0])].reshape(m, -1)
    return blocks + np.transpose(np.tril(blocks, -1), (0, 2, 1))
