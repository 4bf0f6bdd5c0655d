"""Feinstein & Cicchetti (1990): one agreement, two kappas [feinstein_cicchetti_1990].

Prevalence and bias indices and PABAK as in [byrt_1993] (formulas from memory).
"""

import pytest

from mentorstats.agreement import by_level, coefficients, paradox

HALF_OF_FOURTH_DIGIT = 5e-5


@pytest.mark.parametrize("name", ["a", "b"])
def test_paradox_pair(block, from_table, name):
    example = block("KAP-04")
    expected = example["expected"][name]
    ratings = from_table(example["data"][f"table_{name}"])
    found = coefficients(ratings, unit="unit", rater="rater", level="level", levels=[0, 1])
    for row, key in (
        ("percent_agreement", "po"),
        ("cohen_kappa", "kappa"),
        ("pabak", "PABAK"),
        ("prevalence_index", "PI"),
        ("bias_index", "BI"),
        ("gwet_ac", "AC1"),
    ):
        assert found.value[row] == pytest.approx(expected[key], abs=HALF_OF_FOURTH_DIGIT), row
    assert found.se["cohen_kappa"] == pytest.approx(expected["se_fce"], abs=HALF_OF_FOURTH_DIGIT)
    assert found.p_expected["cohen_kappa"] == pytest.approx(expected["pe"], abs=HALF_OF_FOURTH_DIGIT)


@pytest.mark.parametrize("name", ["a", "b"])
def test_specific_agreement(block, from_table, name):
    example = block("KAP-04")
    found = by_level(
        from_table(example["data"][f"table_{name}"]), unit="unit", rater="rater", level="level", levels=[0, 1]
    )
    expected = example["expected"][name]
    assert found.value["0"] == pytest.approx(expected["p_pos"], abs=HALF_OF_FOURTH_DIGIT)
    assert found.value["1"] == pytest.approx(expected["p_neg"], abs=HALF_OF_FOURTH_DIGIT)


def test_identity_of_kappa_with_the_indices(block, from_table):
    example = block("KAP-04")
    for name in "ab":
        v = coefficients(
            from_table(example["data"][f"table_{name}"]),
            unit="unit",
            rater="rater",
            level="level",
            levels=[0, 1],
        ).value
        pi, bi = v["prevalence_index"], v["bias_index"]
        assert v["cohen_kappa"] == pytest.approx(
            (v["pabak"] - pi**2 + bi**2) / (1 - pi**2 + bi**2), abs=1e-12
        )


def test_the_alarm_tells_the_pair_apart(block, from_table):
    """The first table has no alarm, the second has; both with what blind raters would reach."""
    example = block("KAP-04")
    rows = {}
    for name in "ab":
        ratings = from_table(example["data"][f"table_{name}"])
        rows[name] = paradox(ratings, unit="unit", rater="rater", level="level", levels=[0, 1]).loc["all"]
        for column, key in (
            ("p_observed", "po"),
            ("p_expected", "pe"),
            ("value", "kappa"),
            ("pabak", "PABAK"),
            ("prevalence_index", "PI"),
            ("bias_index", "BI"),
            ("gwet_ac", "AC1"),
        ):
            assert rows[name][column] == pytest.approx(
                example["expected"][name][key], abs=HALF_OF_FOURTH_DIGIT
            ), column
    assert not rows["a"]["alarm"]
    assert rows["b"]["alarm"]
    assert "blind raters would agree nearly as often" in rows["b"]["status_note"]
    assert rows["a"]["status_note"] == ""
