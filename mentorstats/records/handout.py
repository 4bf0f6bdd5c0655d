"""Checked tables to take away: CSV, one workbook, Parquet, or a Data Package that describes every column."""

import datetime as dt
import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from mentorstats import __version__, dictionary
from mentorstats.dictionary import Field
from mentorstats.errors import ArgumentError, NothingUsableError
from mentorstats.records.reading import data_package
from mentorstats.records.tables import Records
from mentorstats.writing import GUARD, guarded, write_beside

WORKBOOK = "tables.xlsx"

_MOST_ROWS = 2**20 - 1  # of a sheet below its headings, by the standard
_FIRST_YEAR = 1900  # of a workbook's calendar
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
_OWN_KEYS = ("synonyms", "person", "unit")  # of a field in the dictionary, which no other program acts on

Tables = Mapping[str, pd.DataFrame]


def write(records: Records, out: Path, form: str = "package") -> list[Path]:
    """Write the tables that have rows, fields as the dictionary calls them; each form can be loaded again.

    Parameters
    ----------
    records
        Checked records. File, sheet and row are left out: `mentorstats.records.trace` follows those.
    out
        Folder, made where it is missing.
    form
        One of ``FORMS``. Text that a spreadsheet would run begins with an apostrophe in CSV files, and a
        package says so; workbooks and Parquet hold the text itself.

    Raises
    ------
    ArgumentError
        Another form, a table too long for a workbook, or the place cannot be written to.
    NothingUsableError
        No table has a row.
    """
    if form not in _FORMS:
        raise ArgumentError(f"there is no form {form!r}", allowed=FORMS)
    tables = {
        name: frame[list(dictionary.table(name).names)]
        for name, frame in records.tables.items()
        if len(frame)
    }
    if not tables:
        raise NothingUsableError("no table has a row", remedy="Run mentorstats check.")
    made = _FORMS[form](tables)
    return [write_beside(out / name, content) for name, content in made.items()]


def _csv(tables: Tables) -> dict[str, bytes]:
    return {f"{name}.csv": _delimited(name, frame) for name, frame in tables.items()}


def _delimited(name: str, frame: pd.DataFrame) -> bytes:
    texts = pd.DataFrame(
        {field.name: _as_text(field, frame[field.name]) for field in dictionary.table(name).fields}
    )
    return guarded(texts).to_csv(index=False, lineterminator="\r\n").encode("utf-8")


def _as_text(field: Field, column: pd.Series) -> pd.Series:
    """Values as the dictionary reads them: days as 2026-03-14, yes/no in its first words for them."""
    if field.type == "boolean":
        return column.map({True: field.true_values[0], False: field.false_values[0]})
    if field.type == "date":
        return pd.Series(column.dt.strftime("%Y-%m-%d"))
    return column


def _parquet(tables: Tables) -> dict[str, bytes]:
    made = {}
    for name, frame in tables.items():
        content = io.BytesIO()
        frame.to_parquet(content, index=False)
        made[f"{name}.parquet"] = content.getvalue()
    return made


def _workbook(tables: Tables) -> dict[str, bytes]:
    for name, frame in tables.items():
        if len(frame) > _MOST_ROWS:
            raise ArgumentError(
                f"{name} has {len(frame):,} rows, more than a sheet holds", allowed="parquet, csv, package"
            )
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        book.set_properties({"created": dt.datetime(2026, 1, 1)})  # so that two are alike to the byte
        head = book.add_format({"bold": True, "text_wrap": True})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, frame in tables.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            for place, field in enumerate(dictionary.table(name).fields):
                sheet.write_string(0, place, field.name, head)
                sheet.write_comment(0, place, f"{field.title}. {field.description}")
                sheet.set_column(place, place, max(12, len(field.name) + 2))
                _fill(sheet, place, field, frame[field.name], day)
    return {WORKBOOK: content.getvalue()}


def _fill(sheet: Any, place: int, field: Field, column: pd.Series, day: Any) -> None:
    """Write one column below its heading; empty cells stay empty."""
    texts = _as_text(field, column) if field.type in ("boolean", "date") else column
    for row, (text, value) in enumerate(zip(texts, column, strict=True), 1):
        if pd.isna(value):
            continue
        if field.type == "date" and value.year >= _FIRST_YEAR:
            sheet.write_datetime(row, place, value.to_pydatetime(), day)
        elif field.type in ("integer", "number"):
            sheet.write_number(row, place, float(value))
        else:
            sheet.write_string(row, place, str(text))


def _package(tables: Tables) -> dict[str, bytes]:
    files = _csv(tables)
    descriptor = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "checked-tables",
        "title": "Checked tables of a teacher-education programme",
        "description": f"Written by mentorstats {__version__}. People stand under codes.",
        "resources": [_resource(name, tables, files[f"{name}.csv"]) for name in tables],
    }
    text = json.dumps(descriptor, ensure_ascii=False, indent=2) + "\n"
    return {**files, data_package.FILE_NAME: text.encode("utf-8")}


def _resource(name: str, tables: Tables, content: bytes) -> dict[str, Any]:
    table = dictionary.table(name)
    return {
        "$schema": "https://datapackage.org/profiles/2.0/dataresource.json",
        "name": name,
        "type": "table",
        "title": table.title,
        "description": f"{table.description} Text that a spreadsheet would run begins with an apostrophe.",
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "dialect": {"$schema": "https://datapackage.org/profiles/2.0/tabledialect.json", "delimiter": ","},
        data_package.GUARDED: GUARD,
        "schema": _schema(name, tables),
    }


def _schema(name: str, tables: Tables) -> dict[str, Any]:
    """Our descriptor with the levels in use, and the keys that hold in what is written."""
    table = dictionary.table(name)
    made = {key: value for key, value in table.descriptor.items() if key != "dateOrder"}
    fields = []
    for field in made["fields"]:
        own = {key: value for key, value in field.items() if key not in _OWN_KEYS}
        column = tables[name][field["name"]]
        if field["name"] in table.levels and isinstance(column.dtype, pd.CategoricalDtype):
            own |= {"categories": list(column.cat.categories), "categoriesOrdered": True}
        fields.append(own)
    keys = [
        {"fields": list(key.fields), "reference": {"resource": key.table, "fields": list(key.references)}}
        for key in table.foreign_keys
        if key.table in tables and _holds(tables[name], key.fields, tables[key.table], key.references)
    ]
    made |= {"fields": fields}
    return {key: value for key, value in made.items() if key != "foreignKeys"} | (
        {"foreignKeys": keys} if keys else {}
    )


def _holds(child: pd.DataFrame, fields: Sequence[str], parent: pd.DataFrame, named: Sequence[str]) -> bool:
    """Whether every row points to a row; one that lacks a part of the key points nowhere."""
    given = child[list(fields)].set_axis(list(named), axis=1)
    if given.isna().to_numpy().any():
        return False
    distinct = given.astype("str").drop_duplicates()
    return len(distinct.merge(parent[list(named)].astype("str").drop_duplicates())) == len(distinct)


_FORMS: dict[str, Callable[[Tables], dict[str, bytes]]] = {
    "package": _package,
    "csv": _csv,
    "xlsx": _workbook,
    "parquet": _parquet,
}
FORMS = tuple(_FORMS)
