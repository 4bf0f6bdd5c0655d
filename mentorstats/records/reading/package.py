"""What is inside an XLSX package, before it is read: error cells, and cells far from the rest.

The reader shows a cell with an error such as #N/A as empty, and lays a sheet out as a rectangle up to its
last filled cell, so both are looked for in the sheet's own XML first.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree
from xml.parsers import expat

from mentorstats.errors import SourceFileError

Place = tuple[int, int]  # row and column, from 0

_LARGEST = 2**30  # bytes of one part of a package, unpacked
_AREA = 20_000_000  # cells of a sheet as a rectangle: about 700 MB
_ERROR = re.compile(rb"""\st\s*=\s*["']e["']""")
_COLUMN = re.compile(rb"""\sr\s*=\s*["']([A-Z]{1,3})[0-9]""")
_ROW = re.compile(rb"""\sr\s*=\s*["'][A-Z]{1,3}([0-9]{1,7})["']""")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"


def looked_through(path: Path, file: str) -> dict[str, dict[Place, str]]:
    """Return the cells that hold an error, by sheet, with what they show.

    Raises
    ------
    SourceFileError
        A part is larger than can be unpacked, or a cell is so far from the rest that the sheet
        cannot be laid out.
    """
    found: dict[str, dict[Place, str]] = {}
    with zipfile.ZipFile(path) as packed:
        for name, part in sheets(packed, file).items():
            content = unpacked(packed, part, file)
            _refuse_far_cells(content, file, name)
            if _ERROR.search(content):
                found[name] = _Errors().read(content, file)
    return found


def sheets(packed: zipfile.ZipFile, file: str) -> dict[str, str]:
    """Name of each worksheet and the part that holds it; transitional or strict, any prefix."""
    start = _links(packed, "_rels/.rels", "", file)
    home = next((target for kind, target in start.values() if kind == "officeDocument"), "xl/workbook.xml")
    folder, name = posixpath.split(home)
    links = _links(packed, f"{folder}/_rels/{name}.rels", folder, file)
    parts = {}
    for element in ElementTree.fromstring(unpacked(packed, home, file)).iter():
        if _local(element.tag) != "sheet":
            continue
        kind, target = links.get(element.get(_RELATION) or element.get(_STRICT) or "", ("", ""))
        if kind == "worksheet":
            parts[str(element.get("name"))] = target
    return parts


def _links(packed: zipfile.ZipFile, part: str, folder: str, file: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each link of a part, by its id."""
    root = ElementTree.fromstring(unpacked(packed, part, file))
    found = {}
    for link in root:
        target = str(link.get("Target"))
        place = target.removeprefix("/") if target.startswith("/") else posixpath.join(folder, target)
        kind = str(link.get("Type")).rsplit("/", 1)[-1]
        found[str(link.get("Id"))] = (kind, posixpath.normpath(place))
    return found


def unpacked(packed: zipfile.ZipFile, part: str, file: str) -> bytes:
    """Return the bytes of a part, no more than can be held."""
    with packed.open(part) as opened:
        content = opened.read(_LARGEST + 1)
    if len(content) > _LARGEST:
        raise SourceFileError(
            f"the part {part} unpacks to more than {_LARGEST:,} bytes",
            where=file,
            remedy="Save the table as CSV.",
        )
    return content


def _refuse_far_cells(content: bytes, file: str, sheet: str) -> None:
    """Raise where the rectangle up to the last cell is larger than can be held."""
    columns = max(map(_position, set(_COLUMN.findall(content))), default=0) + 1
    rows = max((int(row) for row in set(_ROW.findall(content))), default=1)
    if rows * columns > _AREA:
        far = _far(content, rows, columns)
        raise SourceFileError(
            f"cell {far} stands far from the rest: {rows:,} rows by {columns:,} columns",
            where=f"{file}, sheet {sheet!r}",
            remedy="Delete the rows and columns behind the table, and save the workbook again.",
        )


def _far(content: bytes, rows: int, columns: int) -> str:
    """Name of a cell in the last column, or in the last row."""
    letters = _letters(columns - 1)
    of_column = re.search(rb"""\sr\s*=\s*["'](%s[0-9]{1,7})["']""" % letters.encode(), content)
    of_row = re.search(rb"""\sr\s*=\s*["']([A-Z]{1,3}0*%d)["']""" % rows, content)
    found = of_column if columns > 1000 else of_row or of_column
    return found[1].decode() if found else letters


class _Errors:
    """Cells with an error, with their places; a cell or row without one follows the cell or row before."""

    def __init__(self) -> None:
        self.found: dict[Place, str] = {}
        self.row = self.column = -1
        self.inside = self.value = False
        self.text: list[str] = []

    def read(self, content: bytes, file: str) -> dict[Place, str]:
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._data
        parser.StartDoctypeDeclHandler = lambda *_: self._refuse(file)
        parser.Parse(content, True)
        return self.found

    def _refuse(self, file: str) -> None:
        raise SourceFileError(
            "the workbook declares entities", where=file, remedy="Open it and save it again as XLSX."
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        kind = name.rpartition(":")[2]
        if kind == "row":
            self.row = int(attributes["r"]) - 1 if "r" in attributes else self.row + 1
            self.column = -1
        elif kind == "c":
            letters = attributes.get("r", "").rstrip("0123456789")
            self.column = _position(letters.encode()) if letters else self.column + 1
            self.inside, self.text = attributes.get("t") == "e", []
        elif kind == "v":
            self.value = self.inside

    def _data(self, text: str) -> None:
        if self.value:
            self.text.append(text)

    def _end(self, name: str) -> None:
        kind = name.rpartition(":")[2]
        if kind == "v":
            self.value = False
        elif kind == "c" and self.inside:
            self.found[self.row, self.column] = "".join(self.text) or "#N/A"
            self.inside = False


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _position(letters: bytes) -> int:
    """Column of its letters, from 0."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number - 1


def _letters(position: int) -> str:
    text = ""
    while position >= 0:
        position, rest = divmod(position, 26)
        text, position = chr(ord("A") + rest) + text, position - 1
    return text
