"""Marginal homogeneity against statsmodels, and tables on which it has no answer."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.contingency_tables import SquareTable

from mentorstats.agreement import marginal_homogeneity
from mentorstats.agreement.margins import homogeneity
from mentorstats.errors import ArgumentError

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}


def from_counts(table):
    first, second = np.unravel_index(np.repeat(np.arange(np.size(table)), np.ravel(table)), np.shape(table))
    n = len(first)
    return pd.DataFrame(
        {"unit": np.tile(range(n), 2), "rater": np.repeat(["a", "b"], n), "level": [*first, *second]}
    )


def found(table, **more):
    return marginal_homogeneity(from_counts(table), **COLUMNS, levels=range(len(table)), **more)


@pytest.mark.parametrize("seed", range(4))
def test_agrees_with_statsmodels(seed):
    table = np.random.default_rng(seed).integers(1, 30, (2 + seed, 2 + seed))
    ours = found(table)
    for name in ("stuart_maxwell", "bhapkar"):
        theirs = SquareTable(table, shift_zeros=False).homogeneity(name)
        assert ours.loc[name, "statistic"] == pytest.approx(theirs.statistic, rel=1e-9)
        assert ours.loc[name, "df"] == theirs.df
        assert ours.loc[name, "p"] == pytest.approx(theirs.pvalue, abs=1e-12)


def test_two_levels_are_mcnemars_test():
    assert found([[20, 8], [3, 11]]).loc["stuart_maxwell", "statistic"] == pytest.approx(25 / 11)


def test_levels_without_disagreement_cost_no_degree_of_freedom():
    """A level that nobody used, and one on which both always agreed, make the usual matrix singular."""
    table = np.array([[10, 4, 2], [6, 9, 1], [3, 5, 8]])
    wide = np.zeros((5, 5), dtype=int)
    wide[np.ix_([0, 1, 2], [0, 1, 2])] = table
    assert homogeneity(wide.astype(float), "stuart_maxwell").df == 2
    unused = found(wide)
    pd.testing.assert_frame_equal(unused, found(table))
    wide[3, 3] = 7
    agreed = found(wide)
    assert agreed.loc["stuart_maxwell", "statistic"] == pytest.approx(
        unused.loc["stuart_maxwell", "statistic"]
    )
    assert agreed.loc["stuart_maxwell", "df"] == 2


def test_levels_that_disagreements_do_not_connect():
    table = [[5, 4, 0, 0], [1, 5, 0, 0], [0, 0, 5, 2], [0, 0, 7, 5]]
    row = found(table).loc["stuart_maxwell"]
    assert row["df"] == 2
    assert row["statistic"] == pytest.approx(9 / 5 + 25 / 9)


@pytest.mark.parametrize(
    ("table", "status"),
    [
        ([[0, 0], [0, 0]], "no_records"),
        ([[9, 0], [0, 0]], "one_level_used"),
        ([[9, 0], [0, 4]], "no_disagreement"),
    ],
)
def test_no_test_is_named(table, status):
    ours = found(table)
    assert set(ours["status"]) == {status}
    assert ours[["statistic", "df", "p"]].isna().all(axis=None)
    assert (ours["status_note"] != "").all()


def test_all_differences_in_one_direction():
    ours = found([[0, 9], [0, 0]])
    assert ours.loc["stuart_maxwell", "statistic"] == pytest.approx(9)
    assert ours.loc["bhapkar", "status"] == "boundary"
    assert np.isnan(ours.loc["bhapkar", "statistic"])


def test_single_ratings_and_one_rater():
    ratings = from_counts([[20, 8], [3, 11]])
    more = pd.concat([ratings, pd.DataFrame({"unit": [99], "rater": ["a"], "level": [1]})])
    one = marginal_homogeneity(more, **COLUMNS, levels=[0, 1])
    assert (one["n_left_out"] == 1).all()
    assert (one["n_units"] == 42).all()
    alone = marginal_homogeneity(ratings[ratings["rater"] == "a"], **COLUMNS, levels=[0, 1])
    assert set(alone["status"]) == {"one_rater"}
    apart = ratings[(ratings["unit"] < 20) == (ratings["rater"] == "a")]
    assert set(marginal_homogeneity(apart, **COLUMNS, levels=[0, 1])["status"]) == {"no_double_scores"}
    three = more.assign(rater=[*ratings["rater"], "c"])
    with pytest.raises(ArgumentError, match=r"3 raters.*Allowed: two"):
        marginal_homogeneity(three, **COLUMNS, levels=[0, 1])


def test_a_tiny_p_value_is_not_zero():
    assert 0 < found([[10, 300], [2, 10]]).loc["stuart_maxwell", "p"] < 1e-50
