"""An ordinal model expanded to second order about its optimum, row by row, with the variances held.

Needs a model whose rows were not merged (``fit(..., merged=False)``): every array has a place for each row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.joint import Joint
from mentorstats.mixed.engines.links import BEYOND, Pieces, pieces
from mentorstats.mixed.engines.model import Model

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Expansion:
    """What each row of a fitted ordinal model says about its distances to the cut-points.

    With η the linear predictor and τ the cut-points, a row's distances are A = τ_up − η and B = τ_low − η.
    """

    model: Model

    @property
    def n(self) -> int:
        """Rows."""
        return len(self.model.rows.response)

    @cached_property
    def joint(self) -> Joint:
        """All effects and the covariance of their errors."""
        engine = self.model.levels
        problem, state = engine.problem, engine.state
        factors = state.factors  # zeros lifted, as in the factorisation
        b = engine.triangles.spread(factors, state.u[:, None], transposed=False)[:, 0]
        covariance = scaled_inverse(state.conditional)
        sizes, beta = engine.triangles.sizes, state.psi[problem.q :]
        return Joint(sizes, factors, state.factor, state.cross, beta, covariance, 1.0, b)

    @cached_property
    def parameters(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Variances' parameters, cut-points, coefficients, log dispersions."""
        engine = self.model.levels
        return engine.problem.split(np.concatenate([engine.theta, self.joint.beta]))

    @cached_property
    def random_columns(self) -> sparse.csr_array:
        """Z, (n, N)."""
        blocks = []
        for t, members in enumerate(self.model.members):
            k = members.k
            column = (self.model.rows.codes[t][:, None] * k + np.arange(k)).ravel()
            row = np.repeat(np.arange(self.n), k)
            values = self.model.rows.values[t].ravel()
            blocks.append(sparse.csr_array((values, (row, column)), shape=(self.n, members.m * k)))
        return sparse.csr_array(sparse.hstack(blocks, format="csr"))

    @cached_property
    def predictor(self) -> Floats:
        """Linear predictor η given the shrunken effects, (n,)."""
        beta = self.parameters[2]
        return np.asarray(self.model.rows.fixed @ beta + self.random_columns @ self.joint.b)

    @cached_property
    def edges(self) -> tuple[Ints, Ints]:
        """Which free cut-point lies above and below each row's level, (n,) each; −1 where none does."""
        cut, level = self.model.levels.problem.cut, self.model.rows.response.astype(np.int64)
        group = self.model.rows.threshold_group
        return cut.upper[group, level], cut.lower[group, level]

    @cached_property
    def edge_columns(self) -> tuple[sparse.csr_array, sparse.csr_array]:
        """``edges`` as columns, (n, cut-points) each."""
        upper, lower = (self._indicators(at) for at in self.edges)
        return upper, lower

    def _indicators(self, at: Ints) -> sparse.csr_array:
        rows, cuts = np.flatnonzero(at >= 0), self.model.levels.problem.c
        return sparse.csr_array((np.ones(len(rows)), (rows, at[rows])), shape=(self.n, cuts))

    @cached_property
    def distances(self) -> tuple[Floats, Floats]:
        """A and B, (n,) each; `BEYOND` and its negative where there is no cut-point."""
        tau, (up, low) = np.append(self.parameters[1], 0.0), self.edges
        upper = np.where(up < 0, BEYOND, tau[up] - self.predictor)
        lower = np.where(low < 0, -BEYOND, tau[low] - self.predictor)
        return upper, lower

    @cached_property
    def pieces(self) -> Pieces:
        """Derivatives of each row's log-probability by its distances and the dispersion."""
        return pieces(self.model.declared.link, *self.distances)

    @cached_property
    def score(self) -> Floats:
        """Slope of the approximated log-likelihood towards a shift of each row's predictor, (n,).

        That of Laplace's approximation, whose second part moves with the predictor too; without it
        one-step estimates of fixed columns would be off by a fraction of their errors.
        """
        return self.model.levels.state.shift

    @cached_property
    def information(self) -> Floats:
        """Minus the second derivative of each row's log-probability by its predictor, (n,)."""
        return np.asarray(-self.pieces.ss)

    def fixed_information(self, columns: sparse.csr_array) -> Floats:
        """Minus the mixed second derivatives by columns of the predictor and the fixed parameters, (q, p)."""
        slopes = (self.pieces.s_upper, self.pieces.s_lower)
        by_cut = sum(
            (columns.T @ edge.multiply(slope[:, None])).toarray()
            for edge, slope in zip(self.edge_columns, slopes, strict=True)
        )
        fixed = columns.T @ (self.information[:, None] * self.model.rows.fixed)
        return np.concatenate([by_cut, np.asarray(fixed)], axis=1)
