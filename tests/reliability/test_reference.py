"""Incomplete designs against lme4 (tests/reference/generalizability), limits of one step against profiles."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError
from mentorstats.reliability import d_study, g_study

FOLDER = Path(__file__).parents[1] / "reference" / "generalizability"
OPTIMUM = 2e-5  # relative; lme4 stops where its criterion no longer changes
ONE_STEP = 0.02  # relative, of a limit: the other parameters take a step instead of being fitted again
ONE_STEP_RESIDUAL = 0.05  # the same where another variance is at zero and would leave it
FLOOR = 0.003  # a limit this near zero may be zero in the one and not in the other

ASKED = {
    "visits": {"facets": ["lesson", "rater"], "nested": {"lesson": "candidate"}, "covariates": "week"},
    "nested": {"facets": ["occasion", "rater"], "nested": {"rater": "occasion"}},
    "spanning": {"facets": ["lesson", "rater"], "nested": {"lesson": "candidate"}},  # one effect a row
}
NAMES = {
    "candidate:rater": "candidate × rater",
    "candidate:lesson": "lesson in candidate",
    "lesson": "lesson in candidate",
    "candidate:occasion": "candidate × occasion",
    "occasion:rater": "rater in occasion",
}


def study(name, **more):
    scores = pd.read_csv(FOLDER / "data" / f"{name}.csv")
    more.setdefault("limits", "one_step")
    return g_study(scores, object="candidate", score="score", **ASKED[name], **more)


@pytest.mark.parametrize("name", ASKED)
def test_components_of_incomplete_designs(name):
    made = pd.read_csv(FOLDER / "values.csv").query("design == @name").set_index("component").variance
    found = study(name).components.variance
    residual = next(label for label in found.index if label.endswith(", residual"))
    for component, value in made.items():
        label = residual if component == "Residual" else NAMES.get(component, component)
        assert found[label] == pytest.approx(value, rel=OPTIMUM)
    assert len(found.dropna()) == len(made)


@pytest.mark.parametrize("name", ["visits", "nested"])  # with one effect a row a step is too far
def test_limits_of_one_step(name):
    one, other = (study(name, limits=limits) for limits in ("one_step", "profile"))
    assert set(one.components.interval_method) == {"one_step_profile"}
    np.testing.assert_array_equal(one.components.variance, other.components.variance)
    for side in ("low", "high"):
        np.testing.assert_allclose(
            one.components[side], other.components[side], rtol=ONE_STEP_RESIDUAL, atol=FLOOR
        )
    sizes = {ASKED[name]["facets"][0]: [1, 4], "rater": [1, 2]}
    plans = [d_study(found, sizes) for found in (one, other)]
    for column in ("dependability_low", "dependability_high"):
        np.testing.assert_allclose(plans[0][column], plans[1][column], atol=0.01)


def test_limits_of_one_step_where_variances_are_zero_or_hardly_known():
    """Six incomplete programmes with a component near zero; profile limits stand beside."""
    of = {"candidate": 0.4, "lesson in candidate": 0.1, "rater": 0.06, "candidate × rater": 0.02}
    of["lesson × rater in candidate"] = 0.3
    sizes = {"candidate": 30, "lesson": 3, "rater": 5}
    zeros = 0
    for seed in range(6):
        scores = drawn(sizes, of, nested={"lesson": "candidate"}, seed=seed)
        scores = scores.sample(frac=0.6, random_state=1)
        one, other = (
            g_study(scores, object="candidate", score="score", limits=limits, **asked()).components
            for limits in ("one_step", "profile")
        )
        zeros += int((one.variance == 0).sum())
        last = len(one) - 1
        for side in ("low", "high"):
            a, b = one[side].to_numpy(), other[side].to_numpy()
            np.testing.assert_allclose(a[:last], b[:last], rtol=ONE_STEP, atol=FLOOR)
            np.testing.assert_allclose(a[last], b[last], rtol=ONE_STEP_RESIDUAL)
    assert zeros


def asked():
    return {"facets": ["lesson", "rater"], "nested": {"lesson": "candidate"}}


def test_limits_that_are_not_known():
    with pytest.raises(ArgumentError, match="limits"):
        study("nested", limits="wald")


def test_shares_have_limits_around_them():
    scores = drawn({"p": 30, "r": 4}, {"p": 1, "r": 0.2, "p × r": 0.5}, seed=2)
    for method in ("anova", "reml"):
        found = g_study(scores, object="p", facets="r", score="score", method=method).components
        assert (found.share_low < found.share).all()
        assert (found.share < found.share_high).all()
