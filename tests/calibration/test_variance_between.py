"""The variance between members from one-step estimates, against closed forms and statsmodels."""

import numpy as np
import pytest
from scipy.stats import chi2
from statsmodels.stats.meta_analysis import combine_effects

from mentorstats.calibration.base import Step
from mentorstats.calibration.moves import given
from mentorstats.calibration.variance_between import between

SOLVED = 1e-6  # roots by bracketing


def test_equal_errors_have_closed_forms() -> None:
    rng = np.random.default_rng(1)
    estimates, error = rng.normal(0, 1.3, 12), 0.5
    found = between(Step(estimates / error**2, np.eye(12) / error**2), confidence=0.9)
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


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_with_a_common_mean_set_aside_it_is_that_of_a_meta_analysis(seed) -> None:
    """statsmodels' iterated estimate is Paule and Mandel's, to its own tolerance."""
    rng = np.random.default_rng(seed)
    errors = rng.uniform(0.1, 0.6, 15)
    estimates = 0.7 + rng.normal(0, 0.5, 15) + rng.normal(0, errors)
    weights = 1 / errors**2
    wide = np.zeros((16, 16))
    wide[:15, :15] = np.diag(weights)
    wide[15, :15] = wide[:15, 15] = weights
    wide[15, 15] = weights.sum()
    score = np.append(weights * estimates, weights @ estimates)
    found = between(given(Step(score, wide), np.arange(16) < 15), confidence=0.95)
    theirs = combine_effects(estimates, errors**2, method_re="iterated")
    assert found.df == 14
    assert found.variance == pytest.approx(theirs.tau2, rel=1e-4)
    assert found.statistic == pytest.approx(theirs.q, rel=SOLVED)
    assert found.low < found.variance < found.high


def test_no_more_than_error_is_zero_with_an_upper_limit() -> None:
    found = between(Step(np.array([0.1, -0.1, 0.05]), np.eye(3)), confidence=0.95)
    assert found.variance == found.low == 0.0
    assert found.p > 0.9


def test_nothing_known_is_nothing() -> None:
    found = between(Step(np.zeros(0), np.zeros((0, 0))), confidence=0.95)
    assert np.isnan([found.variance, found.low, found.high, found.p]).all()
