"""Desjardins and Bulut (2018): essays of 10 students on 5 prompts, each read by 2 raters."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.reliability import d_study, g_study

PRINTED = 5.1e-6  # half a unit of the fifth decimal
SAME = 1e-6
NAMES = {
    "s": "students",
    "p": "prompts",
    "r": "raters",
    "sp": "students × prompts",
    "sr": "students × raters",
    "pr": "prompts × raters",
    "spr": "students × prompts × raters, residual",
}


def studied(block, method):
    scores = pd.DataFrame(block("GTH-08")["data"])
    return g_study(scores, object="students", facets=["prompts", "raters"], score="scores", method=method)


@pytest.mark.parametrize("method", ["anova", "reml"])
def test_components_and_projections(block, method):
    expected, study = block("GTH-08")["expected"], studied(block, method)
    for name, value in expected["var"].items():
        assert study.components.variance[NAMES[name]] == pytest.approx(value, abs=PRINTED)
        if method == "anova":
            assert study.components.ms[NAMES[name]] == pytest.approx(expected["MS"][name], abs=PRINTED)
    two, three = d_study(study, {"prompts": 5, "raters": [2, 3]}).itertuples()
    values = expected["D_5prompts_2raters"]
    assert two.relative_error == pytest.approx(values["rel"], abs=PRINTED)
    assert two.absolute_error == pytest.approx(values["abs"], abs=PRINTED)
    for plan, name in ((two, "D_5prompts_2raters"), (three, "D_5prompts_3raters")):
        assert plan.generalizability == pytest.approx(expected[name]["Erho2"], abs=PRINTED)
        assert plan.dependability == pytest.approx(expected[name]["Phi"], abs=PRINTED)


def test_both_ways_are_the_same(block):
    by_squares, by_likelihood = (studied(block, method).components.variance for method in ("anova", "reml"))
    np.testing.assert_allclose(by_likelihood, by_squares, rtol=SAME)
