"""Concordance and Finn's coefficient: libraries, hand cases and hostile tables."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats.agreement import finn, kendall_w
from mentorstats.errors import ArgumentError, DuplicateRatingError

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}


def long(grid):
    grid = np.asarray(grid)
    n, k = grid.shape
    return pd.DataFrame(
        {"unit": np.repeat(range(n), k), "rater": np.tile(range(k), n), "level": grid.ravel()}
    )


@pytest.mark.parametrize("seed", range(4))
def test_statistic_is_friedmans(seed):
    grid = np.random.default_rng(seed).integers(1, 5, (15, 4))
    found = kendall_w(long(grid), **COLUMNS).loc["kendall_w"]
    theirs = stats.friedmanchisquare(*grid)
    assert found["statistic"] == pytest.approx(theirs.statistic, rel=1e-12)
    assert found["p"] == pytest.approx(theirs.pvalue, rel=1e-9)


def test_mean_rank_correlation_without_ties():
    grid = np.random.default_rng(1).normal(size=(9, 3))
    w = kendall_w(long(grid), **COLUMNS).loc["kendall_w", "value"]
    rho = np.corrcoef(stats.rankdata(grid, axis=0).T)[np.triu_indices(3, 1)].mean()
    assert (3 * w - 1) / 2 == pytest.approx(rho)


def test_same_order_and_no_order():
    same = kendall_w(long([[1, 10], [2, 20], [3, 30], [4, 40]]), **COLUMNS)
    assert same.loc["kendall_w", "value"] == pytest.approx(1)
    none = kendall_w(long([[2, 3]] * 5), **COLUMNS)
    assert set(none["status"]) == {"no_spread"}
    assert none[["value", "statistic", "df", "p"]].isna().all(axis=None)


def test_a_rater_who_ties_everything_counts_as_a_rater():
    found = kendall_w(long([[1, 2], [2, 2], [3, 2], [4, 2]]), **COLUMNS)
    assert found.loc["kendall_w", "value"] == pytest.approx(0.5)


@pytest.mark.parametrize("function", [kendall_w, lambda r, **c: finn(r, **c, levels=[1, 2, 3, 4])])
@pytest.mark.parametrize(
    ("grid", "status"), [(np.zeros((0, 2)), "no_records"), ([[1], [2]], "one_rater"), ([[1, 2]], "one_unit")]
)
def test_nothing_to_compare_is_named(function, grid, status):
    found = function(long(grid), **COLUMNS)
    assert set(found["status"]) == {status}
    assert found[["value", "p"]].isna().all(axis=None)


@pytest.mark.parametrize("function", [kendall_w, lambda r, **c: finn(r, **c, levels=[1, 2, 3, 4])])
def test_incomplete_and_repeated_ratings_are_refused(function):
    ratings = long([[1, 2], [2, 2], [3, 4]])
    with pytest.raises(ArgumentError, match="1 of 3 units"):
        function(ratings.iloc[1:], **COLUMNS)
    with pytest.raises(DuplicateRatingError, match="index 0, 6"):
        function(pd.concat([ratings, ratings.iloc[:1]], ignore_index=True), **COLUMNS)


def test_finn_by_hand():
    """Two raters one apart on one unit of four: error .125 within, chance variance 1.25 for four levels."""
    found = finn(long([[1, 1], [2, 2], [3, 3], [3, 4]]), **COLUMNS, levels=[1, 2, 3, 4])
    row = found.loc["finn_one_way"]
    assert row["value"] == pytest.approx(1 - 0.125 / 1.25)
    assert row["f"] == pytest.approx(10)
    assert row["df1"] == np.inf
    assert row["df2"] == 4
    assert row["p"] == pytest.approx(stats.f.sf(10, 1e12, 4), rel=1e-6)
    assert row["low"] < row["value"] < row["high"] < 1


def test_finn_counts_labels_and_left_out_rows():
    labels = ["Low", "Mid", "High"]
    codes = np.array([[0, 0], [1, 1], [2, 1]])
    named = long(np.array(labels)[codes])
    named.loc[len(named)] = [9, 0, None]
    found = finn(named, **COLUMNS, levels=labels)
    wanted = finn(long(codes + 1), **COLUMNS, levels=[1, 2, 3])
    assert found["value"].to_numpy() == pytest.approx(wanted["value"].to_numpy())
    assert (found["n_left_out"] == 1).all()
    with pytest.raises(ArgumentError, match="not declared"):
        finn(named, **COLUMNS)


def test_finn_without_disagreement():
    found = finn(long([[1, 1], [2, 2], [3, 3]]), **COLUMNS, levels=[1, 2, 3, 4])
    assert set(found["status"]) == {"no_disagreement"}
    assert (found["value"] == 1).all()
    assert found["low"].isna().all()
    assert set(found["interval_method"]) == {"none"}
