"""Contrasts with the middle of a role and shrunken effects, against meta-analysis and closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from estimates_with_errors import drawn, independent
from scipy import linalg
from statsmodels.stats.meta_analysis import combine_effects

from mentorstats.calibration.raters.differences import differences, each_role, without_others
from mentorstats.calibration.raters.rater_variance import between, members_about_mean

ITERATED = 1e-6  # the peer stops its iteration there
ROUNDING = 1e-9
DIFFERENCES = 1e-6  # numerical derivatives


def test_independent_estimates_are_a_meta_analysis() -> None:
    y, v = drawn()
    own = independent(y, v)
    of_role = between(own, 0.95)
    peer = combine_effects(y, v, method_re="iterated")
    found = differences(own, of_role)
    middle = peer.mean_effect_re
    assert found.contrast == pytest.approx(y - middle, abs=ITERATED)
    kept = of_role.variance / (of_role.variance + v)
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
        own = members_about_mean(information @ y, information)
        of_role = between(own, 0.95)
        found = differences(own, of_role)
        known.append((of_role.variance, of_role.low, of_role.high, of_role.statistic, of_role.df, of_role.p))
        told.append(np.concatenate([found.effect, found.effect_se]))
        results.append(np.concatenate([found.contrast, found.contrast_se]))
    for other in (1, 2):
        assert known[other] == pytest.approx(known[0], rel=1e-7)
        assert told[other] == pytest.approx(told[0], abs=1e-7)
    assert results[1] == pytest.approx(results[0], abs=1e-7)


def test_shrunken_effects_solve_the_mixed_model_equations() -> None:
    y, v = drawn(4)
    own = independent(y, v)
    of_role = between(own, 0.95)
    k = len(y)
    equations = np.zeros((k + 1, k + 1))
    precision = np.diag(1 / v)
    equations[0, 0], equations[0, 1:], equations[1:, 0] = precision.sum(), 1 / v, 1 / v
    equations[1:, 1:] = precision + np.eye(k) / of_role.variance
    inverse = linalg.inv(equations)
    solved = inverse @ np.concatenate([[(y / v).sum()], y / v])
    found = differences(own, replace(of_role, variance_se=0.0))
    assert found.effect == pytest.approx(solved[1:], abs=ROUNDING)
    assert found.effect_se == pytest.approx(np.sqrt(np.diagonal(inverse)[1:]), rel=ROUNDING)


def test_errors_of_shrunken_effects_add_how_they_move_with_the_variance() -> None:
    own = independent(*drawn(5))
    of_role = between(own, 0.95)
    held = replace(of_role, variance_se=0.0)
    h = 1e-6
    moved = [differences(own, replace(held, variance=of_role.variance + side * h)) for side in (1, -1)]
    slope = (moved[0].effect - moved[1].effect) / (2 * h)
    extra = differences(own, of_role).effect_se ** 2 - differences(own, held).effect_se ** 2
    assert np.sqrt(extra) == pytest.approx(np.abs(slope) * of_role.variance_se, rel=1e-4)


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
    for own, of_role in ((first, one), (second, two)):
        assert own.q(of_role.variance) == pytest.approx(own.df, rel=1e-4)
    assert two.variance > one.variance > 0
