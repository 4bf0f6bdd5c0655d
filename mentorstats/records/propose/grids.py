"""Open every file of a folder, whatever separates its cells and however its letters are encoded."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from python_calamine import CalamineWorkbook, SheetVisibleEnum

from mentorstats.errors import SourceFileError
from mentorstats.records.reading import read
from mentorstats.records.reading.sheet import Options, Sheet

HEAD = 30  # rows in which headings are looked for
_ENCODINGS = ("utf-8-sig", "cp1252", "latin-1")
_MARKS = (",", ";", "\t", "|")
_LINES = 40  # by which a separator is judged
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One sheet before anything is known of it: its first rows as they stand, and how to read it whole.

    ``head`` holds the number of each row, as a spreadsheet shows it, and its cells.
    """

    path: Path
    file: str
    sheet: str
    hidden: bool
    options: Options
    head: tuple[tuple[int, tuple[str, ...]], ...]

    def whole(self, heading_rows: tuple[int, ...]) -> Sheet:
        """Read the sheet with its headings in these rows."""
        options = Options(
            heading_rows=heading_rows, delimiter=self.options.delimiter, encoding=self.options.encoding
        )
        return next(one for one in read.read(self.path, self.file, options) if one.sheet == self.sheet)


@dataclass(slots=True)
class Opened:
    """The grids of a folder, and the files that could not be opened, with why."""

    grids: list[Grid] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)


def opened(folder: Path, files: list[Path]) -> Opened:
    """Open files; one that cannot be read is told of, and the others are opened all the same."""
    found = Opened()
    for path in files:
        name = path.relative_to(folder).as_posix()
        if path.suffix.lower() not in read.READERS:
            found.failed.append((name, f"files of kind {path.suffix} are not read: save it as XLSX or CSV"))
            continue
        try:
            found.grids += _grids(path, name)
        except SourceFileError as error:
            found.failed.append((name, str(error)))
    return found


def _grids(path: Path, name: str) -> Iterator[Grid]:
    options, hidden = Options(), set[str]()
    if path.suffix.lower() == ".csv":
        options = _options(path)
    elif path.suffix.lower() == ".xlsx":
        hidden = _hidden(path)
    for sheet in read.read(path, name, options):
        head = tuple(_head(sheet, options.heading_rows[0]))
        if head:
            yield Grid(
                path=path,
                file=name,
                sheet=sheet.sheet,
                hidden=sheet.sheet in hidden,
                options=options,
                head=head,
            )


def _head(sheet: Sheet, first: int) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The first filled rows, those included that have more or fewer cells than the first."""
    columns = [column.take(np.arange(min(HEAD, len(column)))).array().to_pylist() for column in sheet.columns]
    rows = {
        int(row): cells for row, cells in zip(sheet.rows[:HEAD], zip(*columns, strict=True), strict=False)
    }
    rows |= {row: tuple(cells) for row, cells in sheet.ragged[:HEAD]}
    rows[first] = sheet.headings
    for row in sorted(rows)[:HEAD]:
        cells = tuple((cell or "").strip() for cell in rows[row])
        if any(cells):
            yield row, cells


def _hidden(path: Path) -> set[str]:
    try:
        with CalamineWorkbook.from_path(path) as book:
            return {one.name for one in book.sheets_metadata if one.visible != SheetVisibleEnum.Visible}
    except Exception:  # noqa: BLE001 - the reader that comes next says what is wrong with the file
        return set()


def _options(path: Path) -> Options:
    """Encoding and separator of a CSV file, and its first line that holds anything."""
    content = path.read_bytes()
    encoding = "utf-16" if content.startswith(_UTF16) else _encoding(content)
    text = content.decode(encoding, errors="replace")
    lines = text.splitlines()[: _LINES * 5]
    first = next((number for number, line in enumerate(lines, 1) if line.strip(' ,;\t|"')), 1)
    shown = {"utf-8-sig": "utf-8"}.get(encoding, encoding)
    return Options(heading_rows=(first,), delimiter=_separator(text), encoding=shown)


def _encoding(content: bytes) -> str:
    for encoding in _ENCODINGS:
        try:
            content.decode(encoding)
        except UnicodeDecodeError:
            continue
        return encoding
    return _ENCODINGS[-1]


def _separator(text: str) -> str:
    """The mark by which most records have the same number of cells, more than one."""
    best, chosen = 0.0, ","
    for mark in _MARKS:
        widths = _widths(text, mark)
        common = max(set(widths), key=widths.count) if widths else 0
        share = widths.count(common) / len(widths) if common > 1 else 0.0
        worth = share * min(common, 8) ** 0.5
        if worth > best:
            best, chosen = worth, mark
    return chosen


def _widths(text: str, mark: str) -> list[int]:
    found = []
    try:
        for record in csv.reader(io.StringIO(text[: _LINES * 4000], newline=""), delimiter=mark):
            if any(map(str.strip, record)):
                found.append(len(record))
            if len(found) >= _LINES:
                break
    except csv.Error:
        return found
    return found
