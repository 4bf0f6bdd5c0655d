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

from mentorstats.calibration.base import Base
from mentorstats.calibration.redraws import FRESH
from mentorstats.mixed.levels_scale import Places, level_shares
from mentorstats.mixed.links import SPREAD

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GRID = np.array([-0.6, -0.4, -0.2, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99])
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)
_FAR = 8.0  # normal score of a cut-point that nobody reaches
METHOD = "linearised_by_lesson_t"


@dataclass(frozen=True, slots=True)
class Correlation:
    """Residual correlation within a form by rater, with bounds, (r,) each; NaN where there is none."""

    value: Floats
    low: Floats
    high: Floats


def residual_correlation(
    base: Base, pairs: tuple[Ints, Ints], form: Ints, rater: Ints, confidence: float
) -> Correlation:
    """Estimate the correlation for every rater.

    Parameters
    ----------
    pairs
        Rows of ``base.rows`` that are two criteria of one form, (pairs,) each.
    form
        Form of each pair, counted from 0.
    rater
        Rater of each form, rows of ``base.raters``.
    """
    n_raters, n_forms = len(base.raters), len(rater)
    level_share, lesson, total = _margins(base)
    ranks = np.arange(1.0, level_share.shape[1] + 1)
    mean = level_share @ ranks
    residual, variance = base.ranks - mean, level_share @ ranks**2 - mean**2
    score = ndtri(np.clip(np.cumsum(level_share, axis=1)[:, :-1], 1e-15, 1 - 1e-15)).clip(-_FAR, _FAR)
    to_form = sparse.csr_array(
        (np.ones(len(form)), (form, np.arange(len(form)))), shape=(n_forms, len(form))
    )
    given = to_form @ (residual[pairs[0]] * residual[pairs[1]])
    square = to_form @ (residual[pairs[0]] ** 2 + residual[pairs[1]] ** 2)
    expected_square = to_form @ (variance[pairs[0]] + variance[pairs[1]])
    expected = _expected_products(score[pairs[0]], score[pairs[1]], to_form)
    to_rater = sparse.csr_array((np.ones(n_forms), (rater, np.arange(n_forms))), shape=(n_raters, n_forms))
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = (to_rater @ expected_square) / (to_rater @ square)
        correlation, slope = _solve(scale * (to_rater @ given), to_rater @ expected)
        reached = _interpolated(to_rater @ expected, correlation) / (to_rater @ expected_square)
        left = scale[rater] * (given - reached[rater] * square)
        count = to_rater @ (np.diff(to_form.indptr) > 0)
        se = np.sqrt(to_rater @ left**2 * count / (count - 1)) / slope
        half = t.ppf(0.5 + confidence / 2, count - 1) * se
    ends = (correlation, correlation - half, correlation + half)
    return Correlation(*(np.clip((end * total - lesson) / (total - lesson), -1.0, 1.0) for end in ends))


def _margins(base: Base) -> tuple[Floats, float, float]:
    """Shares of levels without the lessons' and forms' own effects, (n, levels), σ²_lesson and T."""
    joint, model = base.joint, base.model
    known, lesson, form = joint.b.copy(), 0.0, 0.0
    for i, (members, covariance) in enumerate(zip(model.members, model.fitted.covariances(), strict=True)):
        if members.name in FRESH:
            known[joint.part(i)] = 0.0
            variance = float(covariance[0, 0])
            lesson, form = (variance, form) if members.name == FRESH[0] else (lesson, variance)
    _, tau, beta, _ = model.levels.problem.split(model.levels.state.psi)
    predictor = model.rows.fixed @ beta + base.random_columns @ known
    nothing = np.zeros((len(predictor), 0))
    at = Places(nothing, nothing, model.rows.threshold_group, ())
    spread = np.full(len(predictor), lesson + form)
    shares = level_shares(model, at, tau, predictor, np.ones(len(predictor)), spread)
    return shares, lesson, lesson + form + SPREAD[model.declared.link]


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
    return total / (2 * np.pi * np.sqrt(rest))


def _interpolated(values: Floats, at: Floats) -> Floats:
    """Each row of values, given on the grid, at a place of its own, (rows,)."""
    right = np.clip(np.searchsorted(_GRID, np.nan_to_num(at)), 1, len(_GRID) - 1)
    share = (at - _GRID[right - 1]) / (_GRID[right] - _GRID[right - 1])
    row = np.arange(len(values))
    return values[row, right - 1] * (1 - share) + values[row, right] * share


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
