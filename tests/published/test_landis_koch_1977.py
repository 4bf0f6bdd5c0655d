"""Landis & Koch (1977), diagnoses of multiple sclerosis by two neurologists [landis_koch_1977].

The data were read in an open data set; the printed kappas .208 and .297 are from memory.
"""

import pytest

from mentorstats.agreement import coefficients

HALF_OF_FOURTH_DIGIT = 5e-5


@pytest.mark.parametrize(
    ("name", "data"), [("winnipeg", "winnipeg_rows_NO_cols_Winn"), ("new_orleans", "new_orleans")]
)
@pytest.mark.parametrize("weights", ["identity", "linear", "quadratic"])
def test_both_groups_of_patients(block, from_table, name, data, weights):
    example = block("KAP-07")
    expected = example["expected"][name]
    found = coefficients(
        from_table(example["data"][data]),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(4),
        weights=weights,
    ).loc["cohen_kappa"]
    assert found.n_units == expected["n"]
    if weights == "identity":
        assert found.value == pytest.approx(expected["kappa"], abs=5e-4)
        assert found.se == pytest.approx(expected["se"], abs=HALF_OF_FOURTH_DIGIT)
    else:
        assert found.value == pytest.approx(expected[weights], abs=HALF_OF_FOURTH_DIGIT)
        assert found.se == pytest.approx(expected[f"{weights}_se"], abs=HALF_OF_FOURTH_DIGIT)
