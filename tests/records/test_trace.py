"""Every number leads back to the cells it was read from; the same exports give the same store."""

import hashlib

import pandas as pd
import pytest

import mentorstats as ms
from mentorstats import __version__, cli
from mentorstats.errors import ArgumentError, ColumnError, NothingUsableError
from mentorstats.records import reload, store
from mentorstats.records.trace import by_sheet, trace

WIDE = """
[[source]]
file = "people.csv"
table = "placements"
columns = { placement = "Place", candidate = "Who", start = "From" }
constants = { cohort = "2026" }

[[source]]
file = "visits.xlsx"
sheet = "Visits"
table = "observations"
columns = { observation = ["Place", "No"], placement = "Place", date = "Day" }

[[source]]
file = "visits.xlsx"
sheet = "Visits"
table = "ratings"
[source.columns]
observation = ["Place", "No"]
[source.constants]
rubric = "h"
rubric_version = "1"
[[source.raters]]
columns = { rater = "Mentor" }
constants = { rater_role = "mentor" }
criteria = { a = "M aim", b = "M links" }
[[source.raters]]
columns = { rater = "Visitor" }
constants = { rater_role = "supervisor" }
criteria = { a = "S aim", b = "S links" }

[[scale]]
rubric = "h"
version = "1"
levels = ["1", "2", "3"]
criteria = ["a", "b"]
"""


@pytest.fixture
def wide(programme):
    head = ["Place", "No", "Day", "Mentor", "M aim", "M links", "Visitor", "S aim", "S links"]
    programme.csv(
        "people.csv", [["Place", "Who", "From"], ["P1", "C1", "2026-01-05"], ["P2", "C2", "2026-01-05"]]
    )
    programme.workbook(
        "visits.xlsx",
        {
            "Visits": [
                head,
                ["P1", "1", "2026-01-12", "M1", "2", "3", "S1", "1", "3"],
                ["P1", "2", "2026-01-19", "M1", "2", "3", "S1", "2", "3"],
                ["P2", "1", "2026-01-12", "M2", "2", "3", "", "", ""],
            ]
        },
    )
    return programme.mapping(WIDE)


def test_a_rating_leads_to_its_own_column_although_raters_stand_side_by_side(wide):
    found = trace(wide.load(), table="ratings", where={"criterion": "b", "rater": "S1"})
    level = found[found["field"].eq("level")]
    assert level[["file", "sheet", "row", "column"]].to_numpy().tolist() == [
        ["visits.xlsx", "Visits", 2, "S links"],
        ["visits.xlsx", "Visits", 3, "S links"],
    ]
    assert set(found.loc[found["field"].eq("observation"), "column"]) == {"Place + No"}
    fixed = found[found["constant"].ne("")]
    assert dict(zip(fixed["field"], fixed["constant"], strict=True))["rater_role"] == "supervisor"


def test_a_candidate_leads_to_placement_lessons_and_ratings(wide):
    found = trace(wide.load(), candidate="C2")
    rows = found.groupby("table")["row"].agg(set).to_dict()
    assert rows == {"placements": {3}, "observations": {4}, "ratings": {4}}
    lesson = trace(wide.load(), observation="P1 / 2")
    assert lesson.groupby("table")["row"].agg(set).to_dict() == {"observations": {3}, "ratings": {3}}


def test_a_count_of_the_long_table_can_be_traced(wide):
    records = wide.load()
    long = records.long()
    n = len(long[long["cohort"].eq("2026") & long["rater_role"].eq("mentor")])
    found = trace(records, where={"cohort": "2026", "rater_role": "mentor"})
    assert (found["field"].eq("level")).sum() == n


def test_the_cells_hold_what_was_read(programme):
    programme.write()
    for fault in trace(programme.load(), rater="S1").query("table == 'ratings'").itertuples():
        cells = pd.read_csv(programme.folder / fault.file, dtype="str")
        row = cells.iloc[fault.row - 2]
        assert fault.column in cells.columns
        assert row["rater"] == "S1"


def test_a_rater_is_found_in_whatever_role(programme):
    programme.write()
    found = trace(programme.load(), rater="M1")
    assert set(found["table"]) == {"raters", "placements", "ratings"}


@pytest.mark.parametrize(
    ("asked", "error", "told"),
    [
        ({}, ArgumentError, "nothing is asked for"),
        ({"table": "rating"}, ArgumentError, "Did you mean 'ratings'"),
        ({"where": {"crit": "a"}}, ColumnError, "no column 'crit'"),
        ({"candidate": "C9"}, NothingUsableError, "no row was read for candidate 'C9'"),
        ({"candidate": ""}, NothingUsableError, "no row was read"),
    ],
)
def test_what_cannot_be_traced_is_said(wide, asked, error, told):
    with pytest.raises(error, match=told):
        trace(wide.load(), **asked)


def test_the_command_prints_rows_together_and_writes_a_row_a_cell(wide, capsys, tmp_path):
    assert cli.main(["trace", str(wide.folder), "--table", "ratings", "--where", "rater=M1"]) == 0
    said = capsys.readouterr().out
    assert "ratings: visits.xlsx, sheet Visits, rows 2-3" in said
    assert "M aim (level)" in said
    assert "rubric = h" in said
    out = tmp_path / "cells.csv"
    assert cli.main(["trace", str(wide.folder), "--candidate", "C1", "--out", str(out)]) == 0
    assert list(pd.read_csv(out).columns) == ["table", "file", "sheet", "row", "field", "column", "constant"]
    with pytest.raises(SystemExit):
        cli.main(["trace", str(wide.folder), "--where", "rater"])


def test_rows_that_use_other_columns_stand_apart(wide):
    lines = by_sheet(trace(wide.load(), table="ratings"))
    assert [(place, len(columns)) for _, place, columns in lines] == [
        ("visits.xlsx, sheet Visits, rows 2-3", 7),
        ("visits.xlsx, sheet Visits, row 4", 4),
    ]


@pytest.mark.parametrize("block", ["", '[identities]\nfolder = "../private"\n'])
def test_the_same_exports_give_the_same_store_byte_for_byte(wide, tmp_path, block):
    wide.mapping(block + WIDE)
    sums = []
    for name in ("one", "two"):
        ms.load(wide.folder).save(tmp_path / name)
        files = sorted(store.current(tmp_path / name).iterdir())
        sums.append({path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files})
    assert sums[0] == sums[1]
    assert len(sums[0]) == 16


def test_the_store_carries_checksums_of_what_it_was_made_of(wide, tmp_path):
    wide.load().save(tmp_path)
    records = reload(tmp_path)
    told = records.inputs.set_index("name")["value"]
    mapping = (wide.folder / "mapping.toml").read_bytes()
    assert told["mentorstats"] == __version__
    assert told["mapping"] == hashlib.sha256(mapping).hexdigest()
    assert len(told["data dictionary"]) == 64
    sums = records.sources.set_index("file")["sha256"]
    assert sums["people.csv"] == hashlib.sha256((wide.folder / "people.csv").read_bytes()).hexdigest()
    pd.testing.assert_frame_equal(trace(records, candidate="C1"), trace(wide.load(), candidate="C1"))
