"""What is stored comes back equal, carries its dictionary, and is never half-written."""

import json

import pandas as pd
import pyarrow.parquet as pq
import pytest

from mentorstats import dictionary
from mentorstats.errors import SourceFileError
from mentorstats.records import reload, store


def same(one, other):
    for name in dictionary.tables():
        pd.testing.assert_frame_equal(one.tables[name], other.tables[name])
    pd.testing.assert_frame_equal(one.problems, other.problems)
    pd.testing.assert_frame_equal(one.sources, other.sources)
    pd.testing.assert_frame_equal(one.long(), other.long())


def test_reloaded_frames_are_equal(programme, tmp_path):
    programme.tables["ratings"][1][6] = "nine"
    records = programme.write().load()
    records.save(tmp_path / "kept" / "here")
    same(reload(tmp_path / "kept" / "here"), records)


def test_a_store_beside_the_exports_is_not_read_as_an_export(programme):
    records = programme.write().load()
    records.save(programme.folder)
    same(programme.load(), records)


def test_a_store_replaces_the_one_before_and_leaves_nothing_beside_it(programme, tmp_path):
    programme.write().load().save(tmp_path / "kept")
    programme.tables["ratings"].pop()
    fewer = programme.write().load()
    fewer.save(tmp_path / "kept")
    same(reload(tmp_path / "kept"), fewer)
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [store.FOLDER]


def test_a_run_that_breaks_off_leaves_the_old_store(programme, tmp_path, monkeypatch):
    records = programme.write().load()
    records.save(tmp_path / "kept")

    def breaks(table, path):
        if path.name.startswith("ratings"):
            raise OSError("disk full")
        path.write_bytes(b"")

    monkeypatch.setattr(store.pq, "write_table", breaks)
    with pytest.raises(OSError, match="disk full"):
        records.save(tmp_path / "kept")
    monkeypatch.undo()
    same(reload(tmp_path / "kept"), records)
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [store.FOLDER]


def test_each_file_carries_its_descriptor(programme, tmp_path):
    programme.write().load().save(tmp_path)
    for name in dictionary.tables():
        metadata = pq.read_schema(tmp_path / store.FOLDER / f"{name}.parquet").metadata
        assert json.loads(metadata[store.KEY]) == dictionary.table(name).descriptor


def test_the_same_records_are_the_same_bytes(programme, tmp_path):
    records = programme.write().load()
    for place in ("a", "b"):
        records.save(tmp_path / place)
    for path in sorted((tmp_path / "a" / store.FOLDER).iterdir()):
        assert path.read_bytes() == (tmp_path / "b" / store.FOLDER / path.name).read_bytes()


def test_no_store(tmp_path):
    first = dictionary.tables()[0]
    with pytest.raises(SourceFileError, match=rf"{first}.parquet: the stored {first} cannot be read.*again"):
        reload(tmp_path)


def test_a_damaged_store(programme, tmp_path):
    programme.write().load().save(tmp_path)
    (tmp_path / store.FOLDER / "ratings.parquet").write_bytes(b"PAR1")
    with pytest.raises(SourceFileError, match="the stored ratings cannot be read"):
        reload(tmp_path)


def test_a_store_of_another_dictionary(programme, tmp_path):
    programme.write().load().save(tmp_path)
    path = tmp_path / store.FOLDER / "raters.parquet"
    pq.write_table(pq.read_table(path).replace_schema_metadata({store.KEY: b"{}"}), path)
    with pytest.raises(SourceFileError, match="raters was stored under another data dictionary"):
        reload(tmp_path)


def test_levels_are_kept_where_there_is_no_rating(programme, tmp_path):
    programme.tables["ratings"] = programme.tables["ratings"][:1]
    programme.write().load().save(tmp_path)
    assert list(reload(tmp_path).ratings["level"].cat.categories) == ["help", "part", "steady", "lead"]
