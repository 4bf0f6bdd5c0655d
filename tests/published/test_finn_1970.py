"""Finn's coefficient [finn_1970] and others on open data sets of R; values computed there."""

import pytest

from mentorstats.agreement import coefficients, finn, icc, kendall_w

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}


def test_twenty_recordings(block, from_rows):
    example = block("PCT-01")
    expected = example["expected"]
    ratings = from_rows(example["data"]["subjects_x_raters"])
    found = finn(ratings, **COLUMNS, levels=range(1, 7))
    assert found.loc["finn_two_way", "value"] == pytest.approx(expected["finn_twoway"], abs=5e-6)
    assert found.loc["finn_one_way", "value"] == pytest.approx(expected["finn_oneway"], abs=5e-6)
    assert found.loc["finn_two_way", "f"] == pytest.approx(expected["finn_F_twoway"], abs=5e-5)
    # The block gives n(k - 1) = 60; the two-way error has (n - 1)(k - 1).
    assert found.loc["finn_one_way", "df2"] == expected["df2"]
    assert found.loc["finn_two_way", "df2"] == 57
    shares = coefficients(ratings, **COLUMNS, levels=range(1, 7))["value"]
    assert shares["percent_agreement"] == pytest.approx(expected["exact_mean_pairwise"], abs=5e-6)
    assert shares["percent_adjacent"] == pytest.approx(expected["within1_mean_pairwise"], abs=5e-6)


def test_a_high_finn_coefficient_says_nothing_of_units(block, from_rows):
    ratings = from_rows(block("PCT-01")["data"]["subjects_x_raters"])
    assert finn(ratings, **COLUMNS, levels=range(1, 7)).loc["finn_two_way", "value"] > 0.9
    assert icc(ratings, **COLUMNS).loc["icc_a_1", "value"] < 0.3


def test_twenty_subjects_of_low_agreement(block, from_rows):
    example = block("ICC-02")
    expected = example["expected"]
    ratings = from_rows(example["data"]["subjects_x_raters"])
    found = icc(ratings, **COLUMNS).loc["icc_a_1"]
    assert found["value"] == pytest.approx(expected["ICC(A,1)"], abs=5e-4)
    assert found["f"] == pytest.approx(expected["F"], abs=5e-6)
    assert [found["low"], found["high"]] == pytest.approx(expected["ci95"], abs=5e-6)
    order = kendall_w(ratings, **COLUMNS)
    assert order.loc["kendall_w", "value"] == pytest.approx(expected["kendall_W_tie_corrected"], abs=5e-6)
    assert order.loc["kendall_w_uncorrected", "value"] == pytest.approx(
        expected["kendall_W_uncorrected"], abs=5e-6
    )
    assert order.loc["kendall_w", "statistic"] == pytest.approx(expected["chi2_corrected"], abs=5e-5)
    assert order.loc["kendall_w", "p"] == pytest.approx(expected["p_corrected"], abs=5e-6)
