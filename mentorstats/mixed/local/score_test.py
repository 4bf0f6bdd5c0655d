"""Rao's score test from a fitted ordinal model: columns that the fit does not hold, by one Newton step.

Columns may be added to the linear predictor. A cut-point that differs between groups, or members whose
judgements scatter more, move a row's two distances A and B to its cut-points apart. All are the same step
with other derivatives [rao_1948].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.errors import ArgumentError
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.local.expansion import Expansion

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Columns = sparse.csr_array | NDArray[np.float64]

NOTHING = 1e-8  # share of a column's information that has to be left; less is rounding


@dataclass(frozen=True, slots=True)
class Step:
    """Columns that the fit does not hold, by one Newton step from it.

    Attributes
    ----------
    score
        Slope of the log-likelihood towards each column's coefficient, (q,).
    information
        Information on the coefficients when everything in the fit may move with them, (q, q).
    """

    score: Floats
    information: Floats

    def alone(self) -> tuple[Floats, Floats]:
        """Each coefficient as if its column were the only one added: estimates and errors, (q,) each.

        NaN where the data hold no information.
        """
        own = np.where(np.diagonal(self.information) > 0, np.diagonal(self.information), np.nan)
        return self.score / own, 1 / np.sqrt(own)

    def together(self) -> tuple[Floats, Floats]:
        """All coefficients added at once: estimates (q,) and their covariance (q, q).

        Where columns cannot all be told apart the least of all solutions, so that raters of one network
        add up to zero.
        """
        size = np.sqrt(np.where(np.diagonal(self.information) > 0, np.diagonal(self.information), 1.0))
        bare = self.information / np.outer(size, size)
        covariance = np.linalg.pinv(bare, rcond=NOTHING, hermitian=True) / np.outer(size, size)
        return covariance @ self.score, covariance


@dataclass(frozen=True, slots=True)
class Moves:
    """Columns, one a coefficient, by what a unit of it does to each row.

    Attributes
    ----------
    upper, lower
        Change of the distance to the cut-point above and below the level given, (n, q) each.
    spread
        Change of the log dispersion, (n, q). The change of the distances that goes with it stands in
        ``upper`` and ``lower``.
    shift
        The columns of the linear predictor where that is all they are: less work, the same step.
    """

    upper: sparse.csr_array
    lower: sparse.csr_array
    spread: sparse.csr_array
    shift: sparse.csr_array | None = None


def shifts(columns: Columns) -> Moves:
    """Columns of the linear predictor: a positive coefficient raises ratings, (n, q)."""
    x = sparse.csr_array(columns)
    return Moves(-x, -x, sparse.csr_array(x.shape), x)


def cut_points(at: Expansion, columns: Columns) -> tuple[Moves, list[int]]:
    """One coefficient for each cut-point and column: how much higher it lies where the column is one.

    A cut-point is named by the level above it, the same under all criteria. Returns the moves, cut-points
    of the first column first, and the rank above each cut-point, once for each column.
    """
    x, between = sparse.csc_array(columns), at.model.levels.problem.cut.between
    above = np.array([high for _, high in between] + [-1])
    levels = [np.where(edge >= 0, above[edge], -1) for edge in at.edges]
    found = sorted({int(high) for high in above[:-1]})
    sides: list[list[sparse.csc_array]] = [[], []]
    for j in range(x.shape[1]):
        own = x[:, [j]]
        for side, where in zip(sides, levels, strict=True):
            side += [sparse.csc_array(own.multiply((where == high)[:, None])) for high in found]
    upper, lower = (sparse.csr_array(sparse.hstack(side)) for side in sides)
    return Moves(upper, lower, sparse.csr_array(upper.shape)), [high + 1 for high in found]


def dispersions(at: Expansion, columns: Columns) -> Moves:
    """Columns of the log dispersion: a positive coefficient scatters judgements more, (n, q)."""
    x, (upper, lower) = sparse.csr_array(columns), _bounded(at, *at.distances)
    return Moves(-_times(x, upper), -_times(x, lower), x)


def stretches(at: Expansion, columns: Columns) -> Moves:
    """Cut-points further from the middle m of their measure's: positive gathers ratings there, (n, q).

    Cut-points lie 1/(1 − δ) times as far from m, A = m + (τ_up − m)/(1 − δ) − η, so ∂A/∂δ = τ_up − m and
    ∂B/∂δ = τ_low − m at δ = 0. As A = [τ_up − m − (1 − δ)(η − m)]/(1 − δ), that is as if what is seen, latent
    error included, were drawn towards the middle by the share δ. One step from δ = 0 finds δ where the same
    step for log(1/(1 − δ)) falls short (tests/calibration/raters/test_spread.py).
    """
    x, groups = sparse.csr_array(columns), at.model.levels.problem.cut.groups
    tau, group = at.parameters[1], at.model.rows.threshold_group
    counts = np.bincount(groups, minlength=int(group.max()) + 1)
    middle = np.bincount(groups, tau, minlength=len(counts)) / np.maximum(counts, 1)
    ends = np.append(tau, 0.0)
    upper, lower = _bounded(at, *(ends[edge] - middle[group] for edge in at.edges))
    return Moves(_times(x, upper), _times(x, lower), sparse.csr_array(x.shape))


def beside(moves: Sequence[Moves]) -> Moves:
    """Several sets of columns, one after the other."""
    return Moves(
        *(
            sparse.csr_array(sparse.hstack([getattr(each, side) for each in moves]))
            for side in ("upper", "lower", "spread")
        )
    )


def step(at: Expansion, moves: Moves) -> Step:
    """One Newton step from the optimum along these columns [rao_1948].

    Parameters
    ----------
    at
        The fitted model.
    moves
        Columns, (n, q), one row a row of the model.

    Returns
    -------
    Step
        Score and information with all effects and fixed parameters of the fit free to move, the
        variances held. The part of the information that is zero in expectation where the fit is right
        (the bend of a distance in the log dispersion) is left out.

    Raises
    ------
    ArgumentError
        Columns of another number of rows.
    """
    return _solved(at, moves).step


@dataclass(frozen=True, slots=True)
class _Solved:
    """A step, and how all that the fit holds moves with each column: effects (N, q), fixed (p, q)."""

    step: Step
    effects: Floats
    fixed: Floats


@dataclass(frozen=True, slots=True)
class _Toward:
    """Second derivatives by columns: among them (q, q), by predictor (n, q), by fixed parameters (q, p)."""

    own: Floats
    predictor: sparse.csr_array
    fixed: Floats


def _solved(at: Expansion, moves: Moves) -> _Solved:
    if moves.upper.shape[0] != at.n:
        raise ArgumentError(f"{moves.upper.shape[0]} rows of columns", allowed=f"{at.n}, those of the fit")
    joint, toward = at.joint, _of_shift(at, moves.shift) if moves.shift is not None else _toward(at, moves)
    total, mixed, before = toward.own, toward.fixed, np.diagonal(toward.own).copy()
    half = None
    if joint.factor is not None:
        cross = (joint.spread().T @ (at.random_columns.T @ toward.predictor)).toarray()
        half = joint.factor.half(np.ascontiguousarray(cross))
        total = total - half.T @ half
        mixed = mixed - cross.T @ joint.lifted
    through = joint.covariance @ mixed.T
    total = total - mixed @ through
    found = _kept(Step(_score(at, moves), (total + total.T) / 2), before)
    if joint.factor is None or half is None:
        return _Solved(found, np.zeros((at.random_columns.shape[1], len(before))), through)
    return _Solved(found, joint.factor.back(half) - joint.lifted @ through, through)


def _of_shift(at: Expansion, x: sparse.csr_array) -> _Toward:
    weighted = _times(x, at.information)
    return _Toward((x.T @ weighted).toarray(), weighted, at.fixed_information(x))


def _toward(at: Expansion, moves: Moves) -> _Toward:
    upper, lower, now = moves.upper, moves.lower, at.pieces
    own_upper, own_lower = now.s_upper - now.cross, now.s_lower - now.cross
    toward_upper = -(_times(upper, own_upper) + _times(lower, now.cross))
    toward_lower = -(_times(lower, own_lower) + _times(upper, now.cross))
    own = (upper.T @ toward_upper + lower.T @ toward_lower).toarray()
    predictor = _times(upper, now.s_upper) + _times(lower, now.s_lower) - _times(moves.spread, now.s)
    at_upper, at_lower = at.edge_columns
    by_cut = (toward_upper.T @ at_upper + toward_lower.T @ at_lower).toarray()
    fixed = np.concatenate([by_cut, np.asarray(predictor.T @ at.model.rows.fixed)], axis=1)
    return _Toward(own, sparse.csr_array(predictor), fixed)


def _score(at: Expansion, moves: Moves) -> Floats:
    if moves.shift is not None:
        return np.asarray(moves.shift.T @ at.score)
    state = at.model.levels.state
    by_distance = moves.upper.T @ state.by_upper + moves.lower.T @ state.by_lower
    return np.asarray(by_distance + moves.spread.T @ (state.by_spread - _through_distances(at)))


def parts(at: Expansion, moves: Moves, cluster: Ints) -> tuple[Step, Floats]:
    """The step, and the part that each cluster of rows has in its score.

    Parameters
    ----------
    moves
        Columns without dispersions.
    cluster
        Number of the cluster of each row, (n,), from 0; such as its candidate.

    Returns
    -------
    tuple
        The step; and parts of the scores, less what the effects and fixed parameters of the fit take of
        them, (clusters + others, q). Effects of members whose rows are all of one cluster belong to
        it; each other member's effect is a part of its own.
    """
    solved, joint, now = _solved(at, moves), at.joint, at.pieces
    count = int(cluster.max(initial=-1)) + 1
    of = sparse.csr_array((np.ones(at.n), (np.arange(at.n), cluster)), shape=(at.n, count))
    at_upper, at_lower = at.edge_columns
    rows = _times(moves.upper, now.by_upper) + _times(moves.lower, now.by_lower)
    cuts = _times(at_upper, now.by_upper) + _times(at_lower, now.by_lower)
    slopes = -now.s[:, None] * at.model.rows.fixed
    held = np.concatenate([(of.T @ cuts).toarray(), of.T @ slopes], axis=1)
    found = (of.T @ rows).toarray() - held @ solved.fixed
    if joint.factor is None:
        return solved.step, found
    loads = at.random_columns @ joint.spread()
    found -= (of.T @ _times(sparse.csr_array(loads), -now.s)) @ solved.effects
    own = at.model.levels.state.u[:, None] * solved.effects
    met = sparse.csr_array(abs(at.random_columns).T @ of)
    alone = np.diff(met.indptr) == 1
    where = met.indices[met.indptr[:-1][alone]]
    np.add.at(found, where, own[alone])
    return solved.step, np.concatenate([found, own[~alone]])


def given(found: Step, kept: Bools) -> Step:
    """The step along some columns when the others may move with them.

    Parameters
    ----------
    found
        Step along all columns.
    kept
        (q,), true for those asked about; the others are set aside.
    """
    others = ~kept
    if not others.any():
        return found
    cross = found.information[np.ix_(kept, others)]
    through = cross @ inverse(found.information[np.ix_(others, others)])
    own = found.information[np.ix_(kept, kept)]
    left = own - through @ cross.T
    return _kept(Step(found.score[kept] - through @ found.score[others], left), np.diagonal(own))


def inverse(information: Floats) -> Floats:
    """Pseudo-inverse of an information matrix, for directions with more than rounding left."""
    return scaled_inverse(information, NOTHING)


def turned(found: Step, contrasts: Floats) -> Step:
    """The step when the coefficients are ``contrasts`` times fewer of them, (q, r)."""
    return Step(contrasts.T @ found.score, contrasts.T @ found.information @ contrasts)


def _kept(found: Step, before: Floats) -> Step:
    """The step with nothing at columns of whose information rounding alone is left."""
    some = np.diagonal(found.information) > NOTHING * before
    information = np.where(some[:, None] & some[None, :], found.information, 0.0)
    return Step(np.where(some, found.score, 0.0), information)


def _times(columns: sparse.csr_array, by: Floats) -> sparse.csr_array:
    return sparse.csr_array(columns.multiply(by[:, None]))


def _bounded(at: Expansion, upper: Floats, lower: Floats) -> tuple[Floats, Floats]:
    """Values of the cut-points above and below, zero where there is none."""
    up, low = at.edges
    return np.where(up < 0, 0.0, upper), np.where(low < 0, 0.0, lower)


def _through_distances(at: Expansion) -> Floats:
    """Slope towards each log dispersion that comes through the distances alone, (n,)."""
    state, (upper, lower) = at.model.levels.state, _bounded(at, *at.distances)
    return -upper * state.by_upper - lower * state.by_lower
