"""Pairs are same lesson, criterion and version, different raters of two roles."""

import pandas as pd
import pytest

from mentorstats.agreement import coefficients, double_scored, stacked
from mentorstats.agreement.counts.flow import checks
from mentorstats.errors import ArgumentError, ColumnError


def long_table():
    rows = [
        ("o1", "x", "m1", "mentor", "2", 2, True),
        ("o1", "x", "s1", "supervisor", "3", 3, True),
        ("o1", "x", "s2", "supervisor", "1", 1, False),
        ("o1", "y", "m1", "mentor", None, None, True),
        ("o1", "y", "s1", "supervisor", "3", 3, True),
        ("o2", "x", "m1", "mentor", "4", 4, None),
        ("o2", "x", "s1", "supervisor", "4", 4, True),
        ("o3", "x", "m1", "mentor", "4", 4, True),
    ]
    names = ["observation", "criterion", "rater", "rater_role", "level", "rank", "independent"]
    frame = pd.DataFrame(rows, columns=names).assign(rubric="hearthside", rubric_version="1", candidate="c1")
    frame["level"] = pd.Categorical(frame["level"], ["1", "2", "3", "4"], ordered=True)
    return frame.astype({"rank": "Int8", "independent": "boolean"})


def test_each_pair_once():
    pairs = double_scored(long_table())
    found = list(
        zip(
            pairs["observation"],
            pairs["rater_first"],
            pairs["rater_second"],
            pairs["difference"],
            strict=True,
        )
    )
    assert found == [("o1", "m1", "s1", -1), ("o1", "m1", "s2", 1), ("o2", "m1", "s1", 0)]
    assert pairs["independent"].astype("object").where(pairs["independent"].notna(), None).tolist() == [
        True,
        False,
        None,
    ]
    assert list(pairs["level_first"].cat.categories) == ["1", "2", "3", "4"]


def test_two_raters_of_one_role():
    pairs = double_scored(long_table(), roles=("supervisor", "supervisor"))
    assert list(zip(pairs["rater_first"], pairs["rater_second"], strict=True)) == [("s1", "s2")]


def test_stacked_pairs_feed_the_coefficients():
    pairs = double_scored(long_table())
    both = stacked(pairs)
    assert len(both) == 6
    found = coefficients(both, unit="pair", rater="side", level="level", interval="none")
    assert found.value["percent_agreement"] == pytest.approx(1 / 3)
    assert found.n_units["cohen_kappa"] == 3


def test_refusals():
    with pytest.raises(ColumnError, match="'independent'"):
        double_scored(long_table().drop(columns="independent"))
    with pytest.raises(ArgumentError, match="both sides"):
        stacked(double_scored(long_table()), names=("a", "a"))


@pytest.mark.parametrize("key", ["observation", "criterion", "rubric_version"])
def test_a_missing_key_pairs_with_nothing(key):
    nameless = long_table().iloc[[0, 1, 5, 6]]
    nameless.loc[nameless.index[:2], key] = None
    assert list(double_scored(nameless)["observation"]) == ["o2"]
    assert checks(nameless)["other_role_too"].tolist() == [False, False, True, True]


def test_any_two_raters_each_pair_once():
    pairs = double_scored(long_table(), roles=None)
    found = set(pairs[["observation", "criterion", "rater_first", "rater_second"]].itertuples(index=False))
    assert found == {
        ("o1", "x", "m1", "s1"),
        ("o1", "x", "m1", "s2"),
        ("o1", "x", "s1", "s2"),
        ("o2", "x", "m1", "s1"),
    }
    assert len(pairs) == 4
    assert set(pairs["rater_role_second"]) == {"supervisor"}
