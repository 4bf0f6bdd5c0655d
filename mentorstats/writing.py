"""Write a file beside its place and rename it, so that nobody meets half of one; tables that open safely."""

from __future__ import annotations

import io
import os
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from mentorstats.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd

PART = ".part-"  # between the name of a file and what makes an unfinished one different from all others
_DEAD = 3600.0  # seconds after which an unfinished file is that of a run that has ended

OWN = "reports"  # the folder among the exports that is ours

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a cell of text may begin with that a spreadsheet would run or swallow."""
GUARD = "'"


def write_beside(path: Path, content: bytes) -> Path:
    """Write bytes to a file, whole or not at all; its folder is made where it is missing.

    What a run that was killed left of the same file is removed.

    Raises
    ------
    ArgumentError
        The place cannot be written to, or the disk is full.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _clear(path)
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}{PART}")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.chmod(beside, 0o666 & ~_umask())
            os.replace(beside, path)
        except OSError:
            os.unlink(beside)
            raise
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ArgumentError(
            f"cannot be written: {reason}", where=str(path), remedy="Free space, or name another place."
        ) from error
    return path


def can_write(folder: Path) -> None:
    """Raise ArgumentError now where a folder cannot be written to, before work is done in vain."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise ArgumentError("is not a folder", where=str(there), remedy="Name another place.")
    try:
        handle, beside = tempfile.mkstemp(dir=there, prefix=PART)
        os.close(handle)
        os.unlink(beside)
    except OSError as error:
        raise ArgumentError(
            f"cannot be written: {error.strerror}", where=str(there), remedy="Name another place."
        ) from error


def refuse_input(path: Path, *inputs: Path, folder: Path | None = None) -> None:
    """Raise ArgumentError where writing would destroy an input, or be read as one the next time.

    Parameters
    ----------
    path
        What is to be written.
    inputs
        Files that are read.
    folder
        Folder of exports that is read; inside it only ``reports`` is written to.
    """
    for given in inputs:
        if path.exists() and given.exists() and path.samefile(given):
            raise ArgumentError("is the file that is read", where=str(path), remedy="Name another file.")
    if folder is None:
        return
    home, target = folder.resolve(), path.resolve()
    if target != home and home not in target.parents:
        return
    if home / OWN not in (target, *target.parents):
        raise ArgumentError(
            "lies among the exports, where it could replace one or be read as one",
            where=str(path),
            allowed=f"a place outside {folder}, or in {folder / OWN}",
        )


def write_table(path: Path, table: pd.DataFrame) -> Path:
    """Write a table, unrounded and without its index, as CSV or Parquet by the suffix of the file.

    Text in a CSV file that a spreadsheet would run is guarded; see `guarded`.

    Raises
    ------
    ArgumentError
        Another suffix, or the place cannot be written to.
    """
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return write_beside(path, guarded(table).to_csv(index=False, lineterminator="\r\n").encode("utf-8"))
    if suffix != ".parquet":
        raise ArgumentError(f"{path.name!r} has no suffix for a table", allowed=".csv, .parquet")
    out = io.BytesIO()
    table.to_parquet(out, index=False)
    return write_beside(path, out.getvalue())


def guarded(table: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before text that a spreadsheet would run, and before text that begins with one.

    Numbers, dates and missing values are left alone; taking one leading apostrophe off gives the text again.
    """
    guards = (*FORMULA, GUARD)

    def guard(value: object) -> object:
        return GUARD + value if isinstance(value, str) and value.startswith(guards) else value

    made = table.copy()
    for place, kind in enumerate(made.dtypes):
        if str(kind) in ("object", "str", "string", "category"):
            made.isetitem(place, made.iloc[:, place].astype(object).map(guard).to_numpy())
    return made.set_axis([guard(name) for name in made.columns], axis=1)


def _clear(path: Path) -> None:
    """Remove unfinished files of the same name that a dead run left."""
    for left in path.parent.glob(f".{_escaped(path.name)}{PART}*"):
        if time.time() - left.lstat().st_mtime > _DEAD:
            left.unlink(missing_ok=True)


def _escaped(name: str) -> str:
    """A name for a glob pattern, in which brackets and stars mean themselves."""
    return "".join(f"[{mark}]" if mark in "*?[" else mark for mark in name)


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now
