"""Read one file by its suffix, everything as text."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.compute as pc

from mentorstats.errors import SourceFileError
from mentorstats.records.reading import delimited, parquet, workbook
from mentorstats.records.reading.column import trimmed
from mentorstats.records.reading.sheet import Options, Sheet

Reader = Callable[[Path, str, Options], list[Sheet]]

READERS: dict[str, Reader] = {".csv": delimited.read, ".xlsx": workbook.read, ".parquet": parquet.read}
LOOKALIKES = (".tsv", ".txt", ".xls", ".xlsm", ".xlsb", ".ods")  # tables that are not read, and said so


def read(path: Path, file: str, options: Options) -> list[Sheet]:
    """Read every sheet of one file.

    Parameters
    ----------
    path
        The file.
    file
        What messages call it: its path within the programme's folder.
    options
        How to read it.

    Raises
    ------
    SourceFileError
        The file is missing, unreadable, encrypted, or not what its suffix says.
    """
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise SourceFileError(
            f"files of kind {path.suffix!r} are not read",
            where=file,
            allowed=READERS,
            remedy="Save it as one of these.",
        )
    try:
        return [_tidied(sheet) for sheet in reader(path, file, options)]
    except FileNotFoundError as error:
        raise SourceFileError("there is no such file", where=file) from error
    except OSError as error:
        raise SourceFileError(f"cannot be opened: {error.strerror}", where=file) from error


def _tidied(sheet: Sheet) -> Sheet:
    """Take off white space around cells, and rows that hold nothing."""
    columns = [trimmed(column) for column in sheet.columns]
    blank = np.ones(len(sheet.rows), dtype=bool)
    for column in columns:
        blank &= column.spread(pc.equal(column.values, ""))
        if not blank.any():
            return replace(sheet, columns=tuple(columns))
    return replace(sheet, columns=tuple(column.take(~blank) for column in columns), rows=sheet.rows[~blank])


def checksum(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()
