"""One-step updates that move cut-points or the dispersion, beside those that shift a rating.

`Base.one_step` adds columns to the linear predictor. A cut-point that differs between groups, or a rater
whose judgements scatter more, moves a rating's two distances A and B to its cut-points apart. All are the
same step with other derivatives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.base import Base, Columns
from mentorstats.calibration.base.step import Step
from mentorstats.errors import ArgumentError
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.links import pieces

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

_NOTHING = 1e-8  # share of a column's information that has to be left; less is rounding


@dataclass(frozen=True, slots=True)
class Moves:
    """Columns, one a coefficient, by what a unit of it does to each rating.

    Attributes
    ----------
    upper, lower
        Change of the scaled distance to the cut-point above and below the level given, (n, q) each.
    spread
        Change of the log dispersion, (n, q). The change of the distances that goes with it stands in
        ``upper`` and ``lower``.
    """

    upper: sparse.csr_array
    lower: sparse.csr_array
    spread: sparse.csr_array


def shifts(columns: Columns) -> Moves:
    """Columns of the linear predictor: a positive coefficient raises ratings, (n, q)."""
    x = sparse.csr_array(columns)
    return Moves(-x, -x, sparse.csr_array(x.shape))


def cut_points(base: Base, columns: Columns) -> tuple[Moves, list[int]]:
    """One coefficient for each cut-point and column: how much higher it lies where the column is one.

    A cut-point is named by the level above it, the same under all criteria. Returns the moves, cut-points
    of the first column first, and the rank above each cut-point, once for each column.
    """
    x, problem = sparse.csc_array(columns), base.model.levels.problem
    above = np.array([high for _, high in problem.cut.between] + [-1])
    at = [np.where(edge >= 0, above[edge], -1) for edge in (problem.up, problem.low)]
    found = sorted({int(high) for high in above[:-1]})
    sides: list[list[sparse.csc_array]] = [[], []]
    for j in range(x.shape[1]):
        own = x[:, [j]]
        for side, where in zip(sides, at, strict=True):
            side += [sparse.csc_array(own.multiply((where == high)[:, None])) for high in found]
    upper, lower = (sparse.csr_array(sparse.hstack(side)) for side in sides)
    return Moves(upper, lower, sparse.csr_array(upper.shape)), [high + 1 for high in found]


def dispersions(base: Base, columns: Columns) -> Moves:
    """Columns of the log dispersion: a positive coefficient scatters judgements more, (n, q)."""
    x = sparse.csr_array(columns)
    upper, lower = _distances(base)
    problem = base.model.levels.problem
    upper, lower = np.where(problem.up < 0, 0.0, upper), np.where(problem.low < 0, 0.0, lower)
    return Moves(-_times(x, upper), -_times(x, lower), x)


def stretches(base: Base, columns: Columns) -> Moves:
    """Cut-points further from the middle m of their measure's: positive gathers ratings there, (n, q).

    Cut-points lie 1/(1 − δ) times as far from m, A = m + (τ_up − m)/(1 − δ) − η, so ∂A/∂δ = τ_up − m and
    ∂B/∂δ = τ_low − m at δ = 0. As A = [τ_up − m − (1 − δ)(η − m)]/(1 − δ), that is as if what is seen, latent
    error included, were drawn towards the middle by the share δ. One step from δ = 0 finds δ where the same
    step for log(1/(1 − δ)) falls short (tests/calibration/test_spread.py).
    """
    x, problem = sparse.csr_array(columns), base.model.levels.problem
    tau, group = problem.split(base.model.levels.state.psi)[1], base.model.rows.threshold_group
    counts = np.bincount(problem.cut.groups, minlength=int(group.max()) + 1)
    middle = np.bincount(problem.cut.groups, tau, minlength=len(counts)) / np.maximum(counts, 1)
    edges = np.append(tau, 0.0)
    upper, lower = (np.where(at < 0, 0.0, edges[at] - middle[group]) for at in (problem.up, problem.low))
    return Moves(_times(x, upper), _times(x, lower), sparse.csr_array(x.shape))


def beside(moves: Sequence[Moves]) -> Moves:
    """Several sets of columns, one after the other."""
    return Moves(
        *(
            sparse.csr_array(sparse.hstack([getattr(each, side) for each in moves]))
            for side in ("upper", "lower", "spread")
        )
    )


@dataclass(frozen=True, slots=True)
class _Solved:
    """A step, and how all that the fit holds moves with each column: effects (N, q), fixed (p, q)."""

    step: Step
    effects: Floats
    fixed: Floats


def step(base: Base, moves: Moves) -> Step:
    """One Newton step from the base fit along these columns [rao_1948].

    Returns
    -------
    Step
        Score and information with all effects and fixed parameters of the fit free to move, the
        variances held. The part of the information that is zero in expectation where the fit is right
        (the bend of a distance in the log dispersion) is left out.
    """
    return _solved(base, moves).step


def _solved(base: Base, moves: Moves) -> _Solved:
    if moves.upper.shape[0] != len(base.rows):
        raise ArgumentError(f"{moves.upper.shape[0]} rows of columns", allowed=f"{len(base.rows)}")
    state, fixed, joint = base.model.levels.state, base.model.rows.fixed, base.joint
    upper, lower = moves.upper, moves.lower
    now = pieces(base.model.declared.link, *_distances(base))
    own_upper, own_lower = now.s_upper - now.cross, now.s_lower - now.cross
    toward_upper = -(_times(upper, own_upper) + _times(lower, now.cross))
    toward_lower = -(_times(lower, own_lower) + _times(upper, now.cross))
    total = (upper.T @ toward_upper + lower.T @ toward_lower).toarray()
    before = np.diagonal(total).copy()
    predictor = _times(upper, now.s_upper) + _times(lower, now.s_lower) - _times(moves.spread, now.s)
    at_upper, at_lower = _edges(base)
    by_cut = (toward_upper.T @ at_upper + toward_lower.T @ at_lower).toarray()
    mixed = np.concatenate([by_cut, np.asarray(predictor.T @ fixed)], axis=1)
    effects = np.zeros((base.random_columns.shape[1], mixed.shape[0]))
    if joint.factor is not None:
        cross = (joint.spread().T @ (base.random_columns.T @ predictor)).toarray()
        half = joint.factor.half(np.ascontiguousarray(cross))
        effects = joint.factor.back(half)
        total = total - half.T @ half
        mixed = mixed - cross.T @ joint.lifted
    through = joint.covariance @ mixed.T
    total = total - mixed @ through
    score = upper.T @ state.by_upper + lower.T @ state.by_lower
    score = score + moves.spread.T @ (state.by_spread - _plain(base))
    if joint.factor is not None:
        effects = effects - joint.lifted @ through
    return _Solved(_kept(Step(score, (total + total.T) / 2), before), effects, through)


def parts(base: Base, moves: Moves, cluster: Ints) -> tuple[Step, Floats]:
    """The step, and the part that each cluster of ratings has in its score.

    Parameters
    ----------
    moves
        Columns without dispersions.
    cluster
        Number of the cluster of each rating, (n,), from 0; such as its candidate.

    Returns
    -------
    tuple
        The step; and parts of the scores, less what the effects and fixed parameters of the fit take of
        them, (clusters + others, q). Effects of members whose ratings are all of one cluster belong to
        it; each other member's effect is a part of its own.
    """
    solved, joint = _solved(base, moves), base.joint
    now = pieces(base.model.declared.link, *_distances(base))
    n, count = len(base.rows), int(cluster.max(initial=-1)) + 1
    of = sparse.csr_array((np.ones(n), (np.arange(n), cluster)), shape=(n, count))
    at_upper, at_lower = _edges(base)
    rows = _times(moves.upper, now.by_upper) + _times(moves.lower, now.by_lower)
    cuts = _times(at_upper, now.by_upper) + _times(at_lower, now.by_lower)
    slopes = -now.s[:, None] * base.model.rows.fixed
    held = np.concatenate([(of.T @ cuts).toarray(), of.T @ slopes], axis=1)
    found = (of.T @ rows).toarray() - held @ solved.fixed
    if joint.factor is None:
        return solved.step, found
    loads = base.random_columns @ joint.spread()
    found -= (of.T @ _times(sparse.csr_array(loads), -now.s)) @ solved.effects
    own = base.model.levels.state.u[:, None] * solved.effects
    met = sparse.csr_array(abs(base.random_columns).T @ of)
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
    return scaled_inverse(information, _NOTHING)


def turned(found: Step, contrasts: Floats) -> Step:
    """The step when the coefficients are ``contrasts`` times fewer of them, (q, r)."""
    return Step(contrasts.T @ found.score, contrasts.T @ found.information @ contrasts)


def _kept(found: Step, before: Floats) -> Step:
    """The step with nothing at columns of whose information rounding alone is left."""
    some = np.diagonal(found.information) > _NOTHING * before
    information = np.where(some[:, None] & some[None, :], found.information, 0.0)
    return Step(np.where(some, found.score, 0.0), information)


def _edges(base: Base) -> list[sparse.csr_array]:
    """Which free cut-point stands above and below each rating, (n, cut-points) each."""
    problem, found = base.model.levels.problem, []
    for at in (problem.up, problem.low):
        rows = np.flatnonzero(at >= 0)
        found.append(sparse.csr_array((np.ones(len(rows)), (rows, at[rows])), shape=(len(at), problem.c)))
    return found


def _times(columns: sparse.csr_array, by: Floats) -> sparse.csr_array:
    return sparse.csr_array(columns.multiply(by[:, None]))


def _distances(base: Base) -> tuple[Floats, Floats]:
    """Scaled distances of each rating to the cut-points above and below, (n,) each."""
    problem = base.model.levels.problem
    tau = problem.split(base.model.levels.state.psi)[1]
    return problem.edges(tau, base.predictor, np.ones(len(base.rows)))


def _plain(base: Base) -> Floats:
    """Slope towards each log dispersion that comes through the distances alone, (n,)."""
    state, problem = base.model.levels.state, base.model.levels.problem
    upper, lower = _distances(base)
    at_upper = np.where(problem.up < 0, 0.0, upper * state.by_upper)
    return -at_upper - np.where(problem.low < 0, 0.0, lower * state.by_lower)
