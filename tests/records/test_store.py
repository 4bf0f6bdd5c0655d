"""What is stored comes back equal, carries its dictionary, and is never half-written."""

import json
import os
import socket
import subprocess
import sys
import threading
import time

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from mentorstats import dictionary
from mentorstats.errors import SourceFileError
from mentorstats.records import lock, reload, store


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
    with pytest.raises(SourceFileError, match="the store cannot be written: disk full"):
        records.save(tmp_path / "kept")
    monkeypatch.undo()
    same(reload(tmp_path / "kept"), records)
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [store.FOLDER]
    inside = {path.name for path in (tmp_path / "kept" / store.FOLDER).iterdir()}
    assert inside == {store.POINTER, store.current(tmp_path / "kept").name}


WRITER = """
import sys, pandas as pd
from pathlib import Path
from mentorstats.records import reload
records = reload(Path(sys.argv[1]))
while True:
    records.save(Path(sys.argv[2]))
"""


def test_a_writer_killed_at_any_moment_leaves_a_store_that_can_be_read(programme, tmp_path):
    records = programme.write().load()
    for name in ("from", "kept"):
        records.save(tmp_path / name)
    rng = np.random.default_rng(1)
    for _ in range(4):
        places = [str(tmp_path / name) for name in ("from", "kept")]
        writer = subprocess.Popen([sys.executable, "-c", WRITER, *places])
        try:
            while not list((tmp_path / "kept" / store.FOLDER).glob("lock*")) and writer.poll() is None:
                time.sleep(0.01)
            time.sleep(rng.uniform(0, 0.15))
        finally:
            writer.kill()
            writer.wait()
        same(reload(tmp_path / "kept"), records)
    records.save(tmp_path / "kept")  # over a lock and folders of the dead
    assert len(list((tmp_path / "kept" / store.FOLDER).iterdir())) <= 3


def test_who_reads_while_others_write_sees_one_store_or_the_other(programme, tmp_path):
    full = programme.write().load()
    programme.tables["ratings"] = programme.tables["ratings"][:4]
    fewer = programme.write().load()
    sizes = {(len(r.tables["ratings"]), len(r.sources)) for r in (full, fewer)}
    full.save(tmp_path)
    done = threading.Event()

    def write(records):
        while not done.is_set():
            records.save(tmp_path)

    writers = [threading.Thread(target=write, args=(records,)) for records in (full, fewer)]
    for writer in writers:
        writer.start()
    try:
        seen = set()
        for _ in range(40):
            read = reload(tmp_path)
            seen.add((len(read.tables["ratings"]), len(read.sources)))
            rows = read.sources.loc[read.sources["table"] == "ratings", "rows_kept"].sum()
            assert rows == len(read.tables["ratings"])
    finally:
        done.set()
        for writer in writers:
            writer.join()
    assert seen <= sizes


def test_a_lock_of_the_dead_is_taken_over_and_one_of_the_living_is_waited_for(tmp_path, monkeypatch):
    mine = {"pid": os.getpid(), "host": socket.gethostname(), "started": lock._started(os.getpid())}
    (tmp_path / lock.NAME).write_text(json.dumps(mine | {"started": "1"}))
    with lock.held(tmp_path):
        assert json.loads((tmp_path / lock.NAME).read_text()) == mine
    assert not list(tmp_path.iterdir())
    (tmp_path / lock.NAME).write_text(json.dumps(mine))
    monkeypatch.setattr(lock, "_WAIT", 0.1)
    with (
        pytest.raises(SourceFileError, match=rf"another run is writing here \(process {os.getpid()}"),
        lock.held(tmp_path),
    ):
        pass
    (tmp_path / lock.NAME).write_text(json.dumps(mine | {"host": "elsewhere"}))
    os.utime(tmp_path / lock.NAME, (0, 0))
    with lock.held(tmp_path):
        pass


def test_each_file_carries_its_descriptor(programme, tmp_path):
    programme.write().load().save(tmp_path)
    for name in dictionary.tables():
        metadata = pq.read_schema(store.current(tmp_path) / f"{name}.parquet").metadata
        assert json.loads(metadata[store.KEY]) == dictionary.table(name).descriptor


def test_the_same_records_are_the_same_bytes(programme, tmp_path):
    records = programme.write().load()
    for place in ("a", "b"):
        records.save(tmp_path / place)
    for path in sorted(store.current(tmp_path / "a").iterdir()):
        assert path.read_bytes() == (store.current(tmp_path / "b") / path.name).read_bytes()


def test_no_store(tmp_path):
    first = dictionary.tables()[0]
    with pytest.raises(SourceFileError, match=rf"{first}.parquet: the stored {first} cannot be read.*again"):
        reload(tmp_path)


def test_a_damaged_store(programme, tmp_path):
    programme.write().load().save(tmp_path)
    (store.current(tmp_path) / "ratings.parquet").write_bytes(b"PAR1")
    with pytest.raises(SourceFileError, match="the stored ratings cannot be read"):
        reload(tmp_path)


def test_a_store_of_another_dictionary(programme, tmp_path):
    programme.write().load().save(tmp_path)
    path = store.current(tmp_path) / "raters.parquet"
    pq.write_table(pq.read_table(path).replace_schema_metadata({store.KEY: b"{}"}), path)
    with pytest.raises(SourceFileError, match="raters was stored under another data dictionary"):
        reload(tmp_path)


def test_levels_are_kept_where_there_is_no_rating(programme, tmp_path):
    programme.tables["ratings"] = programme.tables["ratings"][:1]
    programme.write().load().save(tmp_path)
    assert list(reload(tmp_path).ratings["level"].cat.categories) == ["support", "part", "reliable", "adapts"]
