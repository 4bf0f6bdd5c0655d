"""Rajaratnam, Cronbach and Gleser (1965), Table 2: three subtests of 2, 4 and 2 items, 8 persons."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.reliability import composite, g_study, profile_study

PRINTED = 5.1e-5
SAME = 1e-6
NAMES = {"p": "Person", "i": "Item", "pi": "Person × Item, residual"}


@pytest.fixture
def scores(block):
    return pd.DataFrame(block("GTH-11")["data"])


@pytest.fixture
def study(scores):
    return profile_study(scores, object="Person", facets="Item", score="Score", by="Subtest")


def test_each_subtest(block, scores, study):
    for subtest, expected in block("GTH-11")["expected"]["var_by_subtest"].items():
        rows = scores[scores.Subtest == int(subtest)]
        likelihood = g_study(rows, object="Person", facets="Item", score="Score", method="reml")
        table = study.studies[int(subtest)].components
        for name, value in expected.items():
            assert table.variance[NAMES[name]] == pytest.approx(value, abs=PRINTED)
        np.testing.assert_allclose(likelihood.components.variance, table.variance, rtol=SAME)


def test_covariances_of_universe_scores(block, study):
    expected = block("GTH-11")["expected"]
    for pair, value in expected["universe_covariance"].items():
        first, second = map(int, pair.split(","))
        assert study.universe.loc[first, second] == pytest.approx(value, abs=PRINTED)
        assert study.universe.loc[second, first] == study.universe.loc[first, second]


def test_variances_of_observed_means(block, study):
    for (_, one), items, value in zip(
        study.studies.items(),
        (2, 4, 2),
        block("GTH-11")["expected"]["observed_mean_score_variance"],
        strict=True,
    ):
        raw = one.components.variance
        assert raw["Person"] + raw.iloc[-1] / items == pytest.approx(value, abs=PRINTED)


def test_a_weighted_sum_is_what_its_parts_make_it(study):
    """All weight on one subtest is that subtest; equal weights add what the covariances say."""
    items = {"Item": {1: 2, 2: 4, 3: 2}}
    alone = composite(study, {1: 0, 2: 1, 3: 0}, items)
    raw = study.studies[2].components.variance
    assert alone.universe_variance == pytest.approx(raw["Person"])
    assert alone.relative_error == pytest.approx(raw.iloc[-1] / 4)
    whole = composite(study, {1: 1, 2: 1, 3: 1}, items)
    assert whole.universe_variance == pytest.approx(study.universe.to_numpy().sum())
    assert whole.dependability < whole.generalizability
