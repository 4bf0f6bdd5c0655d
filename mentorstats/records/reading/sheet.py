"""What a reader returns: one sheet of text cells, every row with the number a spreadsheet shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import Column, folded_texts


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a file is to be read; headings in several rows are read as one, from the top down."""

    heading_rows: tuple[int, ...] = (1,)
    delimiter: str = ","
    encoding: str = "utf-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Text cells of one sheet, or of a file that has none (``sheet`` is then empty).

    ``rows`` holds the number of each row as a spreadsheet shows it; in CSV the line where the
    record starts. ``ragged`` lists rows that do not fit the headings, with their cells.
    ``typed`` says that dates may stand as YYYY-MM-DD whatever the source's own format is, because
    the file kept them as dates and not as text.
    """

    file: str
    sheet: str
    headings: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: npt.NDArray[np.int64]
    ragged: tuple[tuple[int, tuple[str, ...]], ...] = ()
    typed: bool = False

    @property
    def where(self) -> str:
        """File and sheet, as a message names them."""
        return f"{self.file}, sheet {self.sheet!r}" if self.sheet else self.file

    def place(self, heading: str, *, fold_accents: bool = False) -> int | None:
        """Return the position of the column under a heading, or None where there is none.

        A heading that is the same wins; without one, the column whose heading is like it without case, line
        breaks and repeated blanks. Raises SourceFileError where several columns are meant alike.
        """
        places = [i for i, found in enumerate(self.headings) if found == heading]
        if not places:
            like = folded_headings((heading,), fold_accents)[0]
            folded = folded_headings(self.headings, fold_accents)
            places = [i for i, found in enumerate(folded) if found == like and found]
        if len(places) > 1:
            names = " and ".join(
                f"{column_name(i)}" + (f" {self.headings[i]!r}" if self.headings[i] != heading else "")
                for i in places
            )
            raise SourceFileError(
                f"{len(places)} columns are headed {heading!r} (columns {names})",
                where=self.where,
                remedy="Give each column that is used a heading of its own.",
            )
        return places[0] if places else None

    def column(self, heading: str, *, fold_accents: bool = False) -> Column:
        """Return the column under a heading, which must be there (see ``place``)."""
        return self.columns[self.need(heading, fold_accents=fold_accents)]

    def need(self, heading: str, *, fold_accents: bool = False) -> int:
        """Return the position of the column under a heading; raises SourceFileError where it is not there."""
        place = self.place(heading, fold_accents=fold_accents)
        if place is None:
            raise SourceFileError(f"has no column {heading!r}", where=self.where)
        return place


@lru_cache(maxsize=64)
def folded_headings(headings: tuple[str, ...], fold_accents: bool) -> tuple[str, ...]:
    """Return headings as they are compared where none is exactly the one looked for."""
    return tuple(folded_texts(pa.array(headings, pa.string()), accents=fold_accents).to_pylist())


def column_name(position: int) -> str:
    """Return the letters a spreadsheet gives the column at this position, 0 for the first."""
    letters = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def one_heading(rows: Sequence[Sequence[str]], *, merged: bool = False) -> tuple[str, ...]:
    """Return a heading a column from one or several rows of cells, white space around them taken off.

    In all rows but the last an empty cell belongs to the one on its left, unless ``merged`` says that merged
    cells are filled already. A column that has no cell of its own has no heading.
    """
    width = max(map(len, rows), default=0)
    own = [[cell.strip() for cell in row] + [""] * (width - len(row)) for row in rows]
    told = [row if merged or number == len(own) - 1 else _to_the_right(row) for number, row in enumerate(own)]
    filled = [any(cells) for cells in zip(*own, strict=True)]
    return tuple(
        " ".join(dict.fromkeys(cell for cell in cells if cell)) if used else ""
        for cells, used in zip(zip(*told, strict=True), filled, strict=True)
    )


def _to_the_right(cells: Sequence[str]) -> list[str]:
    left = ""
    return [left := cell or left for cell in cells]
