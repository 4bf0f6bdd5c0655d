"""XLSX as text: a cell shows what it holds, 3.0 as "3", a date as YYYY-MM-DD."""

import datetime as dt
import struct
import zipfile
import zlib
from itertools import zip_longest
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.parsers import expat

import numpy as np
from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, PasswordError, SheetTypeEnum

from mentorstats.errors import MentorstatsError, SourceFileError
from mentorstats.records.reading import package
from mentorstats.records.reading.column import from_texts
from mentorstats.records.reading.sheet import Options, Sheet, one_heading

_ZIP = b"PK\x03\x04"
_OLD = b"\xd0\xcf\x11\xe0"
_BROKEN = (
    CalamineError,
    zipfile.BadZipFile,
    ElementTree.ParseError,
    expat.ExpatError,
    zlib.error,
    struct.error,
    KeyError,
    EOFError,
    ValueError,  # bytes that are no UTF-8 among them
    RuntimeError,  # what zipfile says of encryption; NotImplementedError, of an unknown compression
    OverflowError,
)


def read(path: Path, file: str, options: Options) -> list[Sheet]:
    """Read every sheet that holds anything; raises SourceFileError where the file is no workbook."""
    try:
        errors = package.looked_through(path, file) if _head(path) == _ZIP else {}
        with CalamineWorkbook.from_path(path) as book:  # first, because it tells an encrypted one
            _need_zip(path, file)
            sheets = [
                _sheet(book.get_sheet_by_name(name), file, options, errors.get(name, {}))
                for name in _names(book)
            ]
    except PasswordError as error:
        raise SourceFileError(
            "the workbook is encrypted", where=file, remedy="Save it without a password."
        ) from error
    except MentorstatsError:
        raise
    except _BROKEN as error:
        _need_zip(path, file)
        raise _unreadable(error, file) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # the reader's own way of giving up, no Exception
            raise
        raise _unreadable(error, file) from error
    return [sheet for sheet in sheets if sheet is not None]


def _unreadable(error: BaseException, file: str) -> SourceFileError:
    return SourceFileError(
        f"the workbook cannot be read: {error}", where=file, remedy="Open it and save it again as XLSX."
    )


def _names(book: CalamineWorkbook) -> list[str]:
    return [sheet.name for sheet in book.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]


def _head(path: Path) -> bytes:
    with path.open("rb") as opened:
        return opened.read(4)


def _need_zip(path: Path, file: str) -> None:
    head = _head(path)
    if head != _ZIP:
        kind = "an old XLS workbook" if head == _OLD else "something else" if head else "an empty file"
        raise SourceFileError(
            f"is {kind}, not an XLSX workbook",
            where=file,
            remedy="Save it as XLSX, or give it its true suffix.",
        )


def _sheet(
    opened: CalamineSheet, file: str, options: Options, errors: dict[tuple[int, int], str]
) -> Sheet | None:
    cells: list[list[Any]] = opened.to_python(skip_empty_area=False)
    for (row, column), shown in errors.items():
        cells += [[] for _ in range(row + 1 - len(cells))]
        cells[row] += [""] * (column + 1 - len(cells[row]))
        cells[row][column] = shown
    if not any(map(_filled, cells)):
        return None
    if options.heading_rows[-1] > len(cells):  # an error only where a block asks for this sheet
        nothing = np.zeros(0, dtype=np.int64)
        return Sheet(file=file, sheet=opened.name, headings=(), columns=(), rows=nothing, typed=True)
    headings = _headings(opened, cells, options.heading_rows)
    rows = [i for i in range(options.heading_rows[-1], len(cells)) if _filled(cells[i])]
    columns = list(zip_longest(*(cells[i] for i in rows), fillvalue="")) or [()] * len(headings)
    return Sheet(
        file=file,
        sheet=opened.name,
        headings=headings,
        columns=tuple(from_texts(_texts(column)) for column in columns[: len(headings)]),
        rows=np.array(rows, dtype=np.int64) + 1,
        typed=True,
    )


def _headings(opened: CalamineSheet, cells: list[list[Any]], rows: tuple[int, ...]) -> tuple[str, ...]:
    """Headings from one or several rows; where cells are merged, the merged ones are one."""
    heads = [[_text(cell) for cell in cells[row - 1]] for row in rows]
    upper = {row - 1: head for row, head in zip(rows[:-1], heads, strict=False)}
    merged = False
    for (top, left), (_, right) in (opened.merged_cell_ranges or ()) if upper else ():
        if top in upper and left < right and left < len(upper[top]):
            merged = True
            head = upper[top]
            head[left : right + 1] = [head[left]] * (min(right, len(head) - 1) - left + 1)
    return one_heading(heads, merged=merged)


def _filled(row: list[Any]) -> bool:
    return any(cell != "" for cell in row)


def _texts(cells: tuple[Any, ...]) -> list[str]:
    return [cell if type(cell) is str else _text(cell) for cell in cells]


def _text(cell: Any) -> str:
    """Return what a cell holds, as text that loses nothing."""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 2**53 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return str(cell)
