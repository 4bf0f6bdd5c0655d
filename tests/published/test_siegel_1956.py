"""Siegel (1956), three interviewers rank six applicants [siegel_1956].

Data and answer are from memory; their arithmetic closes.
"""

import pytest

from mentorstats.agreement import kendall_w


def test_concordance_without_ties(block, from_rows):
    example = block("KEN-01")
    expected = example["expected"]
    ratings = from_rows(example["data"]["applicants_x_judges"])
    found = kendall_w(ratings, unit="unit", rater="rater", level="level").loc["kendall_w"]
    assert found["value"] == pytest.approx(expected["W"], abs=5e-3)
    assert found["value"] == pytest.approx(expected["W_full"], abs=5e-8)
    assert found["statistic"] == pytest.approx(expected["chi2"], abs=5e-7)
    assert found["df"] == expected["df"]
    assert found["p"] == pytest.approx(expected["p"], abs=5e-5)
    assert "rough" in found["status_note"]
