"""Proposals for layouts of exports: ten in full, thirty by their table, also with meaningless headings."""

import csv
from pathlib import Path

import pytest
from propose.export_layouts import Layout, judged
from propose.score_layouts import COLUMNS, SEEDS, scored

from mentorstats.records.propose import propose

FIXED = (0, 3, 7, 11, 14, 16, 18, 21, 26, 28)  # of each kind of file and of form
LEAST_RIGHT = 0.95  # share of columns
TABLE = Path(__file__).parent / "layouts.csv"


def told():
    with TABLE.open(encoding="utf-8") as opened:
        rows = list(csv.DictReader(opened))
    return [{name: row[name] if name == "features" else int(row[name]) for name in COLUMNS} for row in rows]


@pytest.mark.parametrize("seed", FIXED)
def test_a_layout_is_proposed_for_as_the_table_says(tmp_path, seed):
    row = scored(seed, tmp_path / "exports")
    assert row == told()[seed]
    assert row["right"] >= LEAST_RIGHT * row["columns"]
    # Not only headings: every level arrives, and its rank.
    assert row["levels_loaded"] == row["levels_given"]
    assert row["sum_loaded"] == row["sum_given"]


def test_the_table_of_thirty_reaches_what_it_must():
    rows = told()
    assert [row["layout"] for row in rows] == list(SEEDS)
    assert sum(row["right"] for row in rows) >= LEAST_RIGHT * sum(row["columns"] for row in rows)
    assert sum(row["wrong_and_sure"] for row in rows) == 0
    features = " ".join(row["features"] for row in rows)
    for feature in (
        "two rows", "hidden", "totals", "blanks", "titles", "utf-16", "cp1252",
        "parquet", "dates:fr",
                    "key:date", "key:number", "roles:placements", "sides", "long form", "surname apart",
                    "levels:points", "a sheet a term",
    ):  # fmt: skip
        assert feature in features


def test_wrong_guesses_are_among_those_marked_unsure(tmp_path):
    """A quarter of the headings say nothing; what is then wrong or left out is said to be unsure."""
    columns = []
    for seed in (1, 4, 9, 13):
        layout = Layout(seed, noise=0.25).write(tmp_path / str(seed))
        columns += judged(layout, propose(tmp_path / str(seed)))
    wrong = [one for one in columns if not one.right]
    assert len(wrong) >= 8, "the headings that say nothing make no difference: nothing is tested"
    assert [one.place for one in wrong if not one.unsure] == []
    assert sum(one.unsure for one in columns) < 0.5 * len(columns)
