"""Files whole or not at all, leftovers of the dead removed, and tables that run nothing in a spreadsheet."""

import os

import pandas as pd
import pytest

from mentorstats.errors import ArgumentError
from mentorstats.writing import FORMULA, GUARD, can_write, guarded, write_beside, write_table


def test_text_that_a_spreadsheet_would_run_is_guarded_and_comes_back(tmp_path):
    texts = [f"{mark}1+1|cmd" for mark in FORMULA] + ["'quoted", "plain", "a=b"]
    table = pd.DataFrame({"=text": texts, "number": [-1.5] * len(texts)})
    path = write_table(tmp_path / "t.csv", table)
    read = pd.read_csv(path)
    assert not [name for name in read.columns if name.startswith(FORMULA)]
    assert not [text for text in read.iloc[:, 0] if text.startswith(FORMULA)]
    assert read["number"].tolist() == [-1.5] * len(texts)
    again = [text.removeprefix(GUARD) for text in read.iloc[:, 0]]
    assert again == texts


def test_missing_values_dates_and_categories_are_left_alone():
    table = pd.DataFrame(
        {
            "a": pd.Series(["=x", None], dtype="str"),
            "b": pd.Categorical(["-y", None]),
            "c": pd.to_datetime(["2026-01-01", None]),
        }
    )
    made = guarded(table)
    assert made["a"].tolist()[0] == "'=x"
    assert made["b"].tolist()[0] == "'-y"
    assert made.isna().sum().tolist() == [1, 1, 1]
    assert made["c"].equals(table["c"])
    assert table["a"].iloc[0] == "=x", "the table given is not changed"


def test_what_a_dead_run_left_is_removed_and_what_a_living_one_writes_is_not(tmp_path):
    old, new = tmp_path / ".page[1].html.part-old", tmp_path / ".page[1].html.part-new"
    for path in (old, new):
        path.write_text("half")
    os.utime(old, (0, 0))
    write_beside(tmp_path / "page[1].html", b"whole")
    assert sorted(path.name for path in tmp_path.iterdir()) == [new.name, "page[1].html"]


def test_a_full_disk_is_one_message_and_leaves_nothing(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(ArgumentError, match="cannot be written: No space left on device"):
        write_beside(tmp_path / "page.html", b"x")
    assert not list(tmp_path.iterdir())


def test_an_impossible_name_is_one_message(tmp_path):
    for name in ("x" * 300, "a\0b"):
        with pytest.raises(ArgumentError, match="cannot be written"):
            write_beside(tmp_path / name, b"x")


def test_a_folder_under_a_file_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ArgumentError, match="is not a folder"):
        can_write(tmp_path / "file" / "deeper")
    can_write(tmp_path / "new" / "deeper")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
