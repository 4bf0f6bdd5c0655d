"""Checked records as Parquet, with the dictionary's words in the files' metadata."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from mentorstats import __version__, dictionary
from mentorstats.errors import SourceFileError

if TYPE_CHECKING:
    from mentorstats.records.loading import Records

FOLDER = ".mentorstats"
_DESCRIPTOR = b"table_schema"
_VERSION = b"mentorstats"
_BESIDE = ("problems", "sources")  # frames of ours that are no tables of the dictionary


def save(records: Records, folder: Path) -> Path:
    """Write all tables to ``folder/.mentorstats``, beside first and renamed when whole.

    A store that is already there stays until the new one is complete.
    """
    home = folder / FOLDER
    fresh, old = folder / f"{FOLDER}-{os.getpid()}-new", folder / f"{FOLDER}-{os.getpid()}-old"
    fresh.mkdir(parents=True)
    try:
        for name, frame in records.tables.items():
            _write(frame, fresh / f"{name}.parquet", _described(name, frame))
        for name in _BESIDE:
            _write(getattr(records, name), fresh / f"{name}.parquet", {})
        if home.exists():
            home.rename(old)
        fresh.rename(home)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        shutil.rmtree(old, ignore_errors=True)
    return home


def reload(folder: str | Path) -> Records:
    """Read a store back: the same frames as were saved.

    Raises
    ------
    SourceFileError
        There is no store in the folder, or a file of it is broken.
    """
    from mentorstats.records.loading import Records

    home = Path(folder) / FOLDER
    files = sorted(home.glob("*.parquet"))
    if not files:
        raise SourceFileError("no store", where=str(home), remedy="Load the exports and save them first.")
    frames = {path.stem: _read(path) for path in files}
    beside = {name: frames.pop(name) for name in _BESIDE}
    tables = {name: frames[name] for name in dictionary.tables() if name in frames}
    return Records(tables, **beside)


def _described(name: str, frame: pd.DataFrame) -> dict[str, Any]:
    """Table Schema descriptor of the frame as it is, its ordered categories included."""
    descriptor = dict(dictionary.table(name).descriptor)
    fields = []
    for item in descriptor["fields"]:
        column = frame[item["name"]]
        if isinstance(column.dtype, pd.CategoricalDtype):
            item = {
                **item,
                "categories": list(column.cat.categories),
                "categoriesOrdered": column.cat.ordered,
            }
        fields.append(item)
    return {**descriptor, "fields": fields}


def _write(frame: pd.DataFrame, path: Path, descriptor: dict[str, Any]) -> None:
    table = pa.Table.from_pandas(frame, preserve_index=False)
    metadata = {**(table.schema.metadata or {}), _VERSION: __version__.encode()}
    if descriptor:
        metadata[_DESCRIPTOR] = json.dumps(descriptor, ensure_ascii=False).encode()
    parquet.write_table(table.replace_schema_metadata(metadata), path, compression="zstd")


def _read(path: Path) -> pd.DataFrame:
    try:
        frame: pd.DataFrame = parquet.read_table(path).to_pandas()
    except (pa.ArrowInvalid, OSError) as error:
        raise SourceFileError(
            f"broken store ({error})", where=str(path), remedy="Load the exports again."
        ) from error
    return frame
