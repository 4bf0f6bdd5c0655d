"""Average information: curvature of a likelihood in the variances, from solutions alone [gilmour_1995]."""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.mixed.algebra.covariance import Triangles
from mentorstats.mixed.algebra.elimination import Factor

Floats = NDArray[np.float64]


def average_information(
    triangles: Triangles,
    factors: list[Floats],
    u: Floats,
    design: sparse.csr_array,
    factor: Factor,
    cross: Floats,
    cross_half: Floats,
    unscaled: Floats,
) -> Floats:
    """Compute y'P V_i P V_j P y for the free entries of Λ, (q, q).

    Parameters
    ----------
    triangles, factors
        Λ, off the boundary.
    u
        Spherical random effects, (N,); Z'Py is Λ⁻ᵀu.
    design
        Z'WZ, (N, N).
    factor
        Factorised Λ'Z'WZΛ + I.
    cross, cross_half
        Z'WX, (N, p), and its lower half solution.
    unscaled
        Inverse of the fixed columns' products after eliminating u, (p, p).
    """
    working = np.zeros((triangles.n, len(triangles.entries)))
    parts = triangles.parts()
    for column, (t, a, b) in enumerate(triangles.entries):
        modes = u[parts[t]].reshape(triangles.sizes[t])
        scores = modes @ np.linalg.inv(factors[t])[:, a]
        block = np.outer(scores, factors[t][:, b])
        block[:, a] += modes[:, b]
        working[parts[t], column] = block.ravel()
    image = design @ working
    half = factor.half(triangles.spread(factors, image, transposed=True))
    left = cross.T @ working - cross_half.T @ half
    return np.asarray(working.T @ image - half.T @ half - left.T @ unscaled @ left)


def symmetric_products(
    rows: NDArray[np.int64], cols: NDArray[np.int64], numbers: Floats, n: int
) -> sparse.csr_array:
    """Sparse symmetric matrix from its entries on and below the diagonal."""
    off = rows != cols
    both = (np.concatenate([rows, cols[off]]), np.concatenate([cols, rows[off]]))
    return sparse.csr_array((np.concatenate([numbers, numbers[off]]), both), shape=(n, n))
