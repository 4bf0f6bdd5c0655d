"""An empty workbook to fill in: a sheet a table, checks in its cells, and one that explains every column."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from mentorstats import dictionary, places
from mentorstats.dictionary import Field, Table
from mentorstats.errors import SourceFileError
from mentorstats.records import gather, mapping
from mentorstats.records.checking import levels
from mentorstats.records.loading import load

_ROWS = 2000  # rows of each sheet whose cells are checked
_LIST = 255  # characters that the choices of one cell may have, by the standard
_MESSAGE = 255  # and a message beside a cell
_TITLE = 32
_SHEET = 31
_FIRST_DAY, _LAST_DAY = dt.date(1990, 1, 1), dt.date(2100, 12, 31)
_WIDEST, _NARROWEST = 44, 12
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}

_POINTERS = {"rubric": "rubric", "rubric_version": "version", "criterion": "criterion", "level": "level"}

Choices = dict[tuple[str, str], list[str]]


def workbook(folder: Path | None = None) -> bytes:
    """Return an empty workbook for the tables of the dictionary.

    It holds a sheet a table, called and headed as the dictionary says, the rubric filled in; the sheet
    `gather.FORMS`, a row a form with a column a criterion, for who does not want a row a rating; and a sheet
    that explains every column. Filled in, it loads without a mapping.

    Parameters
    ----------
    folder
        A programme's folder whose rubric is offered: that of its mapping or of its exports. Without one, the
        invented rubric of the dictionary.

    Raises
    ------
    SourceFileError
        The folder declares no rubric.
    """
    rubric = _invented() if folder is None else _of_folder(folder)
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        book.set_properties({"created": dt.datetime(2026, 1, 1)})  # so that two are alike to the byte
        sheets = _Sheets(book, _choices(rubric))
        for name in _order():
            sheets.add(dictionary.table(name), rubric if name == "rubrics" else None)
            if name == "ratings":
                sheets.add_forms(rubric)
        sheets.explain()
    return content.getvalue()


def _order() -> list[str]:
    first = ["placements", "observations", "ratings", "rubrics", "raters"]
    return [*first, *(name for name in dictionary.tables() if name not in first)]


def _invented() -> pd.DataFrame:
    path = places.data_dictionary() / "rubric.csv"
    return pd.read_csv(path, dtype="str", keep_default_na=False)


def _of_folder(folder: Path) -> pd.DataFrame:
    """The rubric that a folder declares: by its exports, else by its mapping alone."""
    names = list(dictionary.table("rubrics").names)
    path = folder / mapping.FILE_NAME
    plan = mapping.read(path) if path.is_file() else None
    if plan is None or any(source.table == "rubrics" for source in plan.sources):
        found = load(folder).rubrics
    else:
        batch = levels.from_scales(plan)
        columns = {} if batch is None else batch.columns
        found = pd.DataFrame({name: column.array().to_pandas() for name, column in columns.items()})
    if found.empty:
        raise SourceFileError(
            "no rubric is declared",
            where=str(folder),
            remedy=f"Write a [[scale]] block in its {mapping.FILE_NAME}, or leave the folder out.",
        )
    table: pd.DataFrame = found.reindex(columns=names).astype("object")
    return table.where(table.notna(), "").astype("str")


def _choices(rubric: pd.DataFrame) -> Choices:
    """What may stand in the cells of fields that point to the rubric."""
    found: Choices = {}
    for table, names in (
        ("ratings", _POINTERS),
        ("key_ratings", {**_POINTERS, "key_level": "level"}),
    ):
        for field, column in names.items():
            found[table, field] = list(dict.fromkeys(rubric[column]))
    reasons = [code for code in dictionary.table("ratings").field("level").missing if code]
    found["ratings", "level"] += reasons
    return found


class _Sheets:
    """Adds sheets to a workbook and keeps what the last one explains."""

    def __init__(self, book: xlsxwriter.Workbook, choices: Choices) -> None:
        self._book, self._choices = book, choices
        self._told: list[tuple[str, ...]] = []
        wrap = {"text_wrap": True, "valign": "top", "bold": True, "bottom": 1}
        self._needed = book.add_format({**wrap, "bg_color": "#D9E7F5"})
        self._optional = book.add_format(wrap)
        self._text = book.add_format({"num_format": "@"})
        self._day = book.add_format({"num_format": "yyyy-mm-dd"})
        self._plain = book.add_format({})
        self._wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        self._held: dict[tuple[str, str], str] = {}
        for name in _order():
            for place, field in enumerate(dictionary.table(name).names):
                letter = xlsxwriter.utility.xl_col_to_name(place)
                self._held[name, field] = (
                    f"='{_called(dictionary.table(name))}'!${letter}$2:${letter}${_ROWS}"
                )

    def add(self, table: Table, filled: pd.DataFrame | None) -> None:
        """Add the sheet of one table, empty or filled."""
        sheet = self._sheet(_called(table))
        for place, field in enumerate(table.fields):
            self._column(sheet, place, field.title, field, table)
        if filled is not None:
            for row, cells in enumerate(filled.itertuples(index=False), start=1):
                for place, cell in enumerate(cells):
                    kind = table.fields[place].type
                    _write(sheet, row, place, cell, kind, self._text)

    def add_forms(self, rubric: pd.DataFrame) -> None:
        """Add the sheet that has a row a form and a column a criterion, those of the last version."""
        table = dictionary.table("ratings")
        sheet = self._sheet(gather.FORMS)
        fields = [f for f in table.fields if f.name not in ("criterion", "level", "missing_reason")]
        for place, field in enumerate(fields):
            self._column(sheet, place, field.title, field, table, called=gather.FORMS)
        reasons = [code for code in table.field("level").missing if code]
        newest = rubric[["rubric", "version"]].iloc[-1]
        rubric = rubric[(rubric[["rubric", "version"]] == newest).all(axis=1)]
        for place, code in enumerate(dict.fromkeys(map(str, rubric["criterion"])), start=len(fields)):
            rows = rubric[rubric["criterion"] == code]
            title = str(rows["title"].iloc[0])
            heading = f"[{code}] {title}".strip()
            sheet.write_string(0, place, heading, self._optional)
            sheet.set_column(place, place, 22, self._text)
            given = list(dict.fromkeys(map(str, rows["level"])))
            labels = dict(zip(map(str, rows["level"]), map(str, rows["label"]), strict=True))
            meaning = "; ".join(
                f"{level}: {labels[level]}" for level in given if labels[level] not in ("", level)
            )
            _check(sheet, place, {"validate": "list", "source": [*given, *reasons]}, heading, meaning)
            self._told.append(
                (
                    gather.FORMS,
                    heading,
                    "",
                    f"Level given to {title or code}. {meaning}",
                    _listed([*given, *reasons]),
                )
            )

    def explain(self) -> None:
        """Add the sheet that explains every column, and put it first in the reader's eye."""
        sheet = self._book.add_worksheet(gather.EXPLANATIONS)
        heads = ("Sheet", "Column", "Needed", "What it holds", "What may stand there")
        rows = [heads, *self._told]
        for row, cells in enumerate(rows):
            for place, cell in enumerate(cells):
                sheet.write_string(row, place, cell, self._optional if row == 0 else self._wrapped)
        for place, width in enumerate((18, 28, 9, 70, 50)):
            sheet.set_column(place, place, width)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, len(rows) - 1, len(heads) - 1)

    def _sheet(self, title: str) -> Any:
        sheet = self._book.add_worksheet(title)
        sheet.freeze_panes(1, 1)
        return sheet

    def _column(
        self, sheet: Any, place: int, heading: str, field: Field, table: Table, *, called: str = ""
    ) -> None:
        sheet.write_string(0, place, heading, self._needed if field.required else self._optional)
        form = {"date": self._day, "string": self._text}.get(field.type, self._plain)
        sheet.set_column(place, place, min(max(len(heading) + 3, _NARROWEST), _WIDEST), form)
        rule = self._rule(field, table)
        if rule:
            _check(sheet, place, rule, heading, field.description)
        unit = f" In {field.unit}." if field.unit else ""
        self._told.append(
            (
                called or _called(table),
                heading,
                "needed" if field.required else "",
                field.description + unit,
                _allowed(field, self._choices.get((table.name, field.name), [])),
            )
        )

    def _rule(self, field: Field, table: Table) -> dict[str, Any]:
        """The check of a field's cells."""
        chosen = self._choices.get((table.name, field.name))
        if chosen and table.name != "rubrics":
            return {"validate": "list", "source": chosen}
        if field.categories:
            return {"validate": "list", "source": list(field.categories.values())}
        if field.type == "boolean":
            return {"validate": "list", "source": ["yes", "no"]}
        if field.type == "date":
            return {
                "validate": "date",
                "criteria": "between",
                "minimum": _FIRST_DAY,
                "maximum": _LAST_DAY,
                "error_message": "A day, as your spreadsheet writes days.",
            }
        if field.type in ("integer", "number"):
            low = -1e9 if field.minimum is None else field.minimum
            high = 1e9 if field.maximum is None else field.maximum
            kind = "integer" if field.type == "integer" else "decimal"
            return {"validate": kind, "criteria": "between", "minimum": low, "maximum": high}
        for key in table.foreign_keys:
            if key.fields == (field.name,):
                source = self._held[key.table, key.references[0]]
                return {"validate": "list", "source": source, "error_type": "warning"}
        return {}


def _called(table: Table) -> str:
    """What the sheet of a table is called: its title, or its name where a sheet's name may not be so long."""
    return table.title if len(table.title) <= _SHEET else table.name


def _check(sheet: Any, place: int, rule: dict[str, Any], title: str, message: str) -> None:
    source = rule.get("source")
    if isinstance(source, list) and len(",".join(source)) > _LIST:
        rule = {"validate": "any"}
    told = {"input_title": title[:_TITLE], "input_message": message[:_MESSAGE]} if message else {}
    sheet.data_validation(1, place, _ROWS - 1, place, {**rule, **told})


def _write(sheet: Any, row: int, place: int, cell: str, kind: str, text: Any) -> None:
    if cell == "":
        return
    if kind in ("integer", "number"):
        sheet.write_number(row, place, float(cell))
    else:
        sheet.write_string(row, place, cell, text)


def _allowed(field: Field, chosen: Sequence[str]) -> str:
    if chosen:
        return _listed(chosen)
    if field.categories:
        return _listed(list(field.categories.values()))
    if field.type == "boolean":
        return "yes, no"
    if field.type == "date":
        return "a day"
    if field.type in ("integer", "number"):
        kind = "a whole number" if field.type == "integer" else "a number"
        bounds = [f"from {field.minimum:g}"] if field.minimum is not None else []
        bounds += [f"to {field.maximum:g}"] if field.maximum is not None else []
        return " ".join([kind, *bounds])
    return "text; codes rather than names of people"


def _listed(values: Sequence[str]) -> str:
    return ", ".join(values)
