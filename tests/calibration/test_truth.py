"""Marks, intervals and errors of severity against known truth, from the committed table of simulations."""

import pandas as pd
import pytest
from truth import SITUATIONS, SUBSET, TABLE, Q, again

RANDOM = SITUATIONS[:5]
COVERED = (0.93, 0.97)
THIN = 0.2  # what squared errors may gain, as Laplace's approximation understates variances of three ratings
SAME = {"rel": 1e-6, "abs": 1e-6}  # another machine's rounding


@pytest.fixture(scope="module")
def stored():
    return pd.read_csv(TABLE).set_index(["situation", "quantity"])


def told(row):
    """A mean with its Monte Carlo error and the number of programmes, for messages."""
    return f"{row.name}: {row['mean']:.4f} ± {row['error']:.4f}, {row['programmes']:.0f} programmes"


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda situation: situation.name)
def test_the_first_programmes_give_the_stored_counts(stored, situation) -> None:
    made = again(situation, SUBSET)
    there = stored.loc[situation.name]
    assert set(made.index) <= set(there.index)
    for quantity, row in made.iterrows():
        assert row["first"] == pytest.approx(there.loc[quantity, "first"], **SAME), quantity


def test_nearly_every_programme_has_values(stored) -> None:
    for situation in SITUATIONS:
        row = stored.loc[(situation.name, "no value")]
        assert row["mean"] <= 0.005, told(row)


@pytest.mark.parametrize("situation", RANDOM, ids=lambda situation: situation.name)
def test_false_discoveries_stay_under_q(stored, situation) -> None:
    row = stored.loc[(situation.name, "false discovery proportion")]
    assert row["mean"] <= Q + 2 * row["error"], told(row)


@pytest.mark.parametrize("situation", RANDOM[1:], ids=lambda situation: situation.name)
def test_planted_raters_are_found(stored, situation) -> None:
    row = stored.loc[(situation.name, "planted raters who are marked")]
    assert row["mean"] >= (0.9 if situation.size == 3 else 0.5), told(row)


def test_reliability_is_about_what_it_is_meant_to_be(stored) -> None:
    row = stored.loc[("none planted", "reliability of a contrast")]
    assert row["mean"] == pytest.approx(0.7, abs=0.05), told(row)


def test_shrunken_intervals_cover_raters_drawn_from_the_model(stored) -> None:
    row = stored.loc[("none planted", "intervals of all raters")]
    assert COVERED[0] <= row["mean"] <= COVERED[1], told(row)
    spread = stored.loc[("none planted", "sd inside its interval")]
    assert spread["mean"] >= COVERED[0] - 2 * spread["error"], told(spread)


def test_one_at_a_time_errs_by_about_what_it_says_and_all_together_by_more(stored) -> None:
    for situation in RANDOM:
        one = stored.loc[(situation.name, "squared error over its square, one at a time")]
        both = stored.loc[(situation.name, "squared error over its square, together")]
        assert 1 - 2 * one["error"] <= one["mean"] <= 1 + THIN, told(one)
        assert both["mean"] > one["mean"] + 2 * one["error"], told(both)


def test_where_no_rater_differs_marks_are_few_but_more_than_told(stored) -> None:
    there = stored.loc["raters alike"]
    marks, expected = there.loc["marks"], there.loc["marks by chance", "mean"]
    assert 1.5 * expected < marks["mean"] < 3.5 * expected, told(marks)
    anyone = there.loc["false discovery proportion"]
    assert anyone["mean"] <= 0.15, told(anyone)


def test_raters_whose_candidates_were_not_assigned_at_random_are_covered_less(stored) -> None:
    alone, mixed = (stored.loc[(s.name, "intervals of all raters")] for s in SITUATIONS[6:])
    assert alone["mean"] < 0.90, told(alone)
    assert alone["mean"] < mixed["mean"], told(mixed)


@pytest.mark.long
@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda situation: situation.name)
def test_all_programmes_give_the_stored_table(stored, situation) -> None:
    there = stored.loc[situation.name]
    made = again(situation, int(there["programmes"].max()))
    assert made["mean"].to_numpy() == pytest.approx(there["mean"].to_numpy(), **SAME)
    assert made["programmes"].tolist() == there["programmes"].tolist()
