"""Verdicts and power, against closed forms, statsmodels and draws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.power import normal_power
from statsmodels.stats.weightstats import DescrStatsW

from mentorstats.calibration.groups.equivalence import power_to_see, power_to_show_equivalence, verdicts
from mentorstats.errors import ArgumentError

EXACT = 1e-9


def test_verdicts_by_hand() -> None:
    low = np.array([-0.1, 0.25, -0.5, -0.1, -0.3, 0.2, np.nan])
    high = np.array([0.15, 0.6, -0.21, 0.3, 0.3, 0.4, np.nan])
    words = ["equivalent", "differs", "differs", "undecided", "undecided", "undecided", ""]
    assert verdicts(low, high, 0.2).tolist() == words


@settings(max_examples=50, deadline=None)
@given(st.floats(-1, 1), st.floats(0.01, 1), st.floats(0.05, 0.8))
def test_equivalent_is_what_two_one_sided_tests_say(shift, spread, bound) -> None:
    """statsmodels' two one-sided z-tests on data whose mean and error are these."""
    x = np.array([-1.0, 1.0]) * spread
    data = DescrStatsW(np.tile(x, 50) + shift)
    p = data.ztost_mean(-bound, bound)[0]
    half = 1.959963984540054 * data.std_mean
    words = verdicts(np.array([data.mean - half]), np.array([data.mean + half]), bound)
    assert (words[0] == "equivalent") == (p < 0.025)


@pytest.mark.parametrize("se", [0.02, 0.1, 0.4])
def test_power_to_see_is_that_of_a_z_test(se) -> None:
    ours = power_to_see(np.array([se]), 0.2, confidence=0.95)[0]
    assert ours == pytest.approx(normal_power(0.2 / se, 1, 0.05, alternative="two-sided"), abs=EXACT)


def test_power_to_show_equivalence_is_how_often_it_is_shown() -> None:
    drawn = np.random.default_rng(3).normal(0.05, 0.08, 200_000)
    shown = (verdicts(drawn - 1.959964 * 0.08, drawn + 1.959964 * 0.08, 0.2) == "equivalent").mean()
    ours = power_to_show_equivalence(np.array([0.08]), 0.2, confidence=0.95, effect=0.05)[0]
    assert ours == pytest.approx(shown, abs=0.004)  # Monte Carlo error .001


def test_power_to_show_equivalence_at_the_ends() -> None:
    ours = power_to_show_equivalence(np.array([1e-6, 0.2 / 1.96, 1.0, np.nan]), 0.2, confidence=0.95)
    assert ours[0] == pytest.approx(1.0)
    assert ours[1] == pytest.approx(0.0, abs=1e-4)
    assert ours[2] == 0.0
    assert np.isnan(ours[3])


@pytest.mark.parametrize("bound", [0.0, -1.0, np.inf, np.nan])
def test_a_bound_is_a_number_above_zero(bound) -> None:
    with pytest.raises(ArgumentError, match="bound"):
        verdicts(np.zeros(1), np.ones(1), bound)
