"""The exports as sheets of text cells, and how they are written: CSV files and workbooks."""

import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import xlsxwriter

from mentorstats import dictionary
from mentorstats.demo.cycles import layouts
from mentorstats.demo.frames import COHORTS
from mentorstats.demo.invent import Programme
from mentorstats.demo.layout import Layout, cells
from mentorstats.demo.rubric import hearthside

Cell = str | int | date

_CREATED = datetime(2026, 9, 1)  # written into workbooks, so that the same cells give the same bytes
_OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "default_date_format": "yyyy-mm-dd",
}
_PROGRAM = re.compile(rb"<(Application|AppVersion)>[^<]*</\1>")
_REMARKS = (
    "moved to the\nafternoon",
    'pupils said "again"; so we did',
    "two forms handed in\ntogether\nlate",
)


@dataclass(slots=True)
class Sheet:
    """One export: its layout, and its cells under the headings, all text.

    ``ragged`` holds the labels of records that are written with a cell too many (CSV only).
    """

    layout: Layout
    table: pd.DataFrame
    ragged: set[int] = field(default_factory=set)


def sheets(programme: Programme) -> list[Sheet]:
    """Lay the clean programme out as its three cycles kept it."""
    cohort = programme.placements.set_index("placement")["cohort"]
    visited = programme.observations.set_index("observation")["placement"].map(cohort)
    in_cohort = {
        "placements": programme.placements["cohort"],
        "observations": programme.observations["placement"].map(cohort),
        "ratings": programme.ratings["observation"].map(visited),
    }
    fields = {name: list(getattr(programme, name)) for name in dictionary.tables()}
    *cycles, shared = layouts(hearthside(), fields)
    out = [
        Sheet(layout, cells(_part(getattr(programme, layout.table), in_cohort, name, layout), layout))
        for name, cycle in zip(COHORTS, cycles, strict=True)
        for layout in cycle
    ]
    for sheet in out:
        _remark(sheet)
    return out + [Sheet(layout, cells(getattr(programme, layout.table), layout)) for layout in shared]


def _part(frame: pd.DataFrame, in_cohort: dict[str, pd.Series], cohort: str, layout: Layout) -> pd.DataFrame:
    part = frame[in_cohort[layout.table] == cohort]
    role = layout.constants.get("rater_role")
    return part[part["rater_role"] == role] if role else part


def _remark(sheet: Sheet) -> None:
    """Write a remark every 40 rows, some over several lines: a record is not always a line."""
    if sheet.layout.remarks:
        for row in range(7, len(sheet.table), 40):
            text = _REMARKS[row % len(_REMARKS)]
            sheet.table.loc[row, sheet.layout.remarks] = text


def save(exports: list[Sheet], folder: Path) -> None:
    """Write every file; sheets of one workbook go together."""
    for file in dict.fromkeys(sheet.layout.file for sheet in exports):
        parts = [sheet for sheet in exports if sheet.layout.file == file]
        if file.endswith(".xlsx"):
            _save_workbook(parts, folder / file)
        else:
            _save_csv(parts[0], folder / file)


def _save_csv(sheet: Sheet, path: Path) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=sheet.layout.delimiter, lineterminator="\r\n")
    writer.writerow(sheet.table.columns)
    for label, *record in sheet.table.itertuples():
        writer.writerow([*record, "?"] if label in sheet.ragged else record)
    path.write_bytes(text.getvalue().encode(sheet.layout.encoding))


def _save_workbook(parts: list[Sheet], path: Path) -> None:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        book.set_properties({"created": _CREATED, "author": "", "title": path.stem})
        bold = book.add_format({"bold": True})
        for sheet in parts:
            page = book.add_worksheet(sheet.layout.sheet)
            if sheet.layout.title:
                page.write_string(0, 0, sheet.layout.title, bold)
            page.freeze_panes(sheet.layout.header_row, 1)
            page.set_column(0, len(sheet.table.columns) - 1, 16)
            page.write_row(sheet.layout.header_row - 1, 0, list(sheet.table.columns), bold)
            for number, record in enumerate(_typed(sheet), start=sheet.layout.header_row):
                page.write_row(number, 0, record)
    path.write_bytes(_of_no_program(content.getvalue()))


def _of_no_program(workbook: bytes) -> bytes:
    """The same workbook whose properties do not say that a spreadsheet program made it, for none did."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as given, zipfile.ZipFile(out, "w") as made:
        for item in given.infolist():
            content = given.read(item)
            if item.filename == "docProps/app.xml":
                content = _PROGRAM.sub(b"", content)
            made.writestr(item, content, compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _typed(sheet: Sheet) -> Iterator[tuple[Cell, ...]]:
    """Yield records as a workbook keeps them: whole numbers and dates as such, the rest as text."""
    fields = {heading: name for name, heading in sheet.layout.columns.items()}
    described = dictionary.table(sheet.layout.table)
    columns = []
    for heading, column in sheet.table.items():
        kind = described.field(fields[str(heading)]).type if heading in fields else "string"
        columns.append([_READ.get(kind, str)(text) for text in column])
    return zip(*columns, strict=True)


def _number(text: str) -> Cell:
    return int(text) if text.removeprefix("-").isdecimal() else text


def _day(text: str) -> Cell:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text


_READ: dict[str, Callable[[str], Cell]] = {"integer": _number, "date": _day}
