"""How strongly the criteria of one form hang together beyond candidate and lesson, on the latent scale.

Given what the base fit knows of candidate, rater and criterion, the levels y_k and y_l of two criteria of one
form arise from two latent judgements of correlation R. Their covariance is the sum over cut-points a of k and
b of l of Φ₂(h_a, h_b; R) − Φ(h_a) Φ(h_b), and dΦ₂/dR is the normal density φ₂ [drezner_wesolowsky_1990]. R is
where the products of residuals, over their squares, are what is expected. What lessons explain is taken off:
ρ = (R T − σ²_lesson) / (T − σ²_lesson), T the latent variance of lessons, forms and ratings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import ndtri
from scipy.stats import t

from mentorstats.calibration.base.against_draws import adding
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.simulated import FRESH, Redraws
from mentorstats.mixed.engines.links import SPREAD
from mentorstats.mixed.tables.levels_scale import Places, level_shares

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GRID = np.array([-0.6, -0.3, 0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.87, 0.95, 0.99])
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_FAR = 8.0  # normal score of a cut-point that nobody reaches
METHOD = "linearised_by_lesson_t"


@dataclass(frozen=True, slots=True)
class Correlation:
    """Residual correlation within a form by rater, with bounds, (r,) each; NaN where there is none."""

    value: Floats
    low: Floats
    high: Floats


def residual_correlation(
    drawn: Redraws, pairs: tuple[Ints, Ints], form: Ints, rater: Ints, confidence: float
) -> Correlation:
    """Estimate the correlation for every rater.

    Parameters
    ----------
    drawn
        Ratings drawn from the base fit.
    pairs
        Rows of ``base.rows`` that are two criteria of one form, (pairs,) each.
    form
        Form of each pair, counted from 0.
    rater
        Rater of each form, rows of ``base.raters``.

    Notes
    -----
    Residuals are about predictions that were fitted to them, which lowers their correlation. How much is the
    mean over the raters of a role, weighted by forms, of the same estimate in `KEPT` sets of drawn ratings,
    and it is taken off.
    """
    base, n_forms = drawn.base, len(rater)
    to_form = sparse.csr_array((np.ones(len(form)), (form, np.arange(len(form)))), shape=(n_forms, len(form)))
    to_rater = adding(rater, len(base.raters))
    margins = _Margins.of(base)
    shares = margins.shares(base, margins.predictor)
    score = ndtri(np.clip(np.cumsum(shares, axis=1)[:, :-1], 1e-15, 1 - 1e-15)).clip(-_FAR, _FAR)
    expected = to_rater @ _expected_products(score[pairs[0]], score[pairs[1]], to_form)
    count = to_rater @ (np.diff(to_form.indptr) > 0)
    found = _estimate(base.ranks, shares, pairs, to_form, to_rater, expected)
    value = found.value
    with np.errstate(divide="ignore", invalid="ignore"):
        left = found.scale[rater] * (found.products - found.reached[rater] * found.squares)
        se = np.sqrt(to_rater @ left**2 * count / (count - 1)) / found.slope
        half = t.ppf(0.5 + confidence / 2, count - 1) * se
    again = [
        _estimate(
            drawn.ranks[:, i].astype(np.float64),
            margins.shares(base, drawn.without_forms[:, i].astype(np.float64)),
            pairs,
            to_form,
            to_rater,
            expected,
        ).value
        for i in range(drawn.without_forms.shape[1])
    ]
    value = value - _by_role(base, np.array(again) - margins.shared / margins.total, count)
    ends = (value, value - half, value + half)
    rest = margins.total - margins.lesson
    return Correlation(*(np.clip((end * margins.total - margins.lesson) / rest, -1.0, 1.0) for end in ends))


@dataclass(frozen=True, slots=True)
class _Margins:
    """Predictor without the lessons' and forms' own effects, σ²_lesson, σ²_lesson + σ²_form, and T."""

    predictor: Floats
    lesson: float
    shared: float
    total: float

    @classmethod
    def of(cls, base: Base) -> _Margins:
        joint, model = base.joint, base.model
        known, lesson, shared = joint.b.copy(), 0.0, 0.0
        for i, (members, covariance) in enumerate(
            zip(model.members, model.fitted.covariances(), strict=True)
        ):
            if members.name in FRESH:
                known[joint.part(i)] = 0.0
                shared += float(covariance[0, 0])
                lesson += float(covariance[0, 0]) if members.name == FRESH[0] else 0.0
        _, _, beta, _ = model.levels.problem.split(model.levels.state.psi)
        predictor = model.rows.fixed @ beta + base.random_columns @ known
        return cls(np.asarray(predictor), lesson, shared, shared + SPREAD[model.declared.link])

    def shares(self, base: Base, predictor: Floats) -> Floats:
        """Shares of levels over all lessons and forms, (n, levels)."""
        _, tau, _, _ = base.model.levels.problem.split(base.model.levels.state.psi)
        nothing = np.zeros((len(predictor), 0))
        at = Places(nothing, nothing, base.model.rows.threshold_group, ())
        spread = np.full(len(predictor), self.shared)
        return level_shares(base.model, at, tau, predictor, np.ones(len(predictor)), spread)


@dataclass(frozen=True, slots=True)
class _Estimate:
    """Latent correlation R and what its error is made of: by rater, products and squares by form."""

    value: Floats
    slope: Floats
    scale: Floats
    reached: Floats
    products: Floats
    squares: Floats


def _estimate(
    ranks: Floats,
    shares: Floats,
    pairs: tuple[Ints, Ints],
    to_form: sparse.csr_array,
    to_rater: sparse.csr_array,
    expected: Floats,
) -> _Estimate:
    levels = np.arange(1.0, shares.shape[1] + 1)
    mean = shares @ levels
    residual, variance = ranks - mean, shares @ levels**2 - mean**2
    products = to_form @ (residual[pairs[0]] * residual[pairs[1]])
    squares = to_form @ (residual[pairs[0]] ** 2 + residual[pairs[1]] ** 2)
    wanted = to_rater @ (to_form @ (variance[pairs[0]] + variance[pairs[1]]))
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = wanted / (to_rater @ squares)
        value, slope = _solve(scale * (to_rater @ products), expected)
        reached = _interpolated(expected, value) / wanted
    return _Estimate(value, slope, scale, reached, products, squares)


def _by_role(base: Base, values: Floats, count: Floats) -> Floats:
    """Mean by role over draws (draws, r) and raters, weighted by forms, (r,)."""
    role = base.raters["rater_role"].to_numpy()
    weight = np.where(np.isnan(values), 0.0, count)
    out = np.full(len(role), np.nan)
    for one in np.unique(role):
        own = weight[:, role == one]
        if own.sum() > 0:
            out[role == one] = (own * np.nan_to_num(values[:, role == one])).sum() / own.sum()
    return out


def _expected_products(first: Floats, second: Floats, to_form: sparse.csr_array) -> Floats:
    """Sum of a form's expected products at each correlation of the grid, (forms, grid)."""
    out = np.zeros((to_form.shape[0], len(_GRID)))
    zero = int(np.flatnonzero(_GRID == 0.0)[0])
    for i in range(1, len(_GRID)):
        middle, half = (_GRID[i] + _GRID[i - 1]) / 2, (_GRID[i] - _GRID[i - 1]) / 2
        part = sum(
            half * weight * to_form @ _densities(first, second, middle + half * node)
            for node, weight in zip(_NODES, _WEIGHTS, strict=True)
        )
        out[:, i] = out[:, i - 1] + part
    return out - out[:, [zero]]


def _densities(first: Floats, second: Floats, correlation: float) -> Floats:
    """Sum over both criteria's cut-points of the bivariate normal density, (pairs,)."""
    rest = 1 - correlation**2
    total = np.zeros(len(first))
    for a in range(first.shape[1]):
        for b in range(second.shape[1]):
            x, y = first[:, a], second[:, b]
            total += np.exp(-(x**2 - 2 * correlation * x * y + y**2) / (2 * rest))
    return np.asarray(total / (2 * np.pi * np.sqrt(rest)))


def _interpolated(values: Floats, at: Floats) -> Floats:
    """Each row of values, given on the grid, at a place of its own, (rows,)."""
    right = np.clip(np.searchsorted(_GRID, np.nan_to_num(at)), 1, len(_GRID) - 1)
    share = (at - _GRID[right - 1]) / (_GRID[right] - _GRID[right - 1])
    row = np.arange(len(values))
    return np.asarray(values[row, right - 1] * (1 - share) + values[row, right] * share)


def _solve(given: Floats, expected: Floats) -> tuple[Floats, Floats]:
    """Correlation at which the rising ``expected`` (r, grid) is ``given`` (r,), and the slope there.

    At the ends of the grid where the products are beyond them; NaN without pairs.
    """
    some = expected[:, -1] > expected[:, 0]
    right = np.clip((expected < given[:, None]).sum(axis=1), 1, len(_GRID) - 1)
    row = np.arange(len(given))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (expected[row, right] - expected[row, right - 1]) / (_GRID[right] - _GRID[right - 1])
        found = _GRID[right - 1] + (given - expected[row, right - 1]) / slope
    return np.where(some, np.clip(found, _GRID[0], _GRID[-1]), np.nan), np.where(some, slope, np.nan)
