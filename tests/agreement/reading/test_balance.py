"""Differences are those of the formula, weights those of the model, and both say when they fail."""

import math
import warnings

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import inverse_probability_weights, likeness
from mentorstats.agreement.reading.balance import effective_size
from mentorstats.errors import ArgumentError, ColumnError

COLUMNS = ["week", "site"]


def lessons(seed=1, n=2000):
    """Later weeks and one site are double-scored more often, by a known logistic model."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame({"week": rng.integers(1, 15, n), "site": rng.choice(["Moss", "Fen", "Ridge"], n)})
    log_odds = -2 + 0.2 * table["week"] + 0.8 * (table["site"] == "Fen")
    table["truth"] = 1 / (1 + np.exp(-log_odds))
    table["double_scored"] = rng.random(n) < table["truth"]
    return table.rename_axis("observation")


def test_differences_by_hand():
    table = pd.DataFrame(
        {
            "week": [1, 3, 2, 4, 6, None],
            "site": ["a", "b", "a", "b", None, "b"],
            "double_scored": [True, True, False, False, False, True],
        }
    )
    found = likeness(table, COLUMNS)
    spread = math.sqrt((np.var([1, 3]) + np.var([2, 4, 6])) / 2)
    assert found.value["week", ""] == pytest.approx((2 - 4) / spread)
    assert found.loc[("week", ""), ["n_double_scored", "n_single_scored"]].tolist() == [2, 3]
    p, q = 1 / 3, 1 / 3
    assert found.value["site", "a"] == pytest.approx((p - q) / math.sqrt((p * (1 - p) + q * (1 - q)) / 2))
    assert found.mean_double_scored["site", "b"] == pytest.approx(2 / 3)
    assert ("site", "not recorded") in found.index


def test_sides_without_lessons_or_spread_are_named():
    table = pd.DataFrame({"week": [1, 1, 2, 2], "double_scored": [True, True, False, False]})
    assert likeness(table, ["week"]).status.tolist() == ["no_spread"]
    assert likeness(table.assign(double_scored=False), ["week"]).status.tolist() == ["no_double_scores"]
    assert likeness(table.assign(double_scored=True), ["week"]).status.tolist() == ["no_records"]
    assert likeness(table.assign(week=3), ["week"]).value.tolist() == [0.0]


def test_weights_recover_the_probabilities_and_balance_the_lessons():
    table = lessons()
    found = inverse_probability_weights(table, COLUMNS, trim=1)
    assert found.status == "ok"
    assert np.abs(found.probability - table["truth"]).max() < 0.08  # 2,000 lessons, four terms
    before = likeness(table, COLUMNS)["value"]
    after = likeness(table, COLUMNS, weights=found.weights)["value"]
    assert before.abs().max() > 0.4
    assert after.abs().max() < 0.03
    double = table["double_scored"]
    assert found.weights[double].mean() == pytest.approx(1, abs=0.05)
    assert found.n_trimmed == 0


def test_fitted_probabilities_solve_the_score_equations():
    table = lessons(n=300)
    left = table["double_scored"] - inverse_probability_weights(table, COLUMNS).probability
    assert left.sum() == pytest.approx(0, abs=1e-6)
    assert (left * table["week"]).sum() == pytest.approx(0, abs=1e-5)
    assert left.groupby(table["site"]).sum().abs().max() < 1e-6


def test_trimming_cuts_the_largest_and_gains_effective_lessons():
    table = lessons()
    whole = inverse_probability_weights(table, COLUMNS, trim=1)
    cut = inverse_probability_weights(table, COLUMNS, trim=0.9)
    double = table["double_scored"]
    assert cut.weights[double].max() == pytest.approx(whole.weights[double].quantile(0.9))
    assert cut.n_trimmed == (whole.weights[double] > cut.weights[double].max()).sum() > 0
    assert cut.largest_weight == whole.largest_weight == whole.weights[double].max()
    assert whole.n_effective < cut.n_effective < double.sum()
    row = cut.to_frame().iloc[0]
    assert (row.n_lessons, row.n_effective, row.reference) == (2000, cut.n_effective, "cole_hernan_2008")


def test_effective_size():
    assert effective_size(np.full(7, 3.0)) == pytest.approx(7)
    assert effective_size(np.array([1.0, 0.0, 0.0])) == pytest.approx(1)
    assert effective_size(np.array([1.0, 2.0])) == pytest.approx(9 / 5)


def test_a_category_never_double_scored_is_not_represented():
    table = lessons()
    table.loc[table["site"] == "Ridge", "double_scored"] = False
    found = inverse_probability_weights(table, COLUMNS)
    ridge = table["site"] == "Ridge"
    assert found.n_not_represented == ridge.sum()
    assert found.weights[ridge].isna().all()
    assert found.weights[~ridge].notna().all()
    assert "categories" in found.status_note


def test_a_category_always_double_scored_needs_no_model():
    table = lessons()
    table.loc[table["site"] == "Ridge", "double_scored"] = True
    found = inverse_probability_weights(table, COLUMNS)
    ridge = table["site"] == "Ridge"
    assert (found.probability[ridge] == 1).all()
    assert found.status == "ok"
    assert np.isfinite(found.weights).all()


def test_missing_values_are_not_left_out():
    table = lessons().astype({"week": "float64", "site": "object"})
    table.loc[table.index[::7], "week"] = np.nan
    table.loc[table.index[::11], "site"] = None
    found = inverse_probability_weights(table, COLUMNS)
    assert found.weights.notna().all()
    balanced = likeness(table, COLUMNS, weights=found.weights)["value"]
    assert balanced.abs().max() < 0.05


def test_separation_is_named():
    table = lessons(n=200)
    table["double_scored"] = table["week"] > 7
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = inverse_probability_weights(table, ["week"])
    assert found.status == "separated"
    assert found.weights.isna().all()
    assert math.isnan(found.n_effective)


def test_nothing_double_scored_is_named():
    found = inverse_probability_weights(lessons(n=50).assign(double_scored=False), COLUMNS)
    assert found.status == "no_double_scores"
    assert found.weights.isna().all()


def test_everything_double_scored_weighs_the_same():
    found = inverse_probability_weights(lessons(n=50).assign(double_scored=True), COLUMNS)
    assert (found.weights == 1).all()
    assert found.n_effective == pytest.approx(50)


def test_wrong_arguments():
    table = lessons(n=50)
    with pytest.raises(ColumnError, match="'mode'"):
        likeness(table, ["mode"])
    with pytest.raises(ArgumentError, match="no column"):
        likeness(table, [])
    with pytest.raises(ArgumentError, match="neither"):
        likeness(table.assign(double_scored=2), COLUMNS)
    with pytest.raises(ArgumentError, match="a fraction above"):
        inverse_probability_weights(table, COLUMNS, trim=0.3)
    with pytest.raises(ArgumentError, match="not those of these lessons"):
        likeness(table, COLUMNS, weights=pd.Series([1.0], index=["elsewhere"]))
