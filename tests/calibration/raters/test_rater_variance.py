"""The variance between members, against closed forms, statsmodels and repeated samples."""

import math

import numpy as np
import pytest
from estimates_with_errors import drawn, independent
from scipy.stats import chi2
from statsmodels.stats.meta_analysis import combine_effects

from mentorstats.calibration.raters.rater_variance import (
    between,
    members,
    members_about_mean,
    members_of_estimates,
)
from mentorstats.mixed.local.score_test import Step, given

ITERATED = 1e-6  # the peer stops its iteration there
SOLVED = 1e-6  # roots by bracketing
ROUNDING = 1e-9


def test_equal_errors_about_zero_have_closed_forms() -> None:
    rng = np.random.default_rng(1)
    estimates, error = rng.normal(0, 1.3, 12), 0.5
    found = between(members(estimates / error**2, np.eye(12) / error**2), 0.9)
    total = (estimates**2).sum()
    assert found.df == 12
    assert found.statistic == pytest.approx(total / error**2)
    assert found.p == pytest.approx(chi2.sf(total / error**2, 12))
    for value, target in (
        (found.variance, 12),
        (found.low, chi2.isf(0.05, 12)),
        (found.high, chi2.ppf(0.05, 12)),
    ):
        assert value == pytest.approx(total / target - error**2, rel=SOLVED)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_about_a_mean_it_is_that_of_a_meta_analysis(seed) -> None:
    """statsmodels' iterated estimate is Paule and Mandel's, to its own tolerance."""
    y, v = drawn(seed)
    found = between(independent(y, v), 0.95)
    peer = combine_effects(y, v, method_re="iterated")
    assert found.variance == pytest.approx(peer.tau2, rel=ITERATED)
    assert found.statistic == pytest.approx(peer.q, rel=ROUNDING)
    assert found.df == 12
    assert found.low < found.variance < found.high


def test_a_mean_set_aside_from_the_step_is_a_mean_taken_out() -> None:
    y, v = drawn(4, k=15)
    weights = 1 / v
    wide = np.zeros((16, 16))
    wide[:15, :15] = np.diag(weights)
    wide[15, :15] = wide[:15, 15] = weights
    wide[15, 15] = weights.sum()
    step = given(Step(np.append(weights * y, weights @ y), wide), np.arange(16) < 15)
    aside, out = between(members(step.score, step.information), 0.95), between(independent(y, v), 0.95)
    assert aside.df == out.df == 14
    assert aside.statistic == pytest.approx(out.statistic, rel=SOLVED)


def test_estimates_and_their_covariance_are_a_step() -> None:
    rng = np.random.default_rng(5)
    root = rng.normal(size=(8, 8))
    covariance, y = root @ root.T, 2 * root @ rng.normal(size=8)
    information = np.linalg.inv(covariance)
    one = between(members_of_estimates(y, covariance, 0.0), 0.9)
    two = between(members(information @ y, information), 0.9)
    assert one.df == two.df == 8
    for name in ("variance", "variance_se", "low", "high", "statistic", "p"):
        assert getattr(one, name) == pytest.approx(getattr(two, name), rel=SOLVED), name


def test_directions_that_say_nothing_are_left_out() -> None:
    covariance = np.diag([1.0, 2.0, 1e-12])
    assert between(members_of_estimates(np.ones(3), covariance, 1e-9), 0.95).df == 2
    assert between(members(np.ones(3), covariance), 0.95).df == 2
    assert between(members(np.ones(3), np.diag([1.0, 2.0, 0.1])), 0.95).df == 3
    assert between(members(np.ones(3), np.diag([1.0, 2.0, 0.1]), least=0.2), 0.95).df == 2


@pytest.mark.parametrize("seed", range(6))
def test_the_lower_limit_is_above_zero_exactly_when_the_test_rejects(seed) -> None:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(8, 8))
    for size in (0.1, 0.5, 1.0, 1.5, 2.0):
        found = between(members_of_estimates(size * root @ rng.normal(size=8), root @ root.T, 0.0), 0.9)
        assert (found.low > 0) == (found.p < 0.05)
        assert math.isnan(found.low) == (found.p > 0.95)
        assert math.isnan(found.low) or found.low <= found.variance <= found.high


@pytest.mark.parametrize("made", [members, members_about_mean])
def test_less_spread_than_chance_is_a_variance_of_zero_without_interval(made) -> None:
    found = between(made(0.2 + 1e-3 * np.arange(8), np.eye(8)), 0.95)
    assert found.variance == 0
    assert np.isnan([found.low, found.high]).all()
    assert found.p > 0.99


def test_nothing_known_is_nothing() -> None:
    for own in (members(np.zeros(0), np.zeros((0, 0))), independent(np.ones(1), np.ones(1))):
        found = between(own, 0.95)
        assert found.df == 0
        assert np.isnan([*found.sd, found.variance, found.statistic, found.p]).all()


def test_the_variance_and_its_interval_in_repeated_samples() -> None:
    covered, found = [], []
    for seed in range(300):
        one = between(independent(*drawn(seed, k=20, between=0.05)), 0.9)
        found.append(one.variance)
        covered.append(one.low <= 0.05 <= one.high)
    assert np.mean(found) == pytest.approx(0.05, abs=4 * np.std(found) / math.sqrt(300))
    assert np.mean(covered) == pytest.approx(0.9, abs=4 * math.sqrt(0.9 * 0.1 / 300))
