"""Write a file beside its place and rename it, so that nobody meets half of one."""

from __future__ import annotations

import io
import os
import tempfile
from pathlib import Path

import pandas as pd

from mentorstats.errors import ArgumentError


def write_beside(path: Path, content: bytes) -> Path:
    """Write bytes to a file, whole or not at all; its folder is made where it is missing.

    Raises
    ------
    ArgumentError
        The place cannot be written to.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as beside:
            beside.write(content)
        try:
            os.chmod(beside.name, 0o666 & ~_umask())
            os.replace(beside.name, path)
        except OSError:
            os.unlink(beside.name)
            raise
    except OSError as error:
        raise ArgumentError(
            f"cannot be written: {error.strerror}", where=str(path), remedy="Name another place with --out."
        ) from error
    return path


def write_table(path: Path, table: pd.DataFrame) -> Path:
    """Write a table, unrounded and without its index, as CSV or Parquet by the suffix of the file.

    Raises
    ------
    ArgumentError
        Another suffix, or the place cannot be written to.
    """
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return write_beside(path, table.to_csv(index=False).encode("utf-8"))
    if suffix != ".parquet":
        raise ArgumentError(f"{path.name!r} has no suffix for a table", allowed=".csv, .parquet")
    out = io.BytesIO()
    table.to_parquet(out, index=False)
    return write_beside(path, out.getvalue())


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now
