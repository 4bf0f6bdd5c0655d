"""What a reader returns: one sheet of text cells, every row with the number a spreadsheet shows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import Column


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a file is to be read."""

    header_row: int = 1
    delimiter: str = ","
    encoding: str = "utf-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Text cells of one sheet, or of a file that has none (``sheet`` is then empty).

    ``rows`` holds the number of each row as a spreadsheet shows it; in CSV the line where the
    record starts. ``ragged`` lists rows that do not fit the headings, with their number of cells.
    ``typed`` says that dates may stand as YYYY-MM-DD whatever the source's own format is, because
    the file kept them as dates and not as text.
    """

    file: str
    sheet: str
    headings: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: npt.NDArray[np.int64]
    ragged: tuple[tuple[int, int], ...] = ()
    typed: bool = False

    @property
    def where(self) -> str:
        """File and sheet, as a message names them."""
        return f"{self.file}, sheet {self.sheet!r}" if self.sheet else self.file

    def column(self, heading: str) -> Column:
        """Return the column under a heading; raises where the heading stands twice, or never."""
        places = [i for i, found in enumerate(self.headings) if found == heading]
        if len(places) > 1:
            named = " and ".join(column_name(i) for i in places)
            raise SourceFileError(
                f"{len(places)} columns are headed {heading!r} (columns {named})",
                where=self.where,
                remedy="Give each column that is used a heading of its own.",
            )
        return self.columns[places[0]]


def column_name(position: int) -> str:
    """Return the letters a spreadsheet gives the column at this position, 0 for the first."""
    letters = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def trimmed_headings(cells: Sequence[str]) -> tuple[str, ...]:
    """Return headings without white space around them."""
    return tuple(cell.strip() for cell in cells)
