"""Brennan (2001), Table 3.2: 10 persons, 3 tasks, 4 raters in each task; mean squares and likelihood."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.reliability import d_study, g_study

PRINTED = 5.1e-5  # half a unit of the fourth decimal
SAME = 1e-6  # relative: both ways on balanced data without negative components
METHODS = ["anova", "reml"]
NAMES = {
    "p": "Person",
    "t": "Task",
    "r:t": "Rater in Task",
    "pt": "Person × Task",
    "pr:t": "Person × Rater in Task, residual",
}


def studied(block, method):
    data = block("GTH-03")["data"]
    scores = pd.DataFrame({name: data[name] for name in data["columns"]})
    return g_study(
        scores,
        object="Person",
        facets=["Task", "Rater"],
        nested={"Rater": "Task"},
        score="Score",
        method=method,
    )


@pytest.mark.parametrize("method", METHODS)
def test_components(block, method):
    study = studied(block, method)
    for name, value in block("GTH-03")["expected"]["var"].items():
        assert study.components.variance[NAMES[name]] == pytest.approx(value, abs=PRINTED)
    assert study.design.text == "Person × (Rater in Task)"


def test_mean_squares(block):
    expected, study = block("GTH-03")["expected"], studied(block, "auto")
    for name, value in expected["MS"].items():
        assert study.components.ms[NAMES[name]] == pytest.approx(value, abs=PRINTED)
        assert study.components.df[NAMES[name]] == expected["df"][name]


def test_both_ways_are_the_same(block):
    by_squares, by_likelihood = (studied(block, method).components.variance for method in METHODS)
    np.testing.assert_allclose(by_likelihood, by_squares, rtol=SAME)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("example", ["GTH-03", "GTH-04"])
def test_projections(block, method, example):
    """12 ratings in all are worth more as 12 tasks by 1 rater than as 3 by 4."""
    sizes = {"Task": [1, 3, 6, 12], "Rater": [1, 2, 4]}
    plans = d_study(studied(block, method), sizes).set_index(["Task", "Rater"])
    names = {"rel": "relative_error", "abs": "absolute_error", "Erho2": "generalizability"}
    for plan, values in block(example)["expected"]["D_nt_nr"].items():
        for name, value in values.items():
            found = plans.loc[tuple(map(int, plan.split(","))), names.get(name, "dependability")]
            assert found == pytest.approx(value, abs=PRINTED)
