"""Limits of agreement: exact factors against simulation and closed forms, and hostile tables."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats.agreement import limits_of_agreement
from mentorstats.agreement.totals import one_limit, tolerance_factor
from mentorstats.errors import ArgumentError, DuplicateRatingError

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}


def two(first, second):
    return pd.DataFrame(
        {
            "unit": np.tile(range(len(first)), 2),
            "rater": np.repeat(["mentor", "supervisor"], len(first)),
            "level": [*first, *second],
        }
    )


def test_the_first_rater_is_the_first_in_order():
    ratings = two([10, 12, 15, 11], [9, 12, 13, 8])
    found = limits_of_agreement(ratings, **COLUMNS)
    assert found.loc["mean_difference", "definition"] == "mentor minus supervisor"
    assert found.loc["mean_difference", "value"] == pytest.approx(1.5)
    turned = ratings.assign(rater=pd.Categorical(ratings["rater"], ["supervisor", "mentor"]))
    other = limits_of_agreement(turned, **COLUMNS)
    assert other.loc["mean_difference", "definition"] == "supervisor minus mentor"
    assert other.loc["mean_difference", "value"] == pytest.approx(-1.5)
    assert other.loc["upper_limit", "high"] == pytest.approx(-found.loc["lower_limit", "low"])
    shuffled = limits_of_agreement(ratings.sample(frac=1, random_state=2), **COLUMNS)
    pd.testing.assert_frame_equal(shuffled, found)


def test_units_of_one_rater_are_left_out_and_counted():
    ratings = two([10, 12, 15, None], [9, 12, 13, 8])
    found = limits_of_agreement(ratings, **COLUMNS)
    assert (found["n_units"] == 3).all()
    assert (found["n_left_out"] == 2).all()


@pytest.mark.parametrize("n", [5, 17, 60])
def test_factors_cover_what_they_should(n):
    """Share of 100,000 samples; a standard error is .0005."""
    generator = np.random.default_rng(n)
    mean = generator.normal(size=100_000) / np.sqrt(n)
    sd = np.sqrt(generator.chisquare(n - 1, 100_000) / (n - 1))
    z = stats.norm.ppf(0.975)
    near, far = one_limit(n, 0.95, -0.9), one_limit(n, 0.95, 0.9)
    assert np.mean((mean + near * sd < z) & (z < mean + far * sd)) == pytest.approx(0.9, abs=0.004)
    c = tolerance_factor(n, 0.95, 0.9)
    held = stats.norm.cdf(mean + c * sd) - stats.norm.cdf(mean - c * sd)
    assert np.mean(held >= 0.95) == pytest.approx(0.9, abs=0.004)


@pytest.mark.parametrize(
    ("ratings", "status"),
    [
        (two([], []), "no_records"),
        (two([1, 2], [None, None]), "one_rater"),
        (two([1, None], [None, 2]), "no_double_scores"),
        (two([1, 2], [None, 2]), "one_unit"),
    ],
)
def test_nothing_to_compare_is_named(ratings, status):
    found = limits_of_agreement(ratings, **COLUMNS)
    assert set(found["status"]) == {status}
    assert found[["value", "low", "high", "sd"]].isna().all(axis=None)


@pytest.mark.parametrize(("second", "status"), [([1, 2, 3], "no_disagreement"), ([2, 3, 4], "boundary")])
def test_constant_differences_have_no_interval(second, status):
    found = limits_of_agreement(two([1, 2, 3], second), **COLUMNS)
    assert set(found["status"]) == {status}
    assert found["low"].isna().all()
    assert found["value"].notna().all()
    assert set(found["interval_method"]) == {"none"}


def test_bad_input_is_named():
    three = pd.concat([two([1, 2], [2, 2]), pd.DataFrame({"unit": [0], "rater": ["x"], "level": [1]})])
    with pytest.raises(ArgumentError, match=r"3 raters.*Allowed: two"):
        limits_of_agreement(three, **COLUMNS)
    again = pd.concat([two([1, 2], [2, 2])] * 2, ignore_index=True)
    with pytest.raises(DuplicateRatingError):
        limits_of_agreement(again, **COLUMNS)
    with pytest.raises(ArgumentError, match=r"share is 1\.96"):
        limits_of_agreement(two([1, 2], [2, 2]), **COLUMNS, share=1.96)
    with pytest.raises(ArgumentError, match="not declared"):
        limits_of_agreement(two(["a", "b"], ["a", "b"]), **COLUMNS)
