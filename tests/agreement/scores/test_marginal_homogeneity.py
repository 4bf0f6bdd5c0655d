"""Marginal homogeneity against statsmodels, and tables on which it has no answer."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.contingency_tables import SquareTable

from mentorstats.agreement import marginal_homogeneity
from mentorstats.agreement.scores.marginal_homogeneity import homogeneity
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


def clustered(ratings, cluster):
    return marginal_homogeneity(
        ratings.assign(c=cluster), **COLUMNS, levels=sorted(ratings["level"].unique()), cluster="c"
    )


TABLE = [[20, 8, 3], [5, 30, 9], [1, 4, 25]]


def test_where_every_unit_is_a_cluster_it_is_bhapkars_test_but_for_one_degree():
    ratings = from_counts(TABLE)
    n = ratings["unit"].nunique()
    ours = clustered(ratings, ratings["unit"])
    assert ours.loc["between_clusters", "statistic"] == pytest.approx(
        ours.loc["bhapkar", "statistic"] * (n - 1) / n
    )
    left = n - 2
    p = stats.f.sf(ours.loc["between_clusters", "statistic"] * left / (2 * (n - 1)), 2, left)
    assert ours.loc["between_clusters", "p"] == pytest.approx(p)


def test_the_same_pairs_twice_in_one_cluster_tell_nothing_more():
    ratings = from_counts(TABLE)
    once = clustered(ratings, ratings["unit"])
    twice = pd.concat([ratings, ratings.assign(unit=ratings["unit"] + 1000)], ignore_index=True)
    again = clustered(twice, twice["unit"] % 1000)
    assert again.loc["bhapkar", "statistic"] == pytest.approx(2 * once.loc["bhapkar", "statistic"])
    row, wanted = again.loc["between_clusters"], once.loc["between_clusters"]
    assert row["statistic"] == pytest.approx(wanted["statistic"])
    assert (row["n_clusters"], row["p"]) == (wanted["n_clusters"], pytest.approx(wanted["p"]))


def test_equal_clusters_are_hotellings_test_of_their_sums():
    ratings = from_counts(TABLE)
    ratings = ratings[ratings["unit"] < 104]
    ours = clustered(ratings, ratings["unit"] % 26).loc["between_clusters"]
    wide = ratings.pivot(index="unit", columns="rater", values="level")
    each = pd.DataFrame({level: (wide["a"] == level) * 1 - (wide["b"] == level) for level in (0, 1)})
    sums = each.groupby(each.index % 26).sum().to_numpy()
    t2 = 26 * sums.mean(axis=0) @ np.linalg.solve(np.cov(sums.T), sums.mean(axis=0))
    assert ours["statistic"] == pytest.approx(t2)
    assert ours["p"] == pytest.approx(stats.f.sf(t2 * 24 / (2 * 25), 2, 24))


def test_few_clusters_have_a_warning_and_very_few_no_test():
    ratings = from_counts(TABLE)
    few = clustered(ratings, ratings["unit"] % 12).loc["between_clusters"]
    assert few["status"] == "few_clusters"
    assert 0 < few["p"] < 1
    none = clustered(ratings, ratings["unit"] % 5).loc["between_clusters"]
    assert none["status"] == "too_few_clusters"
    assert np.isnan(none["p"])
    one = from_counts([[40, 1], [0, 9]])
    lonely = clustered(one, one["unit"] % 10).loc["between_clusters"]
    assert lonely["statistic"] == pytest.approx(1.0)  # one pair of one cluster differs: d² = V
