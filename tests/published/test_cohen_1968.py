"""Cohen (1960, 1968), diagnoses of 200 patients: kappa and weighted kappa [cohen_1960], [cohen_1968].

The printed standard errors of 1968 were superseded by [fleiss_cohen_everitt_1969], whose values stand here.
"""

import numpy as np
import pytest

from mentorstats.agreement import coefficients

HALF_OF_THIRD_DIGIT = 5e-4
HALF_OF_FIFTH_DIGIT = 5e-6


def kappa(ratings, weights="identity"):
    found = coefficients(
        ratings, unit="unit", rater="rater", level="level", levels=[0, 1, 2], weights=weights
    )
    return found.loc["cohen_kappa"]


def test_unweighted(block, from_table):
    example = block("KAP-01")
    expected = example["expected"]
    found = kappa(from_table(example["data"]["table_rows_judgeB_cols_judgeA"]))
    assert found.value == pytest.approx(expected["kappa"], abs=HALF_OF_THIRD_DIGIT)
    assert found.value == pytest.approx(expected["kappa_full"], abs=HALF_OF_FIFTH_DIGIT)
    assert found.p_observed == pytest.approx(expected["po"])
    assert found.p_expected == pytest.approx(expected["pe"])
    assert found.se == pytest.approx(expected["se_fce1969"], abs=HALF_OF_THIRD_DIGIT)


def test_weighted_by_the_published_disagreement_weights(block, from_table):
    example = block("KAP-01")
    expected = example["expected"]
    ratings = from_table(example["data"]["table_rows_judgeB_cols_judgeA"])
    for key, value in (
        ("disagreement_weights", expected["weighted_kappa"]),
        ("disagreement_weights_6_1_swapped", expected["weighted_kappa_swapped"]),
    ):
        v = np.array(example["data"][key])
        found = kappa(ratings, 1 - v / v.max())
        assert found.value == pytest.approx(value, abs=HALF_OF_THIRD_DIGIT)
        if key == "disagreement_weights":
            assert found.se == pytest.approx(expected["weighted_se_fce1969"], abs=5e-5)
            assert 6 * (1 - found.p_observed) == pytest.approx(expected["qo"])
            assert 6 * (1 - found.p_expected) == pytest.approx(expected["qc"])


@pytest.mark.parametrize("weights", ["linear", "quadratic"])
def test_named_weights(block, from_table, weights):
    example = block("KAP-01")
    found = kappa(from_table(example["data"]["table_rows_judgeB_cols_judgeA"]), weights)
    assert found.value == pytest.approx(example["expected"][f"{weights}_kappa"], abs=HALF_OF_FIFTH_DIGIT)
    assert found.se == pytest.approx(example["expected"][f"{weights}_se"], abs=HALF_OF_FIFTH_DIGIT)
