"""The checked tables on disk: Parquet that carries its part of the data dictionary.

A store is written whole beside the old one and then takes its place, so that a run that breaks off
leaves the old one.
"""

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from mentorstats import dictionary
from mentorstats.errors import SourceFileError

FOLDER = ".mentorstats"
KEY = b"mentorstats.table_schema"
LEVELS = b"mentorstats.levels"  # Parquet drops the categories of a column without rows


def write(folder: Path, frames: Mapping[str, pd.DataFrame]) -> None:
    """Write one Parquet file a frame to ``folder/.mentorstats/``, which is replaced as a whole."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f"{FOLDER}-", dir=folder) as beside:
        fresh, old = Path(beside) / "new", Path(beside) / "old"
        fresh.mkdir()
        for name, frame in frames.items():
            pq.write_table(_described(name, frame), fresh / f"{name}.parquet")
        home = folder / FOLDER
        if home.exists():
            home.rename(old)
        try:
            fresh.rename(home)
        except OSError:
            if old.exists():
                old.rename(home)
            raise


def read(folder: Path) -> dict[str, pd.DataFrame]:
    """Return the frames of ``folder/.mentorstats/``, equal to those that were written."""
    home = folder / FOLDER
    frames = {}
    for name in (*dictionary.tables(), "problems", "sources"):
        path = home / f"{name}.parquet"
        try:
            table = pq.read_table(path)
        except (OSError, pa.ArrowInvalid) as error:
            raise SourceFileError(
                f"the stored {name} cannot be read", where=str(path), remedy="Load the exports again."
            ) from error
        if json.loads((table.schema.metadata or {}).get(KEY, b"null")) != _descriptor(name):
            raise SourceFileError(
                f"{name} was stored under another data dictionary",
                where=str(path),
                remedy="Load the exports again.",
            )
        frames[name] = _with_levels(table)
    return frames


def _with_levels(table: pa.Table) -> pd.DataFrame:
    """Return the frame, with the levels of its categories also where it has no row to show them."""
    frame: pd.DataFrame = table.to_pandas()
    if frame.empty:
        known = json.loads(table.schema.metadata.get(LEVELS, b"{}"))
        for column, levels in known.items():
            kind = pd.CategoricalDtype(pd.Index(levels, dtype="str"), ordered=True)
            frame[column] = pd.Categorical([], dtype=kind)
    return frame


def _described(name: str, frame: pd.DataFrame) -> pa.Table:
    table = pa.Table.from_pandas(frame, preserve_index=False)
    levels = {
        str(column): list(values.cat.categories)
        for column, values in frame.items()
        if isinstance(values.dtype, pd.CategoricalDtype)
    }
    own = {KEY: _descriptor(name), LEVELS: levels}
    metadata = dict(table.schema.metadata) | {key: json.dumps(value).encode() for key, value in own.items()}
    return table.replace_schema_metadata(metadata)


def _descriptor(name: str) -> object:
    return dictionary.table(name).descriptor if name in dictionary.tables() else None
