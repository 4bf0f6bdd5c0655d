"""Tables that are taken away are the same when they are read again, in each form, and a package is legal."""

import csv
import hashlib
import json

import frictionless
import openpyxl
import pandas as pd
import pytest

import mentorstats as ms
from mentorstats import cli, cli_options, dictionary, places
from mentorstats.errors import ArgumentError, NothingUsableError, SourceFileError
from mentorstats.records import handout

HOSTILE = ["=1+1", "'quoted", "-7", "@x", "+1", 'a,b"c', "line\nbreak", "شمال", "é", "A", "007", "NA"]


@pytest.fixture
def records(programme):
    head = programme.tables["placements"][0]
    for number, site in enumerate(HOSTILE):
        row = [f"Q{number}", f"C{number + 10}", "M1", "S1", site, "2026", "2026-01-05", "", "running"]
        programme.tables["placements"].append(row[: len(head)])
    return programme.write().load()


@pytest.mark.parametrize("form", handout.FORMS)
def test_what_is_written_is_read_again_as_it_was(records, tmp_path, form):
    out = tmp_path / "out"
    handout.write(records, out, form)
    again = ms.load(out)
    assert len(again.problems) == 0, again.problems.to_string()
    place = ["file", "sheet", "row"]
    for name, table in records.tables.items():
        keys = list(dictionary.table(name).primary_key)
        before, after = (
            one.drop(columns=place).sort_values(keys, ignore_index=True)
            for one in (table, again.tables[name])
        )
        if form == "csv" and name == "placements":  # nothing says there that apostrophes guard
            before = before.assign(site=before["site"].str.replace(r"^(?=[=+\-@'])", "'", regex=True))
        if form == "xlsx":
            after, before = after.fillna(pd.NA), before.fillna(pd.NA)
        pd.testing.assert_frame_equal(before, after)


@pytest.mark.parametrize("form", handout.FORMS)
def test_two_runs_write_the_same_bytes(records, tmp_path, form):
    for name in ("one", "two"):
        handout.write(records, tmp_path / name, form)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


def test_a_package_is_legal_and_its_tables_are_as_it_says(records, tmp_path):
    handout.write(records, tmp_path)
    package = frictionless.Package(str(tmp_path / "datapackage.json"))
    report = package.validate()
    assert report.valid, report.flatten(["type", "note"])
    assert len(report.tasks) == 5
    described = json.loads((tmp_path / "datapackage.json").read_text(encoding="utf-8"))
    assert described["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    by_name = {resource["name"]: resource for resource in described["resources"]}
    level = {field["name"]: field for field in by_name["ratings"]["schema"]["fields"]}["level"]
    assert level["categories"] == ["support", "part", "reliable", "adapts"]
    assert level["categoriesOrdered"]
    assert by_name["ratings"]["schema"]["missingValues"] == [{"value": "", "label": "not recorded"}]
    content = (tmp_path / "ratings.csv").read_bytes()
    assert by_name["ratings"]["hash"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
    assert by_name["ratings"]["bytes"] == len(content)


def test_no_cell_is_a_formula(records, tmp_path):
    handout.write(records, tmp_path, "xlsx")
    handout.write(records, tmp_path, "csv")
    book = openpyxl.load_workbook(tmp_path / "tables.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n", "d"}
    assert "=1+1" in {cell.value for cell in cells}
    with (tmp_path / "placements.csv").open(encoding="utf-8", newline="") as opened:
        texts = [cell for row in csv.reader(opened) for cell in row]
    assert not [text for text in texts if text.startswith(("=", "+", "-", "@"))]


def test_a_package_of_others_is_read_as_it_says(programme, tmp_path):
    """Another separator, words for missing values with labels, another form of dates."""
    programme.write()
    ratings = programme.tables["ratings"]
    ratings[4][6], ratings[5][6] = "-98", "-99"
    programme.csv("ratings.csv", ratings, delimiter=";")
    programme.tables["placements"][1][6] = "05/01/2026"
    programme.tables["placements"][1][4] = "."
    programme.csv("placements.csv", programme.tables["placements"])
    missing = [{"value": "-98", "label": "not_applicable"}, {"value": "-99", "label": "lost"}]
    fields = [{"name": "level", "type": "string", "missingValues": missing}]
    start = {"name": "start", "type": "date", "format": "%d/%m/%Y"}
    site = {"name": "site", "type": "string"}
    described = {
        "resources": [
            {
                "name": "ratings",
                "path": "ratings.csv",
                "dialect": {"delimiter": ";"},
                "schema": {"fields": fields},
            },
            {
                "name": "placements",
                "path": ["placements.csv"],
                "schema": {"fields": [site, start], "missingValues": ["."]},
            },
        ]
    }
    (programme.folder / "datapackage.json").write_text(json.dumps(described), encoding="utf-8")
    found = programme.load()
    assert len(found.problems) == 0
    assert found.ratings["missing_reason"].fillna("").tolist()[3:] == ["not_applicable", "not_scored"]
    assert found.placements["site"].isna().tolist() == [True, False]
    assert found.placements["start"].dt.strftime("%d.%m.").tolist() == ["05.01."] * 2


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "is not legal JSON"),
        ("[" * 100_000, "is not legal JSON"),
        ("[]", "names no resources"),
        ('{"resources": [3]}', "names no resources"),
        ('{"resources": [{"name": "ratings"}]}', "no name or no path"),
        ('{"resources": [{"name": "ratings", "path": "../x.csv"}]}', "is no file in the folder"),
        ('{"resources": [{"name": "ratings", "path": "/etc/hosts"}]}', "is no file in the folder"),
        ('{"resources": [{"name": "ratings", "path": "ratings.csv", "schema": "s.json"}]}', "another file"),
        ('{"resources": [{"name": "ratings", "path": "ratings.csv", "encoding": "x9"}]}', "is not known"),
        (
            '{"resources": [{"name": "r", "path": "ratings.csv", "dialect": {"delimiter": 3}}]}',
            "not known",
        ),
    ],
)
def test_a_descriptor_that_is_wrong_is_refused(programme, text, told):
    programme.write()
    (programme.folder / "datapackage.json").write_text(text, encoding="utf-8")
    with pytest.raises(SourceFileError, match=told):
        programme.load()


def test_the_command_writes_a_package_and_refuses_names(programme, tmp_path, capsys):
    programme.write()
    out = tmp_path / "out"
    assert cli.main(["tables", str(programme.folder), "--out", str(out)]) == 0
    assert str(out / "datapackage.json") in capsys.readouterr().out
    assert cli.main(["tables", str(programme.folder), "--out", str(programme.folder)]) == 2
    for row in programme.tables["placements"][1:]:
        row[1] = "Moss Quill"
    programme.write()
    assert cli.main(["tables", str(programme.folder), "--out", str(tmp_path / "new")]) == 1
    assert not (tmp_path / "new").exists()
    assert cli_options.HANDOUTS == handout.FORMS


def test_what_cannot_be_written_is_said(records, tmp_path, monkeypatch):
    with pytest.raises(ArgumentError, match="no form 'pdf'"):
        handout.write(records, tmp_path, "pdf")
    monkeypatch.setattr(handout, "_MOST_ROWS", 3)
    with pytest.raises(ArgumentError, match="more than a sheet holds"):
        handout.write(records, tmp_path, "xlsx")
    empty = {name: table.iloc[:0] for name, table in records.tables.items()}
    with pytest.raises(NothingUsableError, match="no table has a row"):
        handout.write(ms.records.Records(empty, records.problems, records.sources), tmp_path)


def test_nearest_elements_are_of_fields_that_there_are():
    rows = pd.read_csv(places.data_dictionary() / "nearest_elements.csv")
    assert list(rows.columns) == ["table", "field", "nearest", "known_from"]
    assert all(row.field in dictionary.table(row.table).names for row in rows.itertuples())
    assert set(rows["known_from"]) == {"public schema", "memory"}
    assert not rows.duplicated(["table", "field"]).any()
