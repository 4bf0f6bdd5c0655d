"""Gwet (2014), Handbook of Inter-Rater Reliability: tables as printed and as others work them [gwet_2014]."""

import pytest

from mentorstats.agreement import benchmark, coefficients

HALF_OF_FIFTH_DIGIT = 5e-6
PRINTED_BOUND = 5e-4  # interval bounds are printed with three decimals

ROWS = {
    "percent": "percent_agreement",
    "AC1": "gwet_ac",
    "AC2": "gwet_ac",
    "fleiss": "fleiss_kappa",
    "kripp": "krippendorff_alpha",
    "conger": "conger_kappa",
    "cohen": "cohen_kappa",
    "scott": "scott_pi",
    "brennan_prediger": "brennan_prediger",
}


@pytest.mark.parametrize("weights", ["unweighted", "quadratic"])
def test_four_raters_with_missing_ratings(block, from_rows, weights):
    """Estimates, standard errors and intervals of Table 4.4 as printed."""
    example = block("GWT-01")
    found = coefficients(
        from_rows(example["data"]["units_x_raters"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=[1, 2, 3, 4, 5],
        weights="identity" if weights == "unweighted" else weights,
        interval="fixed_count",
    )
    for name, (pa, pe, value, se, low, high) in example["expected"][weights].items():
        if weights == "quadratic" and name == "percent":
            continue  # percent_agreement is exact agreement whatever the weights
        row = found.loc[ROWS[name]]
        assert row.value == pytest.approx(value, abs=HALF_OF_FIFTH_DIGIT), name
        assert row.se == pytest.approx(se, abs=HALF_OF_FIFTH_DIGIT), name
        assert row.low == pytest.approx(low, abs=PRINTED_BOUND), name
        assert row.high == pytest.approx(high, abs=PRINTED_BOUND), name
        assert row.p_observed == pytest.approx(pa, abs=5e-7), name
        if name != "percent":
            assert row.p_expected == pytest.approx(pe, abs=5e-7), name


@pytest.mark.parametrize("weights", ["unweighted", "quadratic"])
def test_two_abstractors(block, from_table, weights):
    """The 100 pregnancies: estimates and large-sample standard errors to seven digits."""
    example = block("KAP-10")
    found = coefficients(
        from_table(example["data"]["table"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=[0, 1, 2],
        weights="identity" if weights == "unweighted" else weights,
    )
    for name, (value, se, _, _) in example["expected"][weights].items():
        if weights == "quadratic" and name == "percent":
            continue
        assert found.value[ROWS[name]] == pytest.approx(value, abs=5e-8), name
        assert found.se[ROWS[name]] == pytest.approx(se, abs=5e-8), name


def test_four_by_four_diagnoses(block, from_table):
    """Table 2.1; the values were computed by an independent library, not read in the book."""
    example = block("KAP-09")
    ratings = from_table(example["data"]["table"])
    frames = {
        name: coefficients(ratings, unit="unit", rater="rater", level="level", levels=range(4), weights=name)
        for name in ("identity", "linear", "quadratic")
    }
    for key, expected in example["expected"].items():
        name, _, weights = (
            key.rpartition("_") if key.endswith(("linear", "quadratic")) else (key, "", "identity")
        )
        row = frames[weights].loc[{**ROWS, "BP": "brennan_prediger"}[name]]
        assert row.value == pytest.approx(expected["est"], abs=HALF_OF_FIFTH_DIGIT), key
        assert row.se == pytest.approx(expected["se"], abs=HALF_OF_FIFTH_DIGIT), key


def test_four_raters_ten_subjects(block, from_rows):
    """Table 2.26; the values were computed by an independent library, not read in the book."""
    example = block("FLK-06")
    rows = [
        ["abc".index(letter) for letter in subject]
        for subject in example["data"]["ratings_one_string_per_subject"]
    ]
    found = coefficients(from_rows(rows), unit="unit", rater="rater", level="level", levels=[0, 1, 2])
    for name, expected in example["expected"].items():
        if name == "order":
            continue
        value, se = expected
        assert found.value[ROWS[name]] == pytest.approx(value, abs=HALF_OF_FIFTH_DIGIT), name
        assert found.se[ROWS[name]] == pytest.approx(se, abs=HALF_OF_FIFTH_DIGIT), name


def test_incomplete_pair_of_observers(block, from_rows):
    """Krippendorff's nominal data with one rating missing, computed by an independent library."""
    example = block("ALP-03")
    first, second = (
        ["abcde".index(letter) for letter in example["data"][key]] for key in ("observer1", "observer2")
    )
    second[9] = None
    found = coefficients(
        from_rows(list(zip(first, second, strict=True))),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(5),
        interval="fixed_count",
    )
    printed = {"krippendorff_alpha": (0.66489, 0.18007), "gwet_ac": (0.66144, 0.18396)}
    printed |= {"conger_kappa": (0.65714, 0.17943), "brennan_prediger": (0.65909, 0.18527)}
    printed |= {"fleiss_kappa": (0.64935, 0.1913)}
    for name, (value, se) in printed.items():
        assert found.value[name] == pytest.approx(value, abs=HALF_OF_FIFTH_DIGIT), name
        assert found.se[name] == pytest.approx(se, abs=HALF_OF_FIFTH_DIGIT), name


@pytest.mark.parametrize("author", ["landis_koch", "altman", "fleiss"])
def test_benchmarking(block, author):
    """Cumulated probabilities of the bands, and the band that is supported, as printed."""
    example = block("GWT-02")
    names = {"landis_koch": "landis_koch_1977", "altman": "altman_1991", "fleiss": "fleiss_1981"}
    found = benchmark(example["data"]["coeff"], example["data"]["se"], names[author])
    highest_first = found.iloc[::-1]  # as printed
    assert highest_first.p_at_least.tolist() == pytest.approx(
        example["expected"][f"{author}_cum"], abs=HALF_OF_FIFTH_DIGIT
    )
    assert [list(edges) for edges in zip(highest_first.edge_low, highest_first.edge_high, strict=True)] == (
        example["data"]["scales"][author]
    )
    printed = example["expected"]["reported_level_at_95"][author].lower()
    words = {"intermediate to good": "fair to good"}  # the author's own words, where reprints have others
    assert found.index[found.supported].tolist() == [words.get(printed, printed)]
