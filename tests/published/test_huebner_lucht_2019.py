"""Huebner and Lucht (2019): 6 persons by 4 items, and by 2 occasions; mean squares and likelihood."""

import numpy as np
import pytest

from mentorstats.reliability import d_study, g_study

PRINTED = 5e-5  # half a unit of the fourth decimal; the block has four to six
SAME = 1e-6  # relative: both ways on balanced data without negative components
METHODS = ["anova", "reml"]


def one_facet(block, from_array, method):
    example = block("GTH-01")
    scores = from_array(example["data"]["persons_x_items"], ["person", "item"])
    return example["expected"], g_study(scores, object="person", facets="item", score="score", method=method)


def two_facets(block, from_array, method):
    example = block("GTH-02")
    array = np.reshape(example["data"]["x"], example["data"]["n"])
    scores = from_array(array, ["person", "item", "occasion"])
    return example["expected"], g_study(
        scores, object="person", facets=["item", "occasion"], score="score", method=method
    )


@pytest.mark.parametrize("method", METHODS)
def test_components_of_persons_by_items(block, from_array, method):
    expected, study = one_facet(block, from_array, method)
    assert list(study.components.variance) == pytest.approx(list(expected["var"].values()), abs=PRINTED)
    assert study.components.variance.round(2).tolist() == list(expected["var_2dp"].values())


def test_mean_squares_of_persons_by_items(block, from_array):
    expected, study = one_facet(block, from_array, "auto")
    table = study.components
    assert study.method == "anova"
    for name in ("SS", "df", "MS"):
        assert table[name.lower()].tolist() == pytest.approx(expected[name], abs=PRINTED)


@pytest.mark.parametrize("method", METHODS)
def test_more_items(block, from_array, method):
    expected, study = one_facet(block, from_array, method)
    plans = d_study(study, {"item": [4, 10]}).set_index("item")
    for items, values in expected["D"].items():
        plan = plans.loc[int(items)]
        assert plan.relative_error == pytest.approx(values["rel"], abs=PRINTED)
        assert plan.absolute_error == pytest.approx(values["abs"], abs=PRINTED)
        assert plan.generalizability == pytest.approx(values["Erho2"], abs=PRINTED)
        assert plan.dependability == pytest.approx(values["Phi"], abs=PRINTED)


@pytest.mark.parametrize("method", METHODS)
def test_persons_by_items_by_occasions(block, from_array, method):
    expected, study = two_facets(block, from_array, method)
    assert list(study.components.variance) == pytest.approx(list(expected["var"].values()), abs=PRINTED)
    if method == "anova":
        assert list(study.components.ms) == pytest.approx(list(expected["MS"].values()), abs=PRINTED)
    plans = d_study(study, {"item": [1, 4, 5], "occasion": [1, 2, 3]}).set_index(["item", "occasion"])
    for sizes, values in expected["D_ni_no"].items():
        plan = plans.loc[tuple(map(int, sizes.split(",")))]
        found = [plan.relative_error, plan.absolute_error, plan.generalizability, plan.dependability]
        assert found == pytest.approx(list(values.values()), abs=PRINTED)


def test_both_ways_are_the_same(block, from_array):
    for example in (one_facet, two_facets):
        by_squares, by_likelihood = (example(block, from_array, method)[1] for method in METHODS)
        np.testing.assert_allclose(
            by_likelihood.components.variance, by_squares.components.variance, rtol=SAME
        )
