"""Variance between members, contrasts and shrunken effects, against meta-analysis and closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import linalg
from statsmodels.stats.meta_analysis import combine_effects

from mentorstats.calibration.differences import (
    differences,
    each_role,
    members,
    spread,
    without_others,
)

ITERATED = 1e-6  # the peer stops its iteration there
ROUNDING = 1e-9
DIFFERENCES = 1e-6  # numerical derivatives

# Tuberculosis vaccine trials: cases and others among vaccinated, cases and others among the rest. Data, and
# the limits of the profile of Q (tau squared .1197 to 1.1115, Q 152.233), from memory.
TRIALS = np.array(
    [
        (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
        (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892),
        (29, 7470, 45, 7232), (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
)  # fmt: skip


def independent(y, v):
    return members(y / v, np.diag(1 / v))


def drawn(seed=1, k=13, between=0.1):
    rng = np.random.default_rng(seed)
    v = rng.uniform(0.01, 0.2, k)
    return rng.normal(0.3, np.sqrt(v + between)), v


def test_vaccine_trials_have_the_published_profile_limits() -> None:
    a, b, c, d = TRIALS.T
    y = np.log(a / (a + b)) - np.log(c / (c + d))
    v = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    found = spread(independent(y, v), 0.95)
    assert found.q == pytest.approx(152.233, abs=5e-4)
    assert (found.low, found.high) == pytest.approx((0.1197, 1.1115), abs=5e-5)
    assert found.df == 12


def test_independent_estimates_are_a_meta_analysis() -> None:
    y, v = drawn()
    own = independent(y, v)
    between = spread(own, 0.95)
    peer = combine_effects(y, v, method_re="iterated")
    assert between.variance == pytest.approx(peer.tau2, rel=ITERATED)
    assert between.q == pytest.approx(peer.q, rel=ROUNDING)
    found = differences(own, between)
    middle = peer.mean_effect_re
    assert found.contrast == pytest.approx(y - middle, abs=ITERATED)
    kept = between.variance / (between.variance + v)
    assert found.effect == pytest.approx(kept * (y - middle), abs=ITERATED)


def test_what_is_known_of_the_mean_changes_no_difference() -> None:
    rng = np.random.default_rng(3)
    half = rng.normal(size=(9, 18))
    covariance = half @ half.T / 100
    y = rng.multivariate_normal(np.zeros(9), covariance + 0.05 * np.eye(9))
    alone = np.linalg.inv(covariance)
    one = np.ones(9)
    nothing = alone - np.outer(alone @ one, one @ alone) / (one @ alone @ one)
    known, told, results = [], [], []
    for information in (alone, np.linalg.inv(covariance + 5.0), nothing):
        own = members(information @ y, information)
        between = spread(own, 0.95)
        found = differences(own, between)
        known.append((between.variance, between.low, between.high, between.q, between.df, between.p))
        told.append(np.concatenate([found.effect, found.effect_se]))
        results.append(np.concatenate([found.contrast, found.contrast_se]))
    for other in (1, 2):
        assert known[other] == pytest.approx(known[0], rel=1e-7)
        assert told[other] == pytest.approx(told[0], abs=1e-7)
    assert results[1] == pytest.approx(results[0], abs=1e-7)


def test_shrunken_effects_solve_the_mixed_model_equations() -> None:
    y, v = drawn(4)
    own = independent(y, v)
    between = spread(own, 0.95)
    k = len(y)
    equations = np.zeros((k + 1, k + 1))
    precision = np.diag(1 / v)
    equations[0, 0], equations[0, 1:], equations[1:, 0] = precision.sum(), 1 / v, 1 / v
    equations[1:, 1:] = precision + np.eye(k) / between.variance
    inverse = linalg.inv(equations)
    solved = inverse @ np.concatenate([[(y / v).sum()], y / v])
    found = differences(own, replace(between, variance_se=0.0))
    assert found.effect == pytest.approx(solved[1:], abs=ROUNDING)
    assert found.effect_se == pytest.approx(np.sqrt(np.diagonal(inverse)[1:]), rel=ROUNDING)


def test_errors_of_shrunken_effects_add_how_they_move_with_the_variance() -> None:
    own = independent(*drawn(5))
    between = spread(own, 0.95)
    held = replace(between, variance_se=0.0)
    h = 1e-6
    moved = [differences(own, replace(held, variance=between.variance + side * h)) for side in (1, -1)]
    slope = (moved[0].effect - moved[1].effect) / (2 * h)
    extra = differences(own, between).effect_se ** 2 - differences(own, held).effect_se ** 2
    assert np.sqrt(extra) == pytest.approx(np.abs(slope) * between.variance_se, rel=1e-4)


def test_less_spread_than_chance_is_a_variance_of_zero() -> None:
    own = independent(np.full(8, 0.2) + 1e-3 * np.arange(8), np.full(8, 1.0))
    found = spread(own, 0.95)
    assert found.variance == 0
    assert math.isnan(found.low)
    assert math.isnan(found.high)
    assert found.p > 0.99
    assert (differences(own, found).effect == 0).all()


def test_the_variance_and_its_interval_in_repeated_samples() -> None:
    covered, found = [], []
    for seed in range(300):
        one = spread(independent(*drawn(seed, k=20, between=0.05)), 0.9)
        found.append(one.variance)
        covered.append(one.low <= 0.05 <= one.high)
    assert np.mean(found) == pytest.approx(0.05, abs=4 * np.std(found) / math.sqrt(300))
    assert np.mean(covered) == pytest.approx(0.9, abs=4 * math.sqrt(0.9 * 0.1 / 300))


def test_another_role_is_integrated_out() -> None:
    rng = np.random.default_rng(6)
    half = rng.normal(size=(10, 30))
    information = half @ half.T
    theta = rng.normal(0, 0.3, 10)
    score = information @ theta + half @ rng.normal(size=30)
    role = np.repeat([0, 1], [6, 4])
    variances = np.array([0.2, 0.09])
    own_score, own_information = without_others(score, information, role, 0, variances)
    wide = np.zeros((11, 11))  # six coefficients, the others' mean and the others about it
    basis = np.zeros((10, 11))
    basis[:6, :6] = np.eye(6)
    basis[6:, 6], basis[6:, 7:] = 1.0, np.eye(4)
    wide = basis.T @ information @ basis
    wide[7:, 7:] += np.eye(4) / 0.09
    inverse = np.linalg.inv(wide)
    assert np.linalg.inv(own_information) == pytest.approx(inverse[:6, :6], abs=1e-8)
    solved = inverse @ basis.T @ score
    assert np.linalg.solve(own_information, own_score) == pytest.approx(solved[:6], abs=1e-8)


def test_roles_settle_on_variances_that_fit_each_other() -> None:
    rng = np.random.default_rng(7)
    half = rng.normal(size=(24, 60))
    information = half @ half.T / 4
    role = np.repeat([0, 1], 12).astype(np.int64)
    theta = rng.normal(0, np.where(role == 0, 0.5, 1.0))
    score = information @ theta + half @ rng.normal(size=60) / 2
    (first, one), (second, two) = each_role(score, information, role, 0.95)
    assert one is not None
    assert two is not None
    for own, between in ((first, one), (second, two)):
        assert own.q(between.variance) == pytest.approx(own.df, rel=1e-4)
    assert two.variance > one.variance > 0
