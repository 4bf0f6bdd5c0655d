"""Shrout & Fleiss (1979), six targets by four judges [shrout_fleiss_1979]; forms as in [mcgraw_wong_1996].

Digits beyond the printed two were computed in R; so was Kendall's W.
"""

import numpy as np
import pytest

from mentorstats.agreement import icc, icc_incomplete, kendall_w
from mentorstats.agreement.scores.icc import mean_squares

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}
NAMES = {
    "icc_1_1": "ICC(1,1)",
    "icc_a_1": "ICC(2,1)=A,1",
    "icc_c_1": "ICC(3,1)=C,1",
    "icc_1_k": "ICC(1,k)",
    "icc_a_k": "ICC(2,k)=A,k",
    "icc_c_k": "ICC(3,k)=C,k",
}
PRINTED = 5e-3  # two decimals
COMPUTED = 5e-7  # seven digits in the block


@pytest.fixture
def ratings(block, from_rows):
    return from_rows(block("ICC-01")["data"]["targets_x_judges"])


def test_mean_squares(block):
    grid = block("ICC-01")["data"]["targets_x_judges"]
    expected = block("ICC-01")["expected"]["anova"]
    found = mean_squares(np.array(grid, dtype=float))
    assert found.units == pytest.approx(expected["BMS"], abs=PRINTED)
    assert found.within == pytest.approx(expected["WMS"], abs=PRINTED)
    assert found.raters == pytest.approx(expected["JMS"], abs=PRINTED)
    assert found.residual == pytest.approx(expected["EMS"], abs=PRINTED)


@pytest.mark.parametrize("name", NAMES)
def test_six_forms(block, ratings, name):
    expected = block("ICC-01")["expected"][NAMES[name]]
    found = icc(ratings, **COLUMNS).loc[name]
    assert found["value"] == pytest.approx(expected["est"], abs=PRINTED)
    assert found["value"] == pytest.approx(expected["full"], abs=COMPUTED)
    limits = expected.get("ci95", expected.get("ci95_shrout_fleiss"))
    assert [found["low"], found["high"]] == pytest.approx(limits, abs=COMPUTED)
    if "F" in expected:
        assert found["f"] == pytest.approx(expected["F"], rel=1e-6)
        assert [found["df1"], found["df2"]] == expected["df"]
    if "p" in expected:
        assert found["p"] == pytest.approx(expected["p"], rel=1e-6)
    assert found["status"] == "ok"


def test_the_interval_of_the_mean_says_how_it_was_made(ratings):
    """Some have .0394 to .9286 for this form; the limits here are those of one rating carried over."""
    found = icc(ratings, **COLUMNS)
    assert found.loc["icc_a_k", "interval_method"] == "f_satterthwaite_spearman_brown"


def test_variance_components_give_the_same(ratings):
    """Complete data and no variance of zero: restricted maximum likelihood is analysis of variance."""
    whole, parts = icc(ratings, **COLUMNS), icc_incomplete(ratings, **COLUMNS)
    same = list(parts.index)
    assert parts["value"].to_numpy() == pytest.approx(whole.loc[same, "value"].to_numpy(), abs=1e-10)
    assert parts["sem"].to_numpy() == pytest.approx(whole.loc[same, "sem"].to_numpy(), abs=1e-10)


def test_concordance_of_the_ranks(block, ratings):
    expected = block("KEN-03")["expected"]
    found = kendall_w(ratings, **COLUMNS)
    assert found.loc["kendall_w_uncorrected", "value"] == pytest.approx(expected["W_uncorrected"], abs=5e-8)
    assert found.loc["kendall_w_uncorrected", "statistic"] == pytest.approx(expected["chi2"], abs=5e-6)
    row = found.loc["kendall_w"]
    assert row["value"] == pytest.approx(expected["W_corrected"], abs=5e-7)
    assert row["statistic"] == pytest.approx(expected["chi2_corrected"], abs=5e-6)
    assert row["df"] == expected["df"]
    assert row["p"] == pytest.approx(expected["p_corrected"], abs=5e-8)
