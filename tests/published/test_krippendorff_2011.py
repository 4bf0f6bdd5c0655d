"""Krippendorff (2011), Computing Krippendorff's alpha-reliability [krippendorff_2011].

The four values of section C and the data of sections A and B are from memory; general libraries return
the former.
"""

import pytest

from mentorstats.agreement import coefficients

PRINTED = 5e-4
FULL = 5e-8


def alpha(ratings, levels, weights="identity"):
    found = coefficients(ratings, unit="unit", rater="rater", level="level", levels=levels, weights=weights)
    return found.loc["krippendorff_alpha"]


@pytest.mark.parametrize(
    ("weights", "metric"),
    [("identity", "nominal"), ("ordinal", "ordinal"), ("quadratic", "interval"), ("ratio", "ratio")],
)
def test_four_observers_twelve_units(block, from_rows, weights, metric):
    example = block("ALP-01")
    found = alpha(from_rows(example["data"]["units_x_observers"]), [1, 2, 3, 4, 5], weights)
    assert found.value == pytest.approx(example["expected"][metric], abs=PRINTED)
    assert found.value == pytest.approx(example["expected"][f"{metric}_full"], abs=FULL)
    assert found.n_ratings == example["expected"]["n_pairable"]
    assert metric in found.status_note


def test_binary_data(block, from_rows):
    example = block("ALP-02")
    rows = list(zip(example["data"]["observer1"], example["data"]["observer2"], strict=True))
    assert alpha(from_rows(rows), [0, 1]).value == pytest.approx(
        example["expected"]["nominal_full"], abs=FULL
    )


def test_nominal_data(block, from_rows):
    example = block("ALP-03")
    first, second = (
        ["abcde".index(letter) for letter in example["data"][key]] for key in ("observer1", "observer2")
    )
    ratings = from_rows(list(zip(first, second, strict=True)))
    assert alpha(ratings, range(5)).value == pytest.approx(example["expected"]["nominal_full"], abs=FULL)
    kappa = coefficients(ratings, unit="unit", rater="rater", level="level", levels=range(5)).value[
        "cohen_kappa"
    ]
    assert kappa == pytest.approx(example["expected"]["cohen_kappa"], abs=FULL)
