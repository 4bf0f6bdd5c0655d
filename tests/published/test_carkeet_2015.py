"""Carkeet (2015), exact intervals of limits of agreement [carkeet_2015]; n = 17, mean -2.1, SD 38.8."""

import pytest
from scipy import stats

from mentorstats.agreement.scores.limits_of_agreement import one_limit, tolerance_factor

Z = stats.norm.ppf(0.975)
PRINTED = 5e-5


def test_one_limit(block):
    example = block("BLA-02")
    n, mean, sd = (example["data"][key] for key in ("n", "mean", "sd"))
    near, far = one_limit(n, 0.95, -0.95), one_limit(n, 0.95, 0.95)
    expected = example["expected"]
    assert [near, far] == pytest.approx(expected["coef_individual"], abs=5e-4)
    assert far == pytest.approx(expected["coef_individual"][1], abs=PRINTED)
    assert [mean + near * sd, mean + far * sd] == pytest.approx(expected["individual_upper_loa_ci"], abs=0.06)
    assert [mean - far * sd, mean - near * sd] == pytest.approx(expected["individual_lower_loa_ci"], abs=0.06)


def test_both_limits_together(block):
    example = block("BLA-02")
    n, sd, expected = example["data"]["n"], example["data"]["sd"], example["expected"]
    inner, outer = tolerance_factor(n, 0.95, 0.025), tolerance_factor(n, 0.95, 0.975)
    assert [inner, outer] == pytest.approx(expected["coef_pair"], abs=PRINTED)
    assert [inner * sd, outer * sd] == pytest.approx(expected["pair_inner_outer_halfwidth"], abs=0.06)


def test_one_sided_tolerance_factor(block):
    """A bound of the 95th percentile with 95 % confidence: share .90 of two sides, confidence .90."""
    expected = block("BLA-02")["expected"]["tolerance_factor_n10_95_95_one_sided"]
    assert one_limit(10, 0.90, 0.90) == pytest.approx(expected, abs=5e-4)
