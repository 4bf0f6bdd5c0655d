"""Limits of agreement: exact factors against simulation and closed forms, and hostile tables."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats.agreement import limits_of_agreement
from mentorstats.agreement.scores.limits_of_agreement import one_limit, tolerance_factor
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


def simulated(generator, candidates, lessons, shared):
    """Normal differences with variance one, a part of it shared by the lessons of a candidate."""
    own = generator.normal(size=(candidates, lessons)) * np.sqrt(1 - shared)
    difference = (own + generator.normal(size=(candidates, 1)) * np.sqrt(shared)).ravel()
    ratings = two(difference, np.zeros(len(difference)))
    return ratings.assign(candidate=ratings["unit"] // lessons)


def test_units_alone_give_the_published_standard_errors():
    """[bland_altman_1999]: that of a limit is close to √(1/n + z²/(2(n − 1))) SD for normal differences."""
    n, z = 20_000, stats.norm.ppf(0.975)
    ratings = simulated(np.random.default_rng(4), n, 1, 0.0)
    found = limits_of_agreement(ratings, **COLUMNS, cluster="candidate")
    sd = found["sd"].iloc[0]
    assert found.loc["mean_difference", "se"] == pytest.approx(sd / np.sqrt(n), rel=1e-4)
    wanted = sd * np.sqrt(1 / n + z**2 / (2 * (n - 1)))
    for limit in ("lower_limit", "upper_limit"):
        assert found.loc[limit, "se"] == pytest.approx(wanted, rel=0.03)  # kurtosis of 20,000 draws
    plain = limits_of_agreement(ratings, **COLUMNS)
    assert found["value"].tolist() == plain["value"].tolist()
    assert found.loc["upper_limit", "low"] == pytest.approx(plain.loc["upper_limit", "low"], abs=0.002)
    assert set(found["interval_method"]) == {"linearised_t"}
    assert found.loc["upper_limit", "generalises_to"] == "new candidates, these raters"


def test_the_clustered_interval_of_a_mean_is_that_of_the_clusters_means():
    ratings = simulated(np.random.default_rng(2), 30, 4, 0.5)
    found = limits_of_agreement(ratings, **COLUMNS, cluster="candidate").loc["mean_difference"]
    means = ratings[ratings["rater"] == "mentor"].groupby("candidate")["level"].mean()
    wanted = stats.t.interval(0.95, 29, means.mean(), stats.sem(means))
    assert (found["low"], found["high"]) == pytest.approx(wanted)
    assert found["n_clusters"] == 30


def test_clustered_limits_cover_where_plain_ones_do_not():
    """300 programmes of 40 candidates by 6 lessons, half of the variance shared; a standard error is .013."""
    generator, z, n = np.random.default_rng(11), stats.norm.ppf(0.975), 300
    near, far = (one_limit(240, 0.95, side * 0.95) for side in (-1, 1))
    plain = clustered = 0
    for _ in range(n):
        found = limits_of_agreement(simulated(generator, 40, 6, 0.5), **COLUMNS, cluster="candidate")
        row, mean = found.loc["upper_limit"], found.loc["mean_difference", "value"]
        clustered += row["low"] <= z <= row["high"]
        plain += mean + near * row["sd"] <= z <= mean + far * row["sd"]
    assert 0.91 < clustered / n < 0.98
    assert plain / n < 0.86


def test_few_clusters_have_no_limits_around_the_limits():
    ratings = two([1, 2, 3, 5], [1, 1, 2, 2]).assign(candidate=[0, 0, 1, 1] * 2)
    found = limits_of_agreement(ratings, **COLUMNS, cluster="candidate")
    assert set(found["status"]) == {"too_few_clusters"}
    assert found["value"].notna().all()
    assert found["low"].isna().all()
    with pytest.raises(ArgumentError, match="two clusters"):
        limits_of_agreement(ratings.assign(candidate=range(8)), **COLUMNS, cluster="candidate")
