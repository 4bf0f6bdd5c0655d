"""An empty workbook: written, filled in, loaded without a mapping."""

import datetime as dt

import openpyxl
import pytest

from mentorstats import cli, dictionary, records
from mentorstats.records import blank, gather


@pytest.fixture
def path(tmp_path):
    folder = tmp_path / "filled"
    folder.mkdir()
    (folder / "records.xlsx").write_bytes(blank.workbook())
    return folder / "records.xlsx"


def fill(path, rows):
    """Write rows, each a sheet's name and values by heading, below what is there."""
    book = openpyxl.load_workbook(path)
    for name, cells in rows:
        sheet = book[name]
        places = {cell.value: cell.column for cell in sheet[1]}
        row = max(cell.row for column in sheet.iter_cols() for cell in column if cell.value is not None) + 1
        for heading, value in cells.items():
            sheet.cell(row, places[heading]).value = value
    book.save(path)


ROWS = [
    ("Placements", {"Placement": "P1", "Candidate": "007", "Mentor": "M1", "Supervisor": "S1",
                    "Start": dt.date(2026, 1, 5), "End": dt.date(2026, 5, 5), "Status": "Ended early"}),
    ("Observations", {"Observation": "V1", "Placement": "P1", "Date": dt.date(2026, 2, 2), "Minutes": 50,
                      "Visit mode": "By live video", "Conference before": "yes"}),
    ("Raters", {"Rater": "S1", "Role": "Supervisor", "Certified on": dt.date(2025, 9, 1)}),
    ("Raters", {"Rater": "M1", "Role": "Mentor"}),
    ("Ratings", {"Observation": "V1", "Rater": "M1", "Rater's role": "Mentor", "Rubric": "hearthside",
                 "Rubric version": "2", "Criterion": "k7w2", "Level": "part"}),
    ("Teaching load", {"Placement": "P1", "Week": 2, "Planned share": 0.25}),
]  # fmt: skip


def test_a_filled_workbook_loads_without_a_mapping(path):
    heads = [cell.value for cell in openpyxl.load_workbook(path)[gather.FORMS][1]]
    criteria = [heading for heading in heads if heading.startswith("[")]
    form = {"Observation": "V1", "Rater": "S1", "Rater's role": "Supervisor", "Rubric": "hearthside"}
    form |= {"Rubric version": "2", criteria[0]: "adapts", criteria[1]: "not_observed", "Independent": "no"}
    fill(path, [*ROWS, (gather.FORMS, form)])
    found = records.load(path.parent)
    rules = set(found.problems["rule"])
    assert rules <= {"no_table"}
    assert found.placements["candidate"].tolist() == ["007"]
    assert found.placements["status"].tolist() == ["ended_early"]
    assert found.observations["visit_mode"].tolist() == ["live_video"]
    wide = found.ratings[found.ratings["rater"] == "S1"]
    assert len(wide) == len(criteria)
    assert wide["level"].dropna().tolist() == ["adapts"]
    assert wide["missing_reason"].value_counts()["not_observed"] == 1
    assert not wide["independent"].any()
    assert found.ratings[found.ratings["rater"] == "M1"]["level"].tolist() == ["part"]
    assert found.teaching_load["planned_share"].tolist() == [0.25]


def test_every_field_has_a_column_and_an_explanation(path):
    book = openpyxl.load_workbook(path)
    told = {(row[0], row[1]) for row in book[gather.EXPLANATIONS].iter_rows(min_row=2, values_only=True)}
    for name in dictionary.tables():
        table = dictionary.table(name)
        sheet = next(s for s in book if gather._table_called(s.title) == name and s.title != gather.FORMS)
        assert [cell.value for cell in sheet[1]] == [field.title for field in table.fields]
        assert {(sheet.title, field.title) for field in table.fields} <= told
    for heading in [cell.value for cell in book[gather.FORMS][1]]:
        assert (gather.FORMS, heading) in told


def rule_of(book, sheet, heading):
    place = next(cell.column_letter for cell in book[sheet][1] if cell.value == heading)
    return next(
        (v for v in book[sheet].data_validations.dataValidation if str(v.sqref).startswith(f"{place}2")), None
    )


@pytest.mark.parametrize(
    ("sheet", "heading", "kind", "holds"),
    [
        ("Placements", "Status", "list", "Ended early"),
        ("Placements", "Start", "date", None),
        ("Observations", "Minutes", "whole", "0"),
        ("Observations", "Placement", "list", "Placements"),
        ("Observations", "Conference before", "list", "yes,no"),
        ("Ratings", "Level", "list", "reliable"),
        ("Ratings", "Rater's role", "list", "Supervisor"),
        ("Teaching load", "Planned share", "decimal", "0"),
    ],
)
def test_cells_are_checked(path, sheet, heading, kind, holds):
    rule = rule_of(openpyxl.load_workbook(path), sheet, heading)
    assert rule.type == kind
    assert holds is None or holds in rule.formula1


def test_the_programmes_own_rubric_is_offered(programme, tmp_path, capsys):
    programme.write()
    out = tmp_path / "ours.xlsx"
    assert cli.main(["blank", str(out), "--rubrics", str(programme.folder)]) == 0
    book = openpyxl.load_workbook(out)
    assert {row[2] for row in book["Rubrics"].iter_rows(min_row=2, values_only=True)} == {"k7w2", "m3d9"}
    levels = dict.fromkeys(row[3] for row in programme.tables["rubrics"][1:])
    assert rule_of(book, "Ratings", "Level").formula1.startswith('"' + ",".join(levels))
    scale = '[[scale]]\nrubric = "ours"\nversion = "3"\nlevels = ["1", "2"]\ncriteria = ["a", "b"]\n'
    (tmp_path / "mapping.toml").write_text(scale, encoding="utf-8")
    assert cli.main(["blank", str(tmp_path / "beside.xlsx")]) == 0
    book = openpyxl.load_workbook(tmp_path / "beside.xlsx")
    assert [cell.value for cell in book[gather.FORMS][1]][-2:] == ["[a]", "[b]"]


def test_an_existing_file_is_not_replaced(path, capsys):
    before = path.read_bytes()
    assert cli.main(["blank", str(path)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_two_are_alike_to_the_byte():
    assert blank.workbook() == blank.workbook()
