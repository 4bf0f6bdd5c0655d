"""What is inside an XLSX package, before it is read: how much, how far apart, and cells without a value.

The reader unpacks without end, lays a sheet out as a rectangle up to its last filled cell, keeps the later
of two cells in one place, and shows a cell with an error such as #N/A, or a formula that was never computed,
as empty. So all of these are looked for first.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn
from xml.etree import ElementTree
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from mentorstats.errors import SourceFileError, shortened

Place = tuple[int, int]  # row and column, from 0

UNCOMPUTED = "formula without a stored value"

_ROWS, _COLUMNS = 2**20, 2**14  # of a sheet, by the standard
_LARGEST = 2**29  # bytes of a package, unpacked
_ALWAYS = 2**25  # bytes that any package may have
_RATIO = 100  # bytes unpacked for one packed, above that
_AREA = 20_000_000  # cells of a sheet as a rectangle: about 800 MB
_SPARE = 4_000_000  # of them, those that may be empty in any sheet
_PER_CELL = 8  # and for each filled cell
_PIECE = 2**24  # bytes looked at in one go
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"

_USUAL = re.compile(rb'<c r="([A-Z]{1,3})([1-9][0-9]{0,6})"')
_CELL = re.compile(rb"<(?:[^\s<>/!?]+:)?c[\s/>]")
_UNUSUAL = re.compile(rb"""\x00|<!|<(?:[^\s<>/!?]+:)?f[\s/>]|\st\s*=\s*["'](?:e["']|[^"']*&)""")
_REFERENCE = re.compile(r"([A-Za-z]{1,3})([0-9]{1,7})")


def looked_through(path: Path, file: str) -> dict[str, dict[Place, str]]:
    """Return the cells that hold an error or a formula without a value, by sheet, with what is to be shown.

    Raises
    ------
    SourceFileError
        The package unpacks to more than can be held, a cell is so far from the rest that the sheet cannot be
        laid out, a place is outside of any sheet, or two cells have the same place.
    """
    found: dict[str, dict[Place, str]] = {}
    with zipfile.ZipFile(path) as packed:
        _measure(packed, path.stat().st_size, file)
        for name, part in sheets(packed).items():
            content, where = packed.read(part), f"{file}, sheet {name!r}"
            if not _nothing_unusual(content):
                cells = _Cells(where)
                cells.read(content)
                _refuse_places(np.frombuffer(cells.filled, dtype=np.int64), where)
                if cells.shown:
                    found[name] = cells.shown
    return found


def _measure(packed: zipfile.ZipFile, size: int, file: str) -> None:
    """Raise where the parts are more than can be held; unpacks all, because a package may lie about them."""
    parts = packed.infolist()
    allowed = min(_LARGEST, _ALWAYS + _RATIO * size)
    if sum(part.file_size for part in parts) > allowed:
        raise SourceFileError(
            f"the workbook unpacks to more than {allowed:,} bytes",
            where=file,
            remedy="Save the table as CSV.",
        )
    names = [part.filename.lower() for part in parts]
    if len(set(names)) < len(names):
        raise SourceFileError(
            "the workbook holds two parts of one name",
            where=file,
            remedy="Open it and save it again as XLSX.",
        )
    for part in parts:
        with packed.open(part) as opened:
            while opened.read(_PIECE):
                pass


def sheets(packed: zipfile.ZipFile) -> dict[str, str]:
    """Name of each worksheet and the part that holds it; transitional or strict, any prefix."""
    start = _links(packed, "_rels/.rels", "")
    home = next((target for kind, target in start.values() if kind == "officeDocument"), "xl/workbook.xml")
    folder, name = posixpath.split(home)
    links = _links(packed, f"{folder}/_rels/{name}.rels", folder)
    parts = {}
    for element in ElementTree.fromstring(packed.read(home)).iter():
        if _local(element.tag) != "sheet":
            continue
        kind, target = links.get(element.get(_RELATION) or element.get(_STRICT) or "", ("", ""))
        if kind == "worksheet":
            parts[str(element.get("name"))] = target
    return parts


def _links(packed: zipfile.ZipFile, part: str, folder: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each link of a part, by its id."""
    root = ElementTree.fromstring(packed.read(part))
    found = {}
    for link in root:
        target = str(link.get("Target"))
        place = target.removeprefix("/") if target.startswith("/") else posixpath.join(folder, target)
        kind = str(link.get("Type")).rsplit("/", 1)[-1]
        found[str(link.get("Id"))] = (kind, posixpath.normpath(place))
    return found


def _nothing_unusual(content: bytes) -> bool:
    """Whether a sheet is sound and written as most are: each cell with its place, in order, no formula."""
    if _UNUSUAL.search(content):
        return False
    last, n, right, bottom = -1, 0, 0, 0
    for piece in _pieces(content):
        usual = _USUAL.findall(piece)
        if len(usual) != len(_CELL.findall(piece)):
            return False
        if usual:
            letters = {name: _position(name.decode()) for name, _ in set(usual)}
            column = np.fromiter((letters[name] for name, _ in usual), dtype=np.int64, count=len(usual))
            row = np.array([digits for _, digits in usual]).astype(np.int64) - 1
            place = np.concatenate([[last], row * _COLUMNS + column])
            if column.max() >= _COLUMNS or row.max() >= _ROWS or (np.diff(place) <= 0).any():
                return False
            last, n = int(place[-1]), n + len(usual)
            right, bottom = max(right, int(column.max()) + 1), max(bottom, int(row.max()) + 1)
    return right * bottom <= _allowed_area(n)


def _pieces(content: bytes) -> Iterator[bytes]:
    """The content in pieces that end before a tag, so that no tag is divided."""
    start = 0
    while start < len(content):
        end = min(start + _PIECE, len(content))
        if end < len(content):
            end = max(content.rfind(b"<", start + 1, end), start)
            if end == start:  # no tag begins here
                end = min(start + _PIECE, len(content))
        yield content[start:end]
        start = end


def _allowed_area(filled: int) -> int:
    return min(_AREA, _SPARE + _PER_CELL * filled)


def _refuse_places(filled: NDArray[np.int64], where: str) -> None:
    """Raise where two filled cells have one place, or one is too far from the rest."""
    if not len(filled):
        return
    places, times = np.unique(filled, return_counts=True)
    row, column = np.divmod(places, _COLUMNS)
    if (times > 1).any():
        at = int(np.argmax(times > 1))
        raise SourceFileError(
            f"cell {_name(int(row[at]), int(column[at]))} stands there twice",
            where=where,
            remedy="Open the workbook and save it again as XLSX.",
        )
    rows, columns = int(row.max()) + 1, int(column.max()) + 1
    if rows * columns > _allowed_area(len(places)):
        at = int(np.argmax(column)) if columns > 1000 else len(places) - 1
        raise SourceFileError(
            f"cell {_name(int(row[at]), int(column[at]))} stands far from the rest: "
            f"{rows:,} rows by {columns:,} columns",
            where=where,
            remedy="Delete the rows and columns behind the table, and save the workbook again.",
        )


class _Cells:
    """Filled cells with their places, as the reader takes them, and what those show that it reads as empty.

    A cell without a place follows the last one; a row without a number follows the row before.
    """

    def __init__(self, where: str) -> None:
        self.where = where
        self.filled = array("q")
        self.shown: dict[Place, str] = {}
        self.row = self.column = -1
        self.place: Place = (0, 0)
        self.error = self.formula = self.textual = self.has = False
        self.text: list[str] = []

    def read(self, content: bytes) -> None:
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.StartDoctypeDeclHandler = lambda *_: self._refuse("the workbook declares entities")
        self.parser.Parse(content, True)

    def _refuse(self, what: str) -> NoReturn:
        raise SourceFileError(what, where=self.where, remedy="Open it and save it again as XLSX.")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        kind = name.rpartition(":")[2]
        if kind == "c":
            self._begin(attributes)
        elif kind == "v":
            self.has = True
            if self.error or self.formula:
                self.parser.CharacterDataHandler = self.text.append
        elif kind == "is":
            self.has = True
        elif kind == "f":
            self.formula = True
        elif kind == "row":
            given = attributes.get("r", "")
            self.row = self._number(given) - 1 if given else self.row + 1
            self.column = -1

    def _begin(self, attributes: dict[str, str]) -> None:
        given = attributes.get("r", "")
        row, self.column = self._placed(given) if given else (self.row, self.column + 1)
        if not (0 <= row < _ROWS and 0 <= self.column < _COLUMNS):
            self._refuse(f"cell {given or _name(max(row, 0), self.column)} is outside of any sheet")
        self.place, self.text = (row, self.column), []
        self.error, self.textual = attributes.get("t") == "e", attributes.get("t") in ("str", "inlineStr")
        self.formula = self.has = False

    def _placed(self, given: str) -> Place:
        found = _REFERENCE.fullmatch(given)
        if found is None:
            self._refuse(f"a cell has the place {shortened(given, 40)!r}, outside of any sheet")
        return int(found[2]) - 1, _position(found[1].upper())

    def _number(self, given: str) -> int:
        if not (given.isascii() and given.isdecimal() and len(given) <= len(str(_ROWS))):
            self._refuse(f"a row has the number {shortened(given, 40)!r}, outside of any sheet")
        return int(given)

    def _end(self, name: str) -> None:
        kind = name.rpartition(":")[2]
        if kind == "v":
            self.parser.CharacterDataHandler = None
        elif kind == "c":
            text = "".join(self.text)
            if self.error:
                self.shown[self.place] = text or "#N/A"
            elif self.formula and not text and not self.textual:
                self.shown[self.place] = UNCOMPUTED
            elif not self.has:
                return
            self.filled.append(self.place[0] * _COLUMNS + self.place[1])


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _position(letters: str) -> int:
    """Column of its letters, from 0."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number - 1


def _name(row: int, column: int) -> str:
    """Name of the cell in a row and column, counted from 0."""
    text, column = "", column + 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return f"{text}{row + 1}"
