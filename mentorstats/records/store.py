"""The checked tables on disk: Parquet that carries its part of the data dictionary.

A store is written whole into a folder of its own; one small file says which folder holds, and is replaced
last, so that a run that breaks off leaves the old store.
"""

import json
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from mentorstats import dictionary
from mentorstats.errors import SourceFileError
from mentorstats.records import lock
from mentorstats.writing import PART, write_beside

FOLDER = ".mentorstats"
POINTER = "current"
_VERSION = "stored-"
_TRIES = 20  # readings before a reader that is always overtaken gives up
BESIDE = (
    "problems",
    "sources",
    "crosswalk",
    "headings",
    "inputs",
)  # frames that are no table of the dictionary
KEY = b"mentorstats.table_schema"
LEVELS = b"mentorstats.levels"  # Parquet drops the categories of a column without rows


def write(folder: Path, frames: Mapping[str, pd.DataFrame]) -> None:
    """Write one Parquet file a frame into ``folder/.mentorstats/``, whole or not at all.

    The files go into a new folder of their own; then one file, `POINTER`, is replaced, which says which
    folder holds. A reader sees the old ones or the new ones. Runs that write at once wait for each other.

    Raises
    ------
    SourceFileError
        The place cannot be written to, the disk is full, or another run is writing and does not end.
    """
    home = folder / FOLDER
    try:
        home.mkdir(parents=True, exist_ok=True)
        with lock.held(home):
            fresh = Path(tempfile.mkdtemp(prefix=_VERSION, dir=home))
            try:
                for name, frame in frames.items():
                    pq.write_table(_described(name, frame), fresh / f"{name}.parquet")
                before = _current(home)
                write_beside(home / POINTER, f"{fresh.name}\n".encode())
            except BaseException:
                shutil.rmtree(fresh, ignore_errors=True)
                raise
            _remove_others(home, keep={fresh.name, before})
    except (OSError, pa.ArrowInvalid) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SourceFileError(
            f"the store cannot be written: {reason}",
            where=str(home),
            remedy="Free space, or store in another folder.",
        ) from error


def read(folder: Path) -> dict[str, pd.DataFrame]:
    """Return the frames of ``folder/.mentorstats/``, equal to those that were written together."""
    home = folder / FOLDER
    for _ in range(_TRIES):
        version = _current(home)
        try:
            return _read(home / version)
        except SourceFileError:
            if version == _current(home):
                raise  # nobody has replaced it in the meantime: it is broken
    raise SourceFileError("is replaced faster than it can be read", where=str(home), remedy="Try again.")


def current(folder: Path) -> Path:
    """Return the folder that holds the stored files now."""
    return folder / FOLDER / _current(folder / FOLDER)


def _current(home: Path) -> str:
    """Name of the folder that holds, empty where there is none."""
    try:
        name = (home / POINTER).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""
    return name if name.startswith(_VERSION) and Path(name).name == name else ""


def _remove_others(home: Path, *, keep: set[str]) -> None:
    """Remove what earlier runs left, also dead ones, under the lock; the folder before stays for readers."""
    for unfinished in home.glob(f".{POINTER}{PART}*"):
        unfinished.unlink(missing_ok=True)
    for path in home.glob(f"{_VERSION}*"):
        if path.name not in keep:
            shutil.rmtree(path, ignore_errors=True)


def _read(home: Path) -> dict[str, pd.DataFrame]:
    frames = {}
    for name in (*dictionary.tables(), *BESIDE):
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
