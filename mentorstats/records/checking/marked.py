"""Faults as workbooks: the whole list, and a copy of each workbook with its faulty cells marked."""

import datetime as dt
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter
from python_calamine import CalamineWorkbook, SheetTypeEnum

from mentorstats.records.gather import Found
from mentorstats.records.problems import COLUMNS, SET_ASIDE
from mentorstats.records.reading.sheet import Sheet

_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
_CREATED = {"created": dt.datetime(2026, 1, 1)}  # so that two are alike to the byte
_MOST = 2**20 - 1  # rows of a sheet below its headings, by the standard
_LONGEST = 32_000  # characters of a comment, a little less than a cell may have
_FIRST_YEAR = 1900  # of a workbook's calendar
_FILL = "#FFD966"
_WIDTHS = {"problem": 60, "remedy": 60, "file": 24, "column": 24, "value": 24}
_FORMS = {
    dt.datetime: "yyyy-mm-dd hh:mm",
    dt.date: "yyyy-mm-dd",
    dt.time: "hh:mm:ss",
    dt.timedelta: "[h]:mm:ss",
}

Place = tuple[int, int]  # row and column, from 0


def listed(problems: pd.DataFrame) -> bytes:
    """Return a workbook with every fault, a row each; none is left out, however many.

    Parameters
    ----------
    problems
        ``Records.problems``, and oddities below it if so wanted.
    """
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        book.set_properties(_CREATED)
        head, plain = book.add_format({"bold": True}), book.add_format({"text_wrap": True, "valign": "top"})
        for number, start in enumerate(range(0, max(len(problems), 1), _MOST), 1):
            rows = problems.iloc[start : start + _MOST]
            sheet = book.add_worksheet("Faults" if number == 1 else f"Faults {number}")
            sheet.freeze_panes(1, 0)
            sheet.autofilter(0, 0, len(rows), len(COLUMNS) - 1)
            for place, name in enumerate(COLUMNS):
                sheet.set_column(place, place, _WIDTHS.get(name, 12))
                sheet.write_string(0, place, name, head)
                for row, value in enumerate(rows[name], 1):
                    if name == "row" and not pd.isna(value):
                        sheet.write_number(row, place, int(value), plain)
                    elif name != "row" and value:
                        sheet.write_string(row, place, str(value), plain)
    return content.getvalue()


def copies(folder: Path, found: Iterable[Found], problems: pd.DataFrame) -> dict[str, bytes]:
    """Return a marked copy of each workbook that has a fault, by its path in the folder.

    A faulty cell is filled, and its comment says what is wrong and what to do. A fault of a whole row, or of
    a field that no column holds, is marked in the row's first cell, one of a whole sheet in the first of all.
    The copy holds values where they stood: no formulas, formats or pictures.
    """
    sheets = {(item.sheet.file, item.sheet.sheet): item.sheet for item in found}
    made = {}
    for file, faults in problems.groupby("file", sort=True):
        path = folder / str(file)
        if path.suffix.lower() == ".xlsx" and path.is_file():
            made[str(file)] = _copy(path, _by_sheet(faults, sheets))
    return made


def _by_sheet(faults: pd.DataFrame, sheets: Mapping[tuple[str, str], Sheet]) -> dict[str, dict[Place, str]]:
    """What is to be said at which cell of which sheet."""
    told: dict[str, dict[Place, list[str]]] = {}
    columns: dict[tuple[str, str, str], int] = {}
    for file, name, row, heading, problem, effect, remedy in faults[
        ["file", "sheet", "row", "column", "problem", "effect", "remedy"]
    ].itertuples(index=False):
        key = (file, name, heading)
        if key not in columns:
            columns[key] = _position(sheets.get((file, name)), heading)
        place = (0, 0) if pd.isna(row) else (int(row) - 1, columns[key])
        word = "Set aside" if effect == SET_ASIDE else "Notice"
        told.setdefault(name, {}).setdefault(place, []).append(f"{word}: {problem}. {remedy}")
    return {
        name: {place: _joined(list(dict.fromkeys(texts))) for place, texts in cells.items()}
        for name, cells in told.items()
    }


def _joined(texts: list[str]) -> str:
    """All that is said of a cell; what a comment cannot hold is in the list."""
    whole = "\n".join(texts)
    return whole if len(whole) <= _LONGEST else f"{whole[:_LONGEST]} … (the list of faults has all)"


def _position(sheet: Sheet | None, heading: str) -> int:
    """Column of a heading as a message names it, the first of several; 0 where there is none."""
    if sheet is None:
        return 0
    for name in (heading, heading.split(" + ")[0]):
        if name in sheet.headings:
            return sheet.headings.index(name)
    return 0


def _copy(path: Path, marks: Mapping[str, Mapping[Place, str]]) -> bytes:
    content = io.BytesIO()
    with (
        CalamineWorkbook.from_path(path) as source,
        xlsxwriter.Workbook(content, _OPTIONS) as book,
    ):
        book.set_properties(_CREATED)
        styles = _Styles(book)
        names = [one.name for one in source.sheets_metadata if one.typ == SheetTypeEnum.WorkSheet]
        for number, name in enumerate(names):
            cells: list[list[Any]] = source.get_sheet_by_name(name).to_python(skip_empty_area=False)
            own = {**marks.get(name, {}), **(marks.get("", {}) if number == 0 else {})}
            sheet = book.add_worksheet(name)
            for row, line in enumerate(cells):
                for column, value in enumerate(line):
                    if value != "":
                        _put(sheet, (row, column), value, styles.of(value, marked=(row, column) in own))
            for place, text in own.items():
                if not (
                    place[0] < len(cells)
                    and place[1] < len(cells[place[0]])
                    and cells[place[0]][place[1]] != ""
                ):
                    sheet.write_blank(*place, None, styles.of("", marked=True))
                sheet.write_comment(*place, text, {"author": "mentorstats", "x_scale": 2.5, "y_scale": 2})
    return content.getvalue()


def _filled(cells: list[list[Any]], row: int, column: int) -> bool:
    return row < len(cells) and column < len(cells[row]) and cells[row][column] != ""


class _Styles:
    """Formats by kind of value, filled or not; each is made once."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.book = book
        self.made: dict[tuple[str, bool], Any] = {}

    def of(self, value: object, *, marked: bool) -> Any:
        form = _FORMS.get(type(value), "")
        if not form and not marked:
            return None
        if (form, marked) not in self.made:
            wanted = ({"num_format": form} if form else {}) | ({"bg_color": _FILL} if marked else {})
            self.made[form, marked] = self.book.add_format(wanted)
        return self.made[form, marked]


def _put(sheet: Any, place: Place, value: Any, style: Any) -> None:
    if isinstance(value, bool):
        sheet.write_boolean(*place, value, style)
    elif isinstance(value, int | float):
        sheet.write_number(*place, value, style)
    elif isinstance(value, dt.date) and value.year < _FIRST_YEAR:
        sheet.write_string(*place, value.isoformat(), style)
    elif isinstance(value, dt.date | dt.time | dt.timedelta):
        sheet.write_datetime(*place, value, style)
    else:
        sheet.write_string(*place, str(value), style)
