"""Fleiss (1971), 30 patients by six psychiatrists [fleiss_1971].

Three standard errors of this kappa are in circulation; ours is the linearised one, for intervals.
"""

import numpy as np
import pytest

from mentorstats.agreement import coefficients


def test_kappa(block, from_counts):
    example = block("FLK-01")
    expected = example["expected"]
    counts = np.array(example["data"]["counts"])
    found = coefficients(from_counts(counts), unit="unit", rater="rater", level="level", levels=range(5))
    row = found.loc["fleiss_kappa"]
    assert row.value == pytest.approx(expected["kappa_full"], abs=5e-8)
    assert row.p_observed == pytest.approx(expected["P_bar"], abs=5e-5)
    assert row.p_expected == pytest.approx(expected["P_e"], abs=5e-5)
    assert row.se == pytest.approx(expected["gwet_se"], abs=5e-5)
    assert found.value["brennan_prediger"] == pytest.approx(expected["brennan_prediger_randolph"], abs=5e-5)
    assert found.value["gwet_ac"] == pytest.approx(expected["AC1"], abs=5e-6)
    assert found.se["gwet_ac"] == pytest.approx(expected["AC1_se"], abs=5e-6)
    assert found.value["krippendorff_alpha"] == pytest.approx(expected["kripp_alpha"], abs=5e-6)


def test_conger_kappa_needs_the_raters(block, from_rows):
    """Conger's coefficient on the same data with raters [conger_1980]; value computed, not printed."""
    ratings = from_rows(block("FLK-02-DATA")["ratings"])
    expected = block("FLK-02")["expected"]
    found = coefficients(ratings, unit="unit", rater="rater", level="level", levels=[1, 2, 3, 4, 5])
    assert found.value["conger_kappa"] == pytest.approx(expected["conger_exact"], abs=5e-6)
    assert found.value["fleiss_kappa"] == pytest.approx(expected["fleiss"], abs=5e-6)
    pair = ratings[ratings["rater"].isin([1, 2])]
    two = coefficients(pair, unit="unit", rater="rater", level="level", levels=[1, 2, 3, 4, 5])
    assert two.value["cohen_kappa"] == pytest.approx(expected["cohen_rater2_rater3"], abs=5e-6)
