"""CSV as text: nothing is guessed, and each record knows the line where it starts.

The whole file goes through pyarrow; where its records and the file's lines do not tally (ragged
rows, stray quotes, old line ends) the slower reader of the standard library takes over, which can
say line by line what is wrong.
"""

import csv
import io
from pathlib import Path
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.csv

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import encode, from_texts
from mentorstats.records.reading.sheet import Options, Sheet, one_heading

_NEWLINE, _QUOTE, _RETURN = b'\n"\r'
_MARKS = {
    b"PK\x03\x04": "an XLSX workbook",
    b"\xd0\xcf\x11\xe0": "an old or encrypted workbook",
    b"PAR1": "Parquet",
}
_LONGEST_CELL = 2**31 - 1
_BLOCK = 2**22  # bytes

Places: TypeAlias = "npt.NDArray[np.int64]"


def read(path: Path, file: str, options: Options) -> list[Sheet]:
    """Read one CSV file; raises SourceFileError where it is not CSV in the encoding named."""
    text = _as_utf8(path.read_bytes(), file, options.encoding)
    starts, ends, quoted, tidy = _records(text, options.delimiter)
    filled = np.flatnonzero(ends - starts > 0)
    if not len(filled) or options.heading_rows[-1] > len(starts):
        raise SourceFileError("there is no heading row", where=file, remedy="Export it again, with headings.")
    heads = [_heading_record(starts, row, text) for row in options.heading_rows]
    cells = [_split(text[starts[head] : ends[head]].decode(), options.delimiter, file) for head in heads]
    headings, head = one_heading(cells), heads[-1]
    body = filled[filled > head]
    sure = tidy and len(body)
    quick = _quick(text, int(ends[head]), len(headings), options.delimiter, quoted) if sure else None
    if quick is not None and quick.num_rows == len(body):
        columns = tuple(encode(column) for column in quick.columns)
        lines = _lines(text, starts, body, quoted)
        return [Sheet(file=file, sheet="", headings=headings, columns=columns, rows=lines)]
    return [_slow(text, file, options)]


def _as_utf8(content: bytes, file: str, encoding: str) -> bytes:
    for mark, kind in _MARKS.items():
        if content.startswith(mark):
            raise SourceFileError(
                f"is {kind}, not CSV", where=file, remedy="Give the file the suffix of what it holds."
            )
    if content.startswith((b"\xff\xfe", b"\xfe\xff")) and not encoding.lower().startswith("utf-16"):
        raise SourceFileError(
            "is UTF-16 text, not " + encoding, where=file, remedy='Say encoding = "utf-16" in mapping.toml.'
        )
    try:
        if encoding.lower().replace("_", "-") in ("utf-8", "utf8", "utf-8-sig"):
            content = content.removeprefix(b"\xef\xbb\xbf")
            if not content.isascii():
                content.decode("utf-8")
        else:
            content = content.decode(encoding).removeprefix("\ufeff").encode("utf-8")
    except UnicodeDecodeError as error:
        raise _not_decoded(content, file, encoding, error) from error
    if b"\0" in content:
        line = content.count(b"\n", 0, content.index(b"\0")) + 1
        raise SourceFileError(
            f"line {line} holds a NUL byte",
            where=file,
            remedy="The file is damaged or not plain text; export it again.",
        )
    return content


def _not_decoded(content: bytes, file: str, encoding: str, error: UnicodeDecodeError) -> SourceFileError:
    line = content.count(b"\n", 0, error.start) + 1
    return SourceFileError(
        f"line {line} is not {encoding} text (byte 0x{content[error.start]:02x})",
        where=file,
        remedy='Export it as UTF-8, or name its encoding in mapping.toml, for example encoding = "cp1252".',
    )


def _records(text: bytes, delimiter: str) -> tuple[Places, Places, bool, bool]:
    """Find where each record starts and ends, blank ones too.

    Also returns whether any record holds a line end, and whether every quotation mark stands where
    one opens or closes a cell; only then are the places sure.
    """
    content = np.frombuffer(text, dtype=np.uint8)
    newlines = _places(content, _NEWLINE)
    outside, tidy = newlines, True
    if _QUOTE in text:
        quotes = _places(content, _QUOTE)
        tidy = _quotes_fit(content, quotes, delimiter)
        outside = newlines[np.searchsorted(quotes, newlines) % 2 == 0]
    if len(text) and not (len(outside) and outside[-1] == len(text) - 1):
        outside = np.append(outside, len(text))
    starts = np.concatenate(([0], outside[:-1] + 1)) if len(outside) else np.empty(0, dtype=np.int64)
    before = content[np.maximum(outside - 1, 0)] if len(text) else content
    ends = np.maximum(outside - (before == _RETURN), starts)
    return starts, ends, bool(len(outside) < len(newlines)), tidy


def _places(content: npt.NDArray[np.uint8], byte: int) -> Places:
    """Return where a byte stands; block by block, for a mask of the whole file costs more than it."""
    blocks = range(0, len(content), _BLOCK)
    found = [np.flatnonzero(content[first : first + _BLOCK] == byte) + first for first in blocks]
    return np.concatenate(found) if found else np.empty(0, dtype=np.int64)


def _quotes_fit(content: npt.NDArray[np.uint8], quotes: Places, delimiter: str) -> bool:
    """Whether each odd mark follows, and each even one precedes, the edge of a cell or another mark."""
    edges = np.array([ord(delimiter), _NEWLINE, _RETURN, _QUOTE], dtype=np.uint8)
    opening, closing = quotes[0::2], quotes[1::2]
    before = content[opening[opening > 0] - 1]
    after = content[closing[closing < len(content) - 1] + 1]
    return len(quotes) % 2 == 0 and bool(np.isin(before, edges).all() and np.isin(after, edges).all())


def _heading_record(starts: Places, header_row: int, text: bytes) -> int:
    """Position of the record that starts on, or next after, the heading's line."""
    if header_row == 1:
        return 0
    offset = 0
    for _ in range(header_row - 1):
        offset = text.find(b"\n", offset) + 1
    return int(np.searchsorted(starts, offset))


def _split(line: str, delimiter: str, file: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line, newline=""), delimiter=delimiter), [])
    except csv.Error as error:
        raise SourceFileError(
            f"its headings cannot be read: {error}",
            where=file,
            remedy="Shorten them; if the file has none, name columns in its first row.",
        ) from None


def _quick(text: bytes, offset: int, width: int, delimiter: str, quoted: bool) -> pa.Table | None:
    """Read the records after ``offset`` as text columns, or None where pyarrow finds one ragged."""
    names = [str(i) for i in range(width)]
    try:
        return pa.csv.read_csv(
            pa.BufferReader(pa.py_buffer(memoryview(text)[offset:])),
            read_options=pa.csv.ReadOptions(column_names=names),
            parse_options=pa.csv.ParseOptions(delimiter=delimiter, newlines_in_values=quoted),
            convert_options=pa.csv.ConvertOptions(
                column_types={name: pa.string() for name in names}, strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None


def _lines(text: bytes, starts: Places, records: Places, quoted: bool) -> Places:
    """Return the line on which each of these records starts."""
    if not quoted:
        return records + 1
    newlines = _places(np.frombuffer(text, dtype=np.uint8), _NEWLINE)
    return np.searchsorted(newlines, starts[records]) + 1


def _slow(text: bytes, file: str, options: Options) -> Sheet:
    """Read record by record, setting those aside that do not fit the headings."""
    reader = csv.reader(io.StringIO(text.decode(), newline=""), delimiter=options.delimiter, strict=True)
    heads: list[list[str]] = []
    width = 0
    kept: list[list[str]] = []
    rows: list[int] = []
    ragged: list[tuple[int, tuple[str, ...]]] = []
    line = 1
    limit = csv.field_size_limit(_LONGEST_CELL)
    try:
        for record in reader:
            start, line = line, reader.line_num + 1
            if not any(map(str.strip, record)):
                continue
            if len(heads) < len(options.heading_rows):
                if line > options.heading_rows[len(heads)]:
                    heads.append(record)
                    width = max(width, len(record))
                continue
            fitted = _fitted(record, width)
            if len(fitted) == width:
                kept.append(fitted)
                rows.append(start)
            else:
                ragged.append((start, tuple(record)))
    except csv.Error as error:
        raise SourceFileError(
            f"the record that starts on line {line} is not CSV: {error}",
            where=file,
            remedy="Look for a quotation mark that is opened and not closed.",
        ) from error
    finally:
        csv.field_size_limit(limit)
    cells = list(zip(*kept, strict=True)) if kept else [()] * width
    return Sheet(
        file=file,
        sheet="",
        headings=one_heading(heads),
        columns=tuple(from_texts(column) for column in cells),
        rows=np.array(rows, dtype=np.int64),
        ragged=tuple(ragged),
    )


def _fitted(record: list[str], width: int) -> list[str]:
    """Cut empty cells after the last heading; a spreadsheet leaves them behind."""
    return record[:width] if len(record) > width and not any(record[width:]) else record
