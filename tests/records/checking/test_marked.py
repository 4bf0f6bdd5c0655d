"""Faults as workbooks: every one in the list, every faulty cell marked in a copy, nothing live from data."""

import datetime as dt

import openpyxl
import pandas as pd
import pytest

from mentorstats import cli
from mentorstats.records import gather
from mentorstats.records.checking import marked
from mentorstats.records.loading import plan_of
from mentorstats.records.problems import COLUMNS, Problems


@pytest.fixture
def faulty(programme):
    """A workbook with title rows in one sheet, a fault in three cells and one of a whole row."""
    tables = programme.tables
    tables["observations"][1][3] = "=1+1 minutes"
    tables["observations"][2][2] = "soon"
    tables["ratings"][1][6] = "relaible"
    tables["ratings"].append(["V9", "نورا", "mentor", "hearthside", "1", "k7w2", "part"])
    tables["raters"][1][2] = dt.datetime(2025, 9, 1)
    programme.write("xlsx")
    return programme


def marks(path):
    book = openpyxl.load_workbook(path)
    return {
        (sheet.title, cell.coordinate): cell.comment.text
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.comment and cell.fill.start_color.rgb == "FFFFD966"
    }


def test_every_fault_is_in_the_list_and_marked_in_the_copy(faulty, tmp_path, capsys):
    out = tmp_path / "faults.xlsx"
    assert cli.main(["check", str(faulty.folder), "--out", str(out)]) == 1
    records = faulty.load()
    listed = pd.read_excel(out, dtype="str", keep_default_na=False, engine="calamine")
    assert list(listed.columns) == list(COLUMNS)
    assert len(listed) >= len(records.problems)
    copy = tmp_path / "faults-export.xlsx"
    assert str(copy) in capsys.readouterr().err
    found = marks(copy)
    assert "Set aside" in found["ratings", "G2"]
    assert "reliable" in found["ratings", "G2"]  # the remedy
    assert {("observations", "D2"), ("observations", "C3"), ("ratings", "A7")} <= set(found)
    for fault in records.problems.dropna(subset=["row"]).itertuples():
        at = [
            text
            for (sheet, cell), text in found.items()
            if sheet == fault.sheet and cell[1:] == str(fault.row)
        ]
        assert any(fault.problem in text and fault.remedy in text for text in at), fault


def test_a_copy_holds_the_values_where_they_stood_and_no_formula(faulty, tmp_path):
    cli.main(["check", str(faulty.folder), "--out", str(tmp_path / "f.xlsx")])
    before = openpyxl.load_workbook(faulty.folder / "export.xlsx")
    after = openpyxl.load_workbook(tmp_path / "f-export.xlsx")
    assert before.sheetnames == after.sheetnames
    for sheet in after:
        assert not [cell for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert after["raters"]["C2"].value == dt.datetime(2025, 9, 1)
    assert after["placements"]["B3"].value == "007"
    ours = [[cell.value for cell in row] for row in after["ratings"].iter_rows()]
    theirs = [[cell.value for cell in row] for row in before["ratings"].iter_rows()]
    assert [[value or None for value in row] for row in theirs] == ours


def test_headings_below_title_rows_are_found_by_the_mapping(programme, tmp_path):
    rows = [["Our visits"], [], ["Visit", "Place", "Day"], ["V1", "P1", "never"]]
    programme.workbook("visits.xlsx", {"Visits": rows})
    programme.csv("placements.csv", programme.tables["placements"])
    columns = ["placement", "candidate", "cohort", "start"]
    programme.mapping(
        '[[source]]\nfile = "placements.csv"\ntable = "placements"\n'
        f"columns = {{ {', '.join(f'{name} = {name!r}' for name in columns)} }}\n"
        '[[source]]\nfile = "visits.xlsx"\nsheet = "Visits"\ntable = "observations"\nheading_row = 3\n'
        'columns = { observation = "Visit", placement = "Place", date = "Day" }\n'
    )
    cli.main(["check", str(programme.folder), "--out", str(tmp_path / "f.xlsx")])
    assert set(marks(tmp_path / "f-visits.xlsx")) == {("Visits", "C4")}


def test_nothing_is_left_out_however_many(monkeypatch, programme):
    monkeypatch.setattr(marked, "_MOST", 10)
    problems = Problems()
    for number in range(25):
        problems.add(f"fault {number}", file="x.csv", rule="type", effect="notice", remedy="Correct it.")
    book = openpyxl.load_workbook(_on_disk(marked.listed(problems.frame()), programme.folder))
    assert [sheet.max_row - 1 for sheet in book] == [10, 10, 5]


def test_many_faults_of_one_cell_stand_in_one_comment(programme, monkeypatch):
    programme.write("xlsx")
    problems = Problems()
    for number in range(3):
        problems.add(
            f"fault {number}", file="export.xlsx", sheet="raters", rule="type", effect="notice", remedy="Do."
        )
    found = gather.gather(programme.folder, plan_of(programme.folder), Problems())
    (copy,) = marked.copies(programme.folder, found, problems.frame()).values()
    (text,) = marks(_on_disk(copy, programme.folder)).values()
    assert text.count("Notice: fault") == 3
    monkeypatch.setattr(marked, "_LONGEST", 20)
    (copy,) = marked.copies(programme.folder, found, problems.frame()).values()
    (text,) = marks(_on_disk(copy, programme.folder)).values()
    assert "the list of faults has all" in text


def test_without_a_fault_there_is_a_list_and_no_copy(programme, tmp_path):
    programme.write("xlsx")
    cli.main(["check", str(programme.folder), "--out", str(tmp_path / "f.xlsx")])
    assert [path.name for path in tmp_path.iterdir() if path.suffix == ".xlsx"] == ["f.xlsx"]


def test_copies_with_names_go_to_the_private_folder(faulty, tmp_path):
    faulty.tables["raters"].append(["Moss Quill", "mentor", "2025-09-01", "never"])
    faulty.write("xlsx").mapping('[identities]\nfolder = "../private"\n')
    out = tmp_path / "out"
    cli.main(["check", str(faulty.folder), "--out", str(out / "f.xlsx")])
    assert [path.name for path in out.iterdir()] == ["f.xlsx"]
    assert "Quill" not in str(openpyxl.load_workbook(out / "f.xlsx")["Faults"].values)
    private = tmp_path / "private" / "f-export.xlsx"
    assert private.stat().st_mode & 0o077 == 0
    assert ("raters", "D4") in marks(private)


def _on_disk(content, folder):
    path = folder / "out.xlsx"
    path.write_bytes(content)
    return path
