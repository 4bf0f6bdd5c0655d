"""Boyd et al. (1982), 85 xeromammograms, as textbooks work it (printed values from memory).

The sampling standard error is tested, not the one under no agreement that is usually printed.
"""

import pytest

from mentorstats.agreement import coefficients

HALF_OF_FOURTH_DIGIT = 5e-5


@pytest.mark.parametrize(
    ("weights", "key"), [("identity", "kappa"), ("linear", "linear_kappa"), ("quadratic", "quadratic_kappa")]
)
def test_named_weights(block, from_table, weights, key):
    example = block("KAP-03")
    found = coefficients(
        from_table(example["data"]["table"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(4),
        weights=weights,
    ).loc["cohen_kappa"]
    error = {"kappa": "se_fce", "linear_kappa": "linear_se", "quadratic_kappa": "quadratic_se"}[key]
    assert found.value == pytest.approx(example["expected"][key], abs=HALF_OF_FOURTH_DIGIT)
    assert found.se == pytest.approx(example["expected"][error], abs=HALF_OF_FOURTH_DIGIT)
    if weights == "identity":
        assert found.p_observed == pytest.approx(example["expected"]["po"], abs=HALF_OF_FOURTH_DIGIT)
        assert found.p_expected == pytest.approx(example["expected"]["pe"], abs=HALF_OF_FOURTH_DIGIT)


def test_custom_weights(block, from_table):
    example = block("KAP-03")
    found = coefficients(
        from_table(example["data"]["table"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(4),
        weights=example["data"]["custom_agreement_weights"],
    ).loc["cohen_kappa"]
    assert found.value == pytest.approx(example["expected"]["custom_kappa"], abs=HALF_OF_FOURTH_DIGIT)
    assert found.se == pytest.approx(example["expected"]["custom_se"], abs=HALF_OF_FOURTH_DIGIT)
