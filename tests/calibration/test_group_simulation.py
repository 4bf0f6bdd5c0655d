"""Size and power of the tests of groups, against the committed table."""

import csv
from pathlib import Path

import pytest
from group_simulation import DATA_SETS, SITUATIONS, SUBSET, run
from scipy.stats import binom

TABLE = Path(__file__).parent / "group_simulation.csv"
NULL = ("other raters", "rater r00", "raters alike", "role", "other criteria", "criterion k1", "all criteria")
NULL += ("cut-points", "criteria and cut-points", "spread of a rater")
CHANCE = 1e-3  # that a test of exact size lies outside what is allowed, for each of twenty


def stored():
    with TABLE.open(encoding="utf-8", newline="") as handle:
        return {
            (situation, name): (int(count), int(below), int(first))
            for situation, name, count, below, first in csv.reader(handle)
        }


@pytest.mark.parametrize("question", NULL)
@pytest.mark.parametrize("situation", ["nothing", "profiles"])
def test_nominal_five_per_cent_is_five_per_cent(situation, question) -> None:
    """Also where candidates have strengths of their own on criteria, and where the groups truly differ."""
    count, below, _ = stored()[situation, question]
    assert binom.ppf(CHANCE, count, 0.05) <= below <= binom.isf(CHANCE, count, 0.05)


@pytest.mark.parametrize(
    ("question", "least"),
    [("rater r00", 0.8), ("criterion k1", 0.9), ("cut-points", 0.9), ("criteria and cut-points", 0.95)],
)
def test_what_is_planted_is_found(question, least) -> None:
    count, below, _ = stored()["planted", question]
    assert below / count >= least


def test_the_first_data_set_gives_the_stored_answers() -> None:
    again = run("planted", SUBSET)
    for (situation, name), (_, _, first) in stored().items():
        if situation == "planted":
            assert again[name][1] == first


@pytest.mark.long
@pytest.mark.parametrize("situation", SITUATIONS)
def test_all_data_sets_give_the_stored_answers(situation) -> None:
    again = run(situation, DATA_SETS)
    for (place, name), (count, below, _) in stored().items():
        if place == situation:
            assert again[name] == (count, below)
