"""The same records in CSV, XLSX and Parquet are the same frames, and no file is touched."""

import datetime as dt

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from mentorstats import dictionary
from mentorstats.records import long, problems
from mentorstats.records.loading import SOURCE_COLUMNS

PROVENANCE = ["file", "sheet", "row"]
KINDS = ("csv", "xlsx", "parquet")


@pytest.mark.parametrize("kind", KINDS)
def test_every_format_gives_the_same_frames(programme, tmp_path, kind):
    expected = programme.write("csv").load()
    other = type(programme)(tmp_path).write(kind).load()
    assert len(expected.problems) == len(other.problems) == 0
    for name in dictionary.tables():
        drop = PROVENANCE[:2] if kind != "csv" else []
        pd.testing.assert_frame_equal(
            other.tables[name].drop(columns=drop), expected.tables[name].drop(columns=drop)
        )
        assert tuple(expected.tables[name].columns) == (*dictionary.table(name).names, *PROVENANCE)


@pytest.mark.parametrize("kind", KINDS)
def test_na_and_leading_zeros_survive(programme, kind):
    records = programme.write(kind).load()
    assert records.placements["site"].tolist() == ["NA", "north"]
    assert records.placements["candidate"].tolist() == ["C1", "007"]


@pytest.mark.parametrize("kind", KINDS)
def test_raw_files_are_not_altered(programme, tmp_path, kind):
    programme.write(kind)
    before = programme.checksums()
    records = programme.load()
    records.long()
    records.save(tmp_path / "elsewhere")
    assert programme.checksums() == before
    assert set(records.sources["sha256"]) == set(before.values())


def test_columns_are_exactly_those_of_the_design(programme):
    records = programme.write().load()
    assert tuple(records.long().columns) == long.COLUMNS
    assert tuple(records.problems.columns) == problems.COLUMNS
    assert tuple(records.sources.columns) == SOURCE_COLUMNS


def test_types_are_those_of_the_dictionary(programme):
    records = programme.write().load()
    kinds = {
        "string": "str",
        "integer": "Int64",
        "number": "float64",
        "boolean": "boolean",
        "date": "datetime64[us]",
    }
    for name in dictionary.tables():
        for field in dictionary.table(name).fields:
            if not field.ordered and field.name not in dictionary.table(name).levels:
                assert str(records.tables[name][field.name].dtype) == kinds[field.type], (name, field.name)
    purpose = records.observations["purpose"].dtype
    assert purpose.ordered
    assert list(purpose.categories) == ["mentor_teaches", "both_teach", "candidate_teaches"]
    assert records.long()["rank"].dtype == "Int8"


def test_levels_are_ordered_as_declared_and_keep_their_row_without_one(programme):
    records = programme.write().load()
    level = records.ratings["level"]
    assert list(level.cat.categories) == ["support", "part", "reliable", "adapts"]
    assert level.cat.ordered
    assert level.isna().tolist() == [False, True, False, True, False]
    reasons = records.ratings["missing_reason"]
    assert reasons[level.isna()].tolist() == ["not_observed", "not_scored"]
    assert reasons[level.notna()].isna().all()


def test_a_table_that_is_not_there_is_an_empty_typed_frame(programme):
    del programme.tables["raters"]
    records = programme.write().load()
    assert records.raters.empty
    assert tuple(records.raters.columns) == (*dictionary.table("raters").names, *PROVENANCE)
    assert str(records.raters["trained_on"].dtype) == "datetime64[us]"
    assert records.problems["rule"].tolist() == ["no_table"]


def test_an_export_with_headings_only_is_empty(programme):
    programme.tables["ratings"] = programme.tables["ratings"][:1]
    records = programme.write().load()
    assert records.ratings.empty
    assert records.long().empty
    assert tuple(records.long().columns) == long.COLUMNS


def test_the_long_table_knows_week_and_rank(programme):
    lines = programme.write().load().long()
    assert lines["week"].tolist() == [2, 2, 2, 5, 5]  # from 5 January: the 12th opens week 2
    assert lines["rank"].tolist() == [3, pd.NA, 2, pd.NA, 4]
    assert lines["candidate"].tolist() == ["C1", "C1", "C1", "007", "007"]


@pytest.mark.parametrize(("day", "week"), [("2026-01-05", 1), ("2026-01-11", 1), ("2026-01-04", 0)])
def test_weeks_count_from_the_first_day(programme, day, week):
    programme.tables["observations"][1][2] = day
    assert programme.write().load().long()["week"].iloc[0] == week


def test_typed_cells_of_a_workbook_read_as_they_show(programme):
    tables = programme.tables
    tables["observations"][1][2:4] = [dt.datetime(2026, 1, 12, 9, 30), 45.0]
    tables["observations"][2][2:4] = [dt.date(2026, 2, 2), 50]
    tables["observations"][1][5] = True
    tables["rubrics"] = [tables["rubrics"][0]] + [[*r[:4], float(r[4]), 0.25] for r in tables["rubrics"][1:]]
    tables["placements"][2][1] = 7
    records = programme.workbook("export.xlsx", tables).load()
    assert records.problems.empty
    assert records.observations["date"].dt.strftime("%Y-%m-%d").tolist() == ["2026-01-12", "2026-02-02"]
    assert records.observations["minutes"].tolist() == [45, 50]
    assert records.observations["pre_conference"].tolist() == [True, False]
    assert records.rubrics["weight"].tolist() == [0.25] * 8
    assert records.placements["candidate"].tolist() == ["C1", "7"]


def test_typed_columns_of_parquet_read_as_they_show(programme):
    programme.write("csv")
    (programme.folder / "observations.csv").unlink()
    table = pa.table(
        {
            "observation": pa.array(["V1", "V2"]).dictionary_encode(),
            "placement": ["P1", "P2"],
            "date": pa.array([dt.datetime(2026, 1, 12), None], pa.timestamp("us")),
            "debrief_date": pa.array([dt.date(2026, 1, 12), None], pa.date32()),
            "minutes": np.array([45.0, np.nan]),
            "strengths_noted": pa.array([3, None], pa.int8()),
            "pre_conference": pa.array([True, None]),
        }
    )
    pq.write_table(table, programme.folder / "observations.parquet")
    records = programme.load()
    assert records.problems.empty
    first, second = (records.observations.iloc[i] for i in (0, 1))
    assert (first["minutes"], first["strengths_noted"], first["pre_conference"]) == (45, 3, True)
    assert first["date"] == first["debrief_date"] == pd.Timestamp("2026-01-12")
    missing = ["date", "debrief_date", "minutes", "strengths_noted", "pre_conference"]
    assert second[missing].isna().all()


def test_white_space_around_cells_and_headings_does_not_count(programme):
    programme.tables["ratings"][0][6] = " level "
    programme.tables["ratings"][1][6] = "  reliable "
    programme.tables["ratings"][2][0] = "V1 "
    records = programme.write().load()
    assert records.problems.empty
    assert records.ratings["level"].iloc[0] == "reliable"


def test_a_column_that_is_no_field_is_noted_with_the_nearest(programme):
    programme.tables["placements"][0][5] = "cohorts"
    found = programme.write().load().problems
    assert found[["rule", "column", "effect"]].to_numpy().tolist() == [["not_read", "cohorts", "notice"]]
    assert "'cohort'" in found["remedy"].iloc[0]


def test_files_and_sheets_that_are_no_table_are_noted(programme):
    programme.write().csv("minutes of meeting.csv", [["a"], ["b"]]).csv(".hidden.csv", [["a"]])
    programme.workbook("book.xlsx", {"Notes": [["a"], ["b"]]}).csv("~$book.csv", [["a"]])
    (programme.folder / "old.xls").write_bytes(b"x")
    (programme.folder / "readme.md").write_text("x", encoding="utf-8")
    found = programme.load().problems
    assert found["file"].tolist() == ["book.xlsx", "minutes of meeting.csv", "old.xls"]
    assert set(found["rule"]) == {"not_read"}
    assert found["row"].isna().all()
