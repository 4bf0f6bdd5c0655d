"""One file of anybody's as one table of text, for who has no folder of exports."""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import trimmed
from mentorstats.records.reading.read import read
from mentorstats.records.reading.sheet import Options

DELIMITERS = {";": "';'", "\t": "tab", "|": "'|'"}  # what parts cells where a comma does not, as typed


def read_table(path: Path, *, sheet: str | None = None, delimiter: str = ",") -> pd.DataFrame:
    """Read a CSV, XLSX or Parquet file as text.

    Parameters
    ----------
    path
        The file.
    sheet
        Sheet of a workbook; needed where more than one holds something.
    delimiter
        What stands between the cells of a CSV file.

    Returns
    -------
    DataFrame
        One ``str`` column a heading, without white space around its texts and missing where a cell
        is empty; the index, ``row``, is the row as a spreadsheet shows it.

    Raises
    ------
    SourceFileError
        The file cannot be read; it has several sheets and none was named, or not that one; a row
        has another number of cells than there are headings; a heading stands twice; all is one column and
        its heading looks like several.
    """
    sheets = read(path, path.name, Options(delimiter=delimiter))
    found = [one for one in sheets if sheet is None or one.sheet == sheet]
    if len(found) != 1:
        what = f"{len(found)} sheets hold records" if sheet is None else f"no sheet {sheet!r}"
        names = [one.sheet for one in sheets]
        raise SourceFileError(what, where=path.name, allowed=names, remedy="Name one of its sheets.")
    only = found[0]
    _refuse_one_column(only.headings, only.where)
    if only.ragged:
        row, cells = only.ragged[0]
        raise SourceFileError(
            f"row {row} has {len(cells)} cells for {len(only.headings)} headings",
            where=only.where,
            remedy="Look for a missing or an extra delimiter.",
        )
    columns = {heading: trimmed(only.column(heading)).array() for heading in only.headings if heading}
    frame = pd.DataFrame({name: texts.to_pandas().astype("str") for name, texts in columns.items()})
    filled: pd.DataFrame = frame.where(frame != "")
    return filled.set_axis(pd.Index(only.rows, name="row"))


def _refuse_one_column(headings: Sequence[str], where: str) -> None:
    """Raise SourceFileError where a single heading looks like several that something else parts."""
    if len(headings) != 1:
        return
    parted = [words for mark, words in DELIMITERS.items() if mark in headings[0]]
    if parted:
        raise SourceFileError(
            f"the file was read as one column, headed {headings[0]!r}",
            where=where,
            remedy=f"Say what stands between its cells with --delimiter {parted[0]}.",
        )
