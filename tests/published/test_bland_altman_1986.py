"""Bland & Altman (1986), peak flow by two meters [bland_altman_1986], [bland_altman_1999].

The 1986 paper takes 2 standard deviations of rounded numbers; the later one, and we, take 1.96.
"""

import math

import pandas as pd
import pytest
from scipy import stats

from mentorstats.agreement import icc, limits_of_agreement

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}
TWO_DECIMALS = 5e-3


def two(first, second, names=("wright", "mini")):
    return pd.concat(
        [
            pd.DataFrame({"unit": range(len(of)), "rater": name, "level": of})
            for name, of in zip(names, (first, second), strict=True)
        ],
        ignore_index=True,
    )


def test_first_readings(block):
    example = block("BLA-01")
    data, expected = example["data"], example["expected"]["first_readings_wright_minus_mini"]
    ratings = two(data["wright1"], data["mini1"])
    ratings["rater"] = pd.Categorical(ratings["rater"], ["wright", "mini"])
    found = limits_of_agreement(ratings, **COLUMNS)
    mean, lower, upper = (found.loc[name] for name in ("mean_difference", "lower_limit", "upper_limit"))
    assert mean["definition"] == "wright minus mini"
    assert mean["value"] == pytest.approx(expected["mean_full"], abs=5e-7)
    assert mean["sd"] == pytest.approx(expected["sd_full"], abs=5e-6)
    assert mean["se"] == pytest.approx(expected["se_mean"], abs=5e-4)
    assert [mean["low"], mean["high"]] == pytest.approx(expected["ci95_mean_t16"], abs=TWO_DECIMALS)
    assert [lower["value"], upper["value"]] == pytest.approx(expected["loa_196sd"], abs=TWO_DECIMALS)
    twice = limits_of_agreement(ratings, **COLUMNS, share=2 * stats.norm.cdf(2) - 1)
    limits = [twice.loc["lower_limit", "value"], twice.loc["upper_limit", "value"]]
    assert limits == pytest.approx(expected["loa_2sd"], abs=TWO_DECIMALS)


@pytest.mark.parametrize("meter", ["wright", "mini"])
def test_repeatability(block, meter):
    """The within-subject deviation is the standard error of measurement of the one-way form."""
    example = block("BLA-01")
    data, expected = example["data"], example["expected"]
    ratings = two(data[f"{meter}1"], data[f"{meter}2"], ("first", "second"))
    sem = icc(ratings, **COLUMNS).loc["icc_1_1", "sem"]
    assert sem == pytest.approx(expected["within_subject_sd"][meter], abs=TWO_DECIMALS)
    twice = 2 * math.sqrt(2) * sem
    assert twice == pytest.approx(expected["repeatability_2sd"][meter], abs=TWO_DECIMALS)
