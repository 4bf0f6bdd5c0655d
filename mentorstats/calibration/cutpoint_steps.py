"""One-step updates of what moves a rater's cut-points apart, from the base fit without another fit.

With A = τ_up − η and B = τ_low − η, the distances of a rating's linear predictor η to its two cut-points:

- stretch: a rater's cut-points lie 1/(1 − δ) times as far from their middle m,
  A = m + (τ_up − m)/(1 − δ) − η, so ∂A/∂δ = τ_up − m and ∂B/∂δ = τ_low − m at δ = 0. As
  A = [τ_up − m − (1 − δ)(η − m)]/(1 − δ), that is as if what the rater sees, latent error included, were
  drawn towards the middle by the share δ. One step from δ = 0 finds δ where the same step for
  log(1/(1 − δ)) falls short (tests/calibration/test_spread.py);
- dispersion: a rater's latent judgements scatter e^ζ times as much, A = (τ_up − η)/e^ζ, so ∂A/∂ζ = −A and
  ∂B/∂ζ = −B at ζ = 0.

The slope of the log-likelihood is ℓ_A ∂A + ℓ_B ∂B; the information is what is left of the second derivatives
(without those of A and B, whose expectation is zero) when everything in the fit may move too, the variances
held [rao_1948].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base import Base, Step
from mentorstats.mixed.links import Pieces, pieces

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Moves:
    """How each rating's distances move with a parameter, and the log-likelihood with them, (n,) each.

    Attributes
    ----------
    upper, lower
        ∂A and ∂B; zero where the level has no such cut-point.
    score
        Slope of the approximated log-likelihood.
    """

    upper: Floats
    lower: Floats
    score: Floats


def stretch(base: Base) -> Moves:
    """Cut-points further from the middle of their measure's: positive gathers ratings in the middle."""
    problem = base.model.levels.problem
    tau, group = _cutpoints(base), base.model.rows.threshold_group
    counts = np.bincount(problem.cut.groups, minlength=int(group.max()) + 1)
    middle = np.bincount(problem.cut.groups, tau, minlength=len(counts)) / np.maximum(counts, 1)
    edges = np.append(tau, 0.0)
    upper = np.where(problem.up < 0, 0.0, edges[problem.up] - middle[group])
    lower = np.where(problem.low < 0, 0.0, edges[problem.low] - middle[group])
    by_upper, by_lower = _slopes(base)
    return Moves(upper, lower, by_upper * upper + by_lower * lower)


def dispersion(base: Base) -> Moves:
    """More scatter of latent judgements: negative gathers ratings about what the lesson deserves."""
    problem = base.model.levels.problem
    upper, lower = _distances(base)
    upper = np.where(problem.up < 0, 0.0, -upper)
    lower = np.where(problem.low < 0, 0.0, -lower)
    by_upper, by_lower = _slopes(base)
    now, state = _pieces(base), base.model.levels.state
    uneven = -state.loose * now.ss + 0.5 * state.lean * now.s  # A and B themselves move with η
    return Moves(upper, lower, by_upper * upper + by_lower * lower + uneven)


def step(base: Base, moves: Moves, group: Ints, n_groups: int) -> Step:
    """One parameter for each group of ratings, all added to the fit.

    Parameters
    ----------
    moves
        From `stretch` or `dispersion`.
    group
        Which parameter moves each rating, (n,), counted from 0.
    """
    now = _pieces(base)
    joint = base.joint
    aa, bb, ab = now.s_upper - now.cross, now.s_lower - now.cross, now.cross
    toward_a = aa * moves.upper + ab * moves.lower
    toward_b = bb * moves.lower + ab * moves.upper
    own = -(toward_a * moves.upper + toward_b * moves.lower)
    before: Floats = np.bincount(group, own, minlength=n_groups).astype(np.float64)
    total: Floats = np.diag(before)
    through = _columns(now.s_upper * moves.upper + now.s_lower * moves.lower, group, n_groups)
    mixed = np.concatenate(
        [
            _by_cutpoint(base, toward_a, toward_b, group, n_groups),
            np.asarray(through.T @ base.model.rows.fixed),
        ],
        axis=1,
    )
    if joint.factor is not None:
        cross = base.model.levels.triangles.spread(
            joint.factors, (base.random_columns.T @ through).toarray(), transposed=True
        )
        half = joint.factor.half(np.ascontiguousarray(cross))
        total = total - half.T @ half
        mixed = mixed - cross.T @ joint.lifted
    total = total - mixed @ joint.covariance @ mixed.T
    some = np.diagonal(total) > _NOTHING * before
    total = np.where(some[:, None] & some[None, :], (total + total.T) / 2, 0.0)
    return Step(np.where(some, np.bincount(group, moves.score, minlength=n_groups), 0.0), total)


_NOTHING = 1e-8  # share of a parameter's information that has to be left; less is rounding


def _columns(values: Floats, group: Ints, n_groups: int) -> sparse.csr_array:
    return sparse.csr_array((values, (np.arange(len(group)), group)), shape=(len(group), n_groups))


def _by_cutpoint(base: Base, toward_a: Floats, toward_b: Floats, group: Ints, n_groups: int) -> Floats:
    """Minus the mixed second derivatives by the parameters and the cut-points, (n_groups, cut-points)."""
    problem = base.model.levels.problem
    out = np.zeros((n_groups, problem.cut.count))
    for at, slope in ((problem.up, toward_a), (problem.low, toward_b)):
        inside = np.flatnonzero(at >= 0)
        np.add.at(out, (group[inside], at[inside]), -slope[inside])
    return out


def _slopes(base: Base) -> tuple[Floats, Floats]:
    """ℓ_A and ℓ_B averaged over what is not known of the predictor, as Laplace's approximation does."""
    now, state = _pieces(base), base.model.levels.state
    return (
        now.by_upper + 0.5 * state.loose * now.ss_upper - 0.5 * state.lean * now.s_upper,
        now.by_lower + 0.5 * state.loose * now.ss_lower - 0.5 * state.lean * now.s_lower,
    )


def _cutpoints(base: Base) -> Floats:
    _, tau, _, _ = base.model.levels.problem.split(base.model.levels.state.psi)
    return tau


def _distances(base: Base) -> tuple[Floats, Floats]:
    return base.model.levels.problem.edges(_cutpoints(base), base.predictor, np.ones(len(base.rows)))


def _pieces(base: Base) -> Pieces:
    return pieces(base.model.declared.link, *_distances(base))
