"""Files to tables of text: nothing is guessed, and every record knows its row.

Every cell is text as the file shows it: "NA" and "007" stay what they are. A number in a workbook
becomes the text a person would type, a date cell its ISO date.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv
from pyarrow import parquet

from mentorstats.errors import SourceFileError

Rows: TypeAlias = npt.NDArray[np.int64]

KINDS = (".csv", ".tsv", ".xlsx", ".parquet")
OTHER_TABLES = (".xls", ".xlsb", ".xlsm", ".ods", ".numbers", ".sav", ".dta")  # named when left unread

_OLE = bytes.fromhex("d0cf11e0a1b11ae1")  # old binary workbooks, and encrypted new ones
_DELIMITERS = ",;\t|"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as text.

    Attributes
    ----------
    file, sheet
        Name of the file; name of the sheet, empty where the file has none.
    header_row
        Row of the headings, as a spreadsheet shows it.
    table : pyarrow Table
        One string column a heading.
    rows : integer array (n,)
        Row of each record as a spreadsheet shows it; in CSV the line where the record starts.
    ragged : list of (row, number of cells, text)
        Records with another number of cells than headings; they are not in the table.
    """

    file: str
    sheet: str
    header_row: int
    table: pa.Table
    rows: Rows
    ragged: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Form:
    """How a file is written, where the mapping says so."""

    header_row: int = 1
    delimiter: str = ""
    encoding: str = "utf-8"


def sheets(path: Path, *, form: Form | None = None, only: str | None = None) -> Iterator[Sheet]:
    """Read a file, sheet by sheet.

    Parameters
    ----------
    path
        A CSV, TSV, XLSX or Parquet file.
    form
        Header row, delimiter, encoding.
    only
        Name of the one sheet wanted.

    Raises
    ------
    SourceFileError
        The file is missing, not of these kinds, not what its suffix says, encrypted or broken; a
        heading stands twice; the sheet is not there.
    """
    form = form or Form()
    kind = path.suffix.lower()
    if not path.is_file():
        raise SourceFileError("no such file", where=str(path))
    if kind not in KINDS:
        raise SourceFileError(
            f"a file of kind {kind or 'without suffix'!r} is not read", where=path.name, allowed=KINDS
        )
    if path.stat().st_size == 0:
        raise SourceFileError("the file is empty", where=path.name, remedy="Export it again.")
    if kind == ".xlsx":
        yield from _workbook(path, form, only)
    elif kind == ".parquet":
        yield _parquet(path)
    else:
        yield _text(path, form, kind)


# --- text ------------------------------------------------------------------------------------------


def _text(path: Path, form: Form, kind: str) -> Sheet:
    data = _decoded(path, form.encoding)
    delimiter = form.delimiter or ("\t" if kind == ".tsv" else _guess_delimiter(data, form.header_row))
    fast = _fast_text(path, data, form, delimiter)
    return fast if fast is not None else _slow_text(path, data, form, delimiter)


def _decoded(path: Path, encoding: str) -> bytes:
    """File as UTF-8 bytes without a byte-order mark."""
    data = path.read_bytes()
    if data.startswith((b"PK\x03\x04", b"PAR1", _OLE)):
        raise SourceFileError(
            "the content is not text", where=path.name, remedy="Give the file the suffix of what it is."
        )
    try:
        text = data.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SourceFileError(
            f"line {line} is not {encoding}",
            where=path.name,
            remedy='Save it as UTF-8, or say encoding = "cp1252" (or what it is) in mapping.toml.',
        ) from error
    except LookupError as error:
        raise SourceFileError(f"unknown encoding {encoding!r}", where=path.name) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise SourceFileError(
            f"line {line} holds a null character", where=path.name, remedy="Export the file again as CSV."
        )
    return (
        text.encode("utf-8")
        if encoding.lower() not in ("utf-8", "utf8")
        else data.removeprefix(b"\xef\xbb\xbf")
    )


def _guess_delimiter(data: bytes, header_row: int) -> str:
    lines = data.split(b"\n", header_row)
    header = lines[min(header_row, len(lines)) - 1].decode("utf-8")
    return max(_DELIMITERS, key=header.count)


def _fast_text(path: Path, data: bytes, form: Form, delimiter: str) -> Sheet | None:
    """Parse by Arrow, or None where rows and lines do not correspond one to one."""
    lines = data.count(b"\n") + (not data.endswith(b"\n"))
    try:
        read = arrow_csv.read_csv(
            pa.py_buffer(data),
            read_options=arrow_csv.ReadOptions(skip_rows=form.header_row - 1, autogenerate_column_names=True),
            parse_options=arrow_csv.ParseOptions(delimiter=delimiter, newlines_in_values=False),
            convert_options=arrow_csv.ConvertOptions(
                column_types=_AllText(), strings_can_be_null=False, null_values=[]
            ),
        )
    except pa.ArrowInvalid:
        return None
    if read.num_rows != lines - form.header_row + 1 or b"\r\r" in data or read.num_rows == 0:
        return None
    names = _headings([column[0].as_py() for column in read.columns], path.name, "", form.header_row)
    body = read.slice(1).rename_columns([f"{number}" for number in range(len(read.columns))])
    rows = np.arange(form.header_row + 1, form.header_row + 1 + body.num_rows, dtype=np.int64)
    return _sheet(path.name, "", form.header_row, names, body.columns, rows)


class _AllText(dict[str, pa.DataType]):
    """Column types for Arrow: every generated column name is text."""

    def __init__(self) -> None:
        super().__init__({f"f{number}": pa.string() for number in range(2000)})


def _slow_text(path: Path, data: bytes, form: Form, delimiter: str) -> Sheet:
    """Parse record by record, where quoted line breaks, blank lines or ragged rows need it."""
    reader = csv.reader(io.StringIO(data.decode("utf-8"), newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    starts: list[int] = []
    before = 0
    try:
        for record in reader:
            if any(cell.strip() for cell in record):
                records.append(record)
                starts.append(before + 1)
            before = reader.line_num
    except csv.Error as error:
        raise SourceFileError(
            f"line {reader.line_num}: {error}", where=path.name, remedy="Look for an open quotation mark."
        ) from error
    return _from_records(path.name, "", form.header_row, records, starts)


# --- workbooks -------------------------------------------------------------------------------------


def _workbook(path: Path, form: Form, only: str | None) -> Iterator[Sheet]:
    from python_calamine import CalamineError, CalamineWorkbook

    _refuse_what_is_no_workbook(path)
    try:
        book = CalamineWorkbook.from_path(str(path))
    except (CalamineError, OSError, ValueError) as error:
        raise SourceFileError(
            f"the workbook cannot be read ({error})",
            where=path.name,
            remedy="Open it and save it again as .xlsx.",
        ) from error
    if only is not None and only not in book.sheet_names:
        raise SourceFileError(f"no sheet {only!r}", where=path.name, allowed=book.sheet_names)
    for name in [only] if only is not None else book.sheet_names:
        cells = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        records = [[_cell(value) for value in row] for row in cells]
        filled = [number for number, record in enumerate(records) if any(record)]
        if not filled:
            continue
        starts = [number + 1 for number in filled]
        yield _from_records(path.name, name, form.header_row, [records[number] for number in filled], starts)


def _refuse_what_is_no_workbook(path: Path) -> None:
    with path.open("rb") as handle:
        head = handle.read(8)
    if head == _OLE:
        raise SourceFileError(
            "the workbook is encrypted, or an old .xls under a new name",
            where=path.name,
            remedy="Save it as .xlsx without a password.",
        )
    if not zipfile.is_zipfile(path):
        raise SourceFileError("this is no workbook", where=path.name, remedy="Save it again as .xlsx.")


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value).strip()


def _number(value: float) -> str:
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


# --- parquet ---------------------------------------------------------------------------------------


def _parquet(path: Path) -> Sheet:
    try:
        read = parquet.read_table(path)
    except (pa.ArrowInvalid, OSError) as error:
        raise SourceFileError(f"the file cannot be read as Parquet ({error})", where=path.name) from error
    names = _headings(read.column_names, path.name, "", 0)
    columns = [_as_text(column) for column in read.columns]
    return _sheet(path.name, "", 0, names, columns, np.arange(1, read.num_rows + 1, dtype=np.int64))


def _as_text(column: pa.ChunkedArray) -> pa.ChunkedArray:
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_floating(column.type):
        texts = [None if value is None else _number(value) for value in column.to_pylist()]
        return pa.chunked_array([pa.array(texts, pa.string())])
    if pa.types.is_timestamp(column.type):
        texts = [None if value is None else _cell(value) for value in column.to_pylist()]
        return pa.chunked_array([pa.array(texts, pa.string())])
    return column.cast(pa.string())


# --- shared ----------------------------------------------------------------------------------------


def _from_records(
    file: str, sheet: str, header_row: int, records: list[list[str]], starts: list[int]
) -> Sheet:
    """Sheet from records and the rows they start in; the header is looked up by its row."""
    if header_row not in starts:
        raise SourceFileError(
            f"row {header_row} has no headings",
            where=_where(file, sheet),
            remedy="Say header_row = … in mapping.toml, counted as the spreadsheet shows rows.",
        )
    place = starts.index(header_row)
    header = [cell.strip() for cell in records[place]]
    while header and not header[-1]:
        header.pop()
    names = _headings(header, file, sheet, header_row)
    width = len(header)
    kept, rows, ragged = [], [], []
    for record, start in zip(records[place + 1 :], starts[place + 1 :], strict=True):
        if len(record) < width or any(cell.strip() for cell in record[width:]):
            ragged.append((start, len(record), " | ".join(record)))
        else:
            kept.append(record[:width])
            rows.append(start)
    columns: Iterable[tuple[str, ...]] = zip(*kept, strict=True) if kept else [()] * width
    arrays = [pa.chunked_array([pa.array(list(column), pa.string())]) for column in columns]
    return _sheet(file, sheet, header_row, names, arrays, np.asarray(rows, dtype=np.int64), tuple(ragged))


def _sheet(
    file: str,
    sheet: str,
    header_row: int,
    names: list[str],
    columns: list[pa.ChunkedArray],
    rows: Rows,
    ragged: tuple[tuple[int, int, str], ...] = (),
) -> Sheet:
    kept = [number for number, name in enumerate(names) if name]
    table = pa.table([columns[number] for number in kept], names=[names[number] for number in kept])
    return Sheet(file, sheet, header_row, table, rows, ragged)


def _headings(header: list[str], file: str, sheet: str, row: int) -> list[str]:
    """Trimmed headings; two alike are refused, a column without heading is no field."""
    names = [str(name).strip() for name in header]
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise SourceFileError(
            f"heading {twice[0]!r} stands {names.count(twice[0])} times in row {row}",
            where=_where(file, sheet),
            remedy="Give every column its own heading.",
        )
    return names


def _where(file: str, sheet: str) -> str:
    return f"{file}, sheet {sheet!r}" if sheet else file


def read_table(path: str | Path, *, sheet: str | None = None) -> pd.DataFrame:
    """Read one table of text from a CSV, TSV, XLSX or Parquet file.

    Parameters
    ----------
    path
        The file.
    sheet
        Sheet of a workbook; needed where it has more than one.

    Returns
    -------
    DataFrame
        One ``str`` column a heading, missing where a cell is empty; indexed by row as a spreadsheet
        shows it.

    Raises
    ------
    SourceFileError
        The file cannot be read, a record has another number of cells than there are headings, or
        the workbook has several sheets and none was named.
    """
    place = Path(path)
    found = list(sheets(place, only=sheet))
    if len(found) != 1:
        raise SourceFileError(
            f"{len(found)} sheets hold records",
            where=place.name,
            allowed=[one.sheet for one in found],
            remedy="Name one.",
        )
    if found[0].ragged:
        row, cells, _ = found[0].ragged[0]
        raise SourceFileError(
            f"row {row} has {cells} cells for {found[0].table.num_columns} headings",
            where=place.name,
            remedy="Look for a missing or an extra delimiter.",
        )
    frame = found[0].table.to_pandas().astype("str")
    for name in frame.columns:
        frame[name] = frame[name].str.strip()
    filled: pd.DataFrame = frame.where(frame.notna() & (frame != ""))
    return filled.set_index(pd.Index(found[0].rows, name="row"))
