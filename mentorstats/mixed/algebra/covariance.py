"""Relative covariance of the effects of one member: a triangular factor a grouping, as one vector."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLOOR = 1e-4  # of the natural size of a parameter: where the gradient of a zero variance is taken


def scaled_inverse(matrix: Floats, least: float = 1e-15) -> Floats:
    """Pseudo-inverse of a symmetric matrix, cut off after bringing its diagonal to one.

    ``least`` is the share of the largest eigenvalue that counts as none.
    """
    size = np.sqrt(np.abs(np.diagonal(matrix)))
    size = np.where(size > 0, size, 1.0)
    inverse = np.linalg.pinv(matrix / np.outer(size, size), least, hermitian=True)
    return np.asarray(inverse / np.outer(size, size), dtype=np.float64)


@lru_cache(maxsize=64)
def _parts(sizes: tuple[tuple[int, int], ...]) -> list[slice]:
    ends = itertools.accumulate((m * k for m, k in sizes), initial=0)
    return [slice(a, b) for a, b in itertools.pairwise(ends)]


@dataclass(frozen=True, slots=True)
class Triangles:
    """Which entries of each triangular factor are free, in the order of the parameter vector."""

    sizes: tuple[tuple[int, int], ...]
    entries: tuple[tuple[int, int, int], ...]  # (factor, row, column)

    @property
    def diagonal(self) -> NDArray[np.bool_]:
        """Which parameters are standard deviations rather than covariances."""
        return np.array([a == b for _, a, b in self.entries], dtype=bool)

    def unpack(self, theta: Floats) -> list[Floats]:
        """One lower triangular matrix a factor."""
        factors = [np.zeros((k, k)) for _, k in self.sizes]
        for value, (t, a, b) in zip(theta, self.entries, strict=True):
            factors[t][a, b] = value
        return factors

    def pack(self, factors: Sequence[Floats]) -> Floats:
        """Gather the free entries."""
        return np.array([factors[t][a, b] for t, a, b in self.entries])

    @property
    def n(self) -> int:
        """Number of random columns."""
        return sum(m * k for m, k in self.sizes)

    def parts(self) -> list[slice]:
        """Random columns of each factor."""
        return _parts(self.sizes)

    def spread(self, factors: Sequence[Floats], columns: Floats, *, transposed: bool) -> Floats:
        """Multiply by Λ' (transposed) or Λ, for (N, c)."""
        out = np.empty_like(columns)
        for (m, k), factor, part in zip(self.sizes, factors, self.parts(), strict=True):
            rows = columns[part].reshape(m, k, -1)
            out[part] = ((factor.T if transposed else factor) @ rows).reshape(m * k, -1)
        return out

    def lifted(self, theta: Floats, natural: Floats) -> list[Floats]:
        """Triangular factors with zeros on their diagonals lifted, so that they can be inverted."""
        factors = self.unpack(theta)
        for size, (t, a, b) in zip(natural, self.entries, strict=True):
            if a == b and abs(factors[t][a, a]) < FLOOR * size:
                factors[t][a, a] = FLOOR * size
        return factors

    def chain(self, factors: list[Floats], by_covariance: list[Floats]) -> Floats:
        """From derivatives by Σ = LL' to derivatives by the free entries of L."""
        return self.pack([2 * (d @ f) for d, f in zip(by_covariance, factors, strict=True)])

    def bend(self, by_covariance: list[Floats]) -> Floats:
        """Curvature of Σ = LL' itself, where it adds to the Hessian."""
        bent = np.zeros((len(self.entries), len(self.entries)))
        positive = [_positive_part(slope) for slope in by_covariance]
        for i, (t, a, b) in enumerate(self.entries):
            for j, (s, c, d) in enumerate(self.entries):
                if t == s and b == d:
                    bent[i, j] = 2 * positive[t][a, c]
        return bent

    def covariances(self, theta: Floats) -> list[Floats]:
        """Relative covariance matrix of each factor."""
        return [factor @ factor.T for factor in self.unpack(theta)]


def triangles(sizes: Sequence[tuple[int, int]], correlated: Sequence[bool]) -> Triangles:
    """Free entries: the lower triangle, or its diagonal where effects are not correlated."""
    entries = [
        (t, a, b)
        for t, (_, k) in enumerate(sizes)
        for b in range(k)
        for a in range(b, k)
        if a == b or correlated[t]
    ]
    return Triangles(tuple(sizes), tuple(entries))


def _positive_part(symmetric: Floats) -> Floats:
    roots, vectors = np.linalg.eigh((symmetric + symmetric.T) / 2)
    return np.asarray((vectors * np.maximum(roots, 0)) @ vectors.T)
