"""The exports on disk: same bytes, planted faults where the truth file says, nobody's files overwritten."""

import csv
import hashlib
import io
import json
import shutil
import tomllib
import zipfile
from datetime import datetime

import openpyxl
import pytest

from mentorstats import demo
from mentorstats.demo.own_files import LIST
from mentorstats.errors import SourceFileError
from mentorstats.writing import write_beside


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "quillmoor"
    demo.write(path)
    return path


@pytest.fixture(scope="module")
def truth(folder):
    return json.loads((folder / demo.TRUTH).read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def mapping(folder):
    return tomllib.loads((folder / "mapping.toml").read_text(encoding="utf-8"))


def content(folder):
    files = (path for path in sorted(folder.iterdir()) if path.is_file() and path.name != LIST)
    return {path.name: path.read_bytes() for path in files}


def test_same_seed_same_bytes_other_seed_other_bytes(folder, tmp_path):
    demo.write(tmp_path / "again")
    demo.write(tmp_path / "other", seed=7)
    assert content(tmp_path / "again") == content(folder)
    other = content(tmp_path / "other")
    alike = {name for name, text in content(folder).items() if other[name] == text}
    assert alike == {
        "crosswalk.toml",
        "left_over_2025.csv",
        "mapping.toml",
        "policy.toml",
        "rubrics.csv",
        "study.toml",
    }


def test_no_time_of_writing_in_the_workbook(folder):
    with zipfile.ZipFile(folder / "quillmoor_2023-24.xlsx") as book:
        assert {part.date_time[0] for part in book.infolist()} == {1980}
        assert b"2026-09-01T00:00:00Z" in book.read("docProps/core.xml")


def test_the_workbook_names_no_program(folder):
    with zipfile.ZipFile(folder / "quillmoor_2023-24.xlsx") as book:
        told = b"".join(book.read(part) for part in book.namelist() if part.startswith("docProps/"))
    assert b"TitlesOfParts" in told
    for brand in (b"Excel", b"Microsoft", b"Application", b"XlsxWriter"):
        assert brand not in told


def test_workbook_keeps_text_as_text_and_dates_as_dates(folder):
    book = openpyxl.load_workbook(folder / "quillmoor_2023-24.xlsx")
    kinds = {
        page.title: {cell.data_type for row in page for cell in row if cell.value is not None}
        for page in book
    }
    assert kinds == {
        "Placements": {"s", "d"},
        "Visits": {"s", "d", "n"},
        "Mentor forms": {"s"},
        "Supervisor forms": {"s"},
    }
    assert all(len(cell.value) == 6 for cell in book["Visits"]["A"][3:])


def test_truth_lists_every_file(folder, truth):
    listed = {path.name for path in folder.iterdir()} - {demo.TRUTH, LIST}
    assert set(truth["files"]) == listed
    for name, digest in truth["files"].items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest


def test_truth_file_says_what_is_in_memory(truth):
    memory = demo.programme(truth["seed"]).truth
    frames = ("sizes", "planted", "components", "thresholds", "agreed", "certified", "raters", "candidates")
    frames += ("biases",)
    for name in frames:
        frame = getattr(memory, name)
        assert [list(row.values()) for row in truth[name]] == [
            [None if value != value else value for value in row] for row in frame.itertuples(index=False)
        ]
    assert truth["double_scored"] == memory.double_scored


def as_text(cell):
    if cell is None:
        return ""
    return cell.date().isoformat() if isinstance(cell, datetime) else str(cell)


def records(folder, source):
    """Rows of a source by the row or line they start in, each as heading: cell; read without the package."""
    if source.get("sheet"):
        page = openpyxl.load_workbook(folder / source["file"])[source["sheet"]]
        lines = {number: list(row) for number, row in enumerate(page.iter_rows(values_only=True), start=1)}
    else:
        text = (folder / source["file"]).read_bytes().decode(source.get("encoding", "utf-8"))
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=source.get("delimiter", ","))
        lines, begun = {}, 1
        for line in reader:
            lines[begun] = line
            begun = reader.line_num + 1
    headings = lines.pop(source.get("heading_row", 1))
    return {
        number: dict(zip(headings, map(as_text, line), strict=False))
        for number, line in lines.items()
        if number > source.get("heading_row", 1)
    }


@pytest.fixture(scope="module")
def sources(folder, mapping):
    return {(s["file"], s.get("sheet", "")): (s, records(folder, s)) for s in mapping["source"]}


def test_each_fault_stands_where_the_truth_says(truth, sources):
    for fault in truth["faults"]:
        if fault["column"]:
            _, rows = sources[fault["file"], fault["sheet"]]
            assert rows[fault["row"]][fault["column"]] == fault["value"], fault
        else:
            assert fault["rule"] in ("ragged_row", "not_read")


def test_some_records_take_more_than_a_line(sources):
    for file in ("forms_2024-25.csv", "visits_2024-25.csv"):
        _, rows = sources[file, ""]
        assert max(rows) - 1 > len(rows)


def test_mapping_names_headings_that_are_there(sources):
    for source, rows in sources.values():
        first = next(iter(rows.values()))
        assert set(source["columns"].values()) | set(source.get("criteria", {}).values()) <= set(first)


def test_every_word_is_mapped_or_a_planted_fault(sources, truth):
    """No cell of a coded column holds a word that the mapping does not translate, the faults aside."""
    faults = {(f["file"], f["sheet"], f["row"], f["column"]) for f in truth["faults"]}
    for (file, sheet), (source, rows) in sources.items():
        levels = {*source.get("levels", {}), *source.get("missing", {}), ""}
        known = dict.fromkeys(source.get("criteria", {}).values(), levels)
        for field, words in source.get("values", {}).items():
            known[source["columns"][field]] = {*words, ""}
        for row, record in rows.items():
            for column, words in known.items():
                if (file, sheet, row, column) not in faults:
                    assert record[column] in words, (file, sheet, row, column)


def test_a_run_over_its_own_folder(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")
    demo.write(copy, seed=3)
    demo.write(copy)
    assert content(copy) == content(folder)
    assert [path.name for path in tmp_path.iterdir()] == ["quillmoor"]


def test_an_empty_folder_is_filled(folder, tmp_path):
    (tmp_path / "empty").mkdir()
    demo.write(tmp_path / "empty")
    assert content(tmp_path / "empty") == content(folder)


def test_parents_are_made(tmp_path):
    demo.write(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b" / "mapping.toml").is_file()


def refused(folder, match, **how):
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    with pytest.raises(SourceFileError, match=match):
        demo.write(folder, **how)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    assert len(list(folder.parent.iterdir())) == 1


def test_a_folder_with_other_files_is_left_alone(folder, tmp_path):
    other = tmp_path / "records"
    other.mkdir()
    (other / "mine.csv").write_text("a,b\n")
    refused(other, "'mine.csv'.*new or an empty folder")
    copy = shutil.copytree(folder, tmp_path / "records", dirs_exist_ok=True)
    refused(copy, "'mine.csv'")


def test_an_altered_file_is_left_alone(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")
    with (copy / "raters.csv").open("a", encoding="utf-8") as file:
        file.write("k2k2k,mentor,,,\r\n")
    refused(copy, "'raters.csv' was changed")


def test_a_list_of_somebody_elses_is_no_licence(tmp_path):
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "mine.txt").write_text("mine")
    for text in ('{"files": {}}', "not JSON", '{"files": [], "begun": 3}', "[" * 100_000):
        (tmp_path / "x" / LIST).write_text(text)
        refused(tmp_path / "x", "'mine.txt', which the demo did not write")


@pytest.mark.parametrize("name", [".env", ".git/config", "reports/notes.md", "reports/deep/er.txt"])
def test_what_the_demo_did_not_write_stays_wherever_it_is(folder, tmp_path, name):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")
    (copy / name).parent.mkdir(parents=True, exist_ok=True)
    (copy / name).write_text("mine")
    refused(copy, f"{name}', which the demo did not write")


def test_what_the_caller_wrote_and_noted_may_be_replaced(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")
    demo.write(copy, later=["reports/page.html"])
    (copy / "reports").mkdir()
    (copy / "reports" / "page.html").write_text("<p>")
    demo.write(copy, later=["reports/page.html"])  # a run that was killed before it could note
    demo.note(copy, [copy / "reports" / "page.html"])
    demo.write(copy)
    assert content(copy) == content(folder)
    assert not (copy / "reports" / "page.html").exists(), "ours, and not written any more"


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "x").write_text("")
    with pytest.raises(SourceFileError, match="is not a folder"):
        demo.write(tmp_path / "x")


def test_a_failure_leaves_the_old_folder(folder, tmp_path, monkeypatch):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")

    def fails(*_):
        raise OSError("disk full")

    monkeypatch.setattr("mentorstats.demo.folder.save", fails)
    with pytest.raises(OSError, match="disk full"):
        demo.write(copy, seed=3)
    assert content(copy) == content(folder)


def test_a_run_that_was_killed_can_be_run_again(folder, tmp_path, monkeypatch):
    copy = shutil.copytree(folder, tmp_path / "quillmoor")
    written = []

    def breaks(path, text):
        if len(written) == 5:
            raise KeyboardInterrupt
        written.append(path.name)
        return write_beside(path, text)

    monkeypatch.setattr("mentorstats.demo.own_files.write_beside", breaks)
    with pytest.raises(KeyboardInterrupt):
        demo.write(copy, seed=3)
    monkeypatch.undo()
    assert content(copy) != content(folder)
    demo.write(copy)
    assert content(copy) == content(folder)
