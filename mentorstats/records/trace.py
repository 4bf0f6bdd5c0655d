"""From what a report counted back to the cells of the exports it came from."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd

from mentorstats import __version__, dictionary, places
from mentorstats.errors import ArgumentError, NothingUsableError, nearest, need_columns
from mentorstats.records.checking.batch import Batch
from mentorstats.records.tables import Records

HEADING_COLUMNS = ("table", "file", "sheet", "block", "field", "criterion", "heading", "constant")
INPUT_COLUMNS = ("name", "value")
COLUMNS = ("table", "file", "sheet", "row", "field", "column", "constant")

_PLACE = ["file", "sheet", "row"]
_STAFF = ("rater", "mentor", "supervisor")


def headings(batches: Mapping[str, Batch | None]) -> pd.DataFrame:
    """Return where each field of each table stands: ``HEADING_COLUMNS``, a row a field and block.

    ``heading`` is what heads the column, several joined by " + "; ``criterion`` is filled where a column
    holds the levels of one criterion; ``constant`` is what the mapping says where no column does.
    """
    lines: list[tuple[str, ...]] = []
    for table, batch in batches.items():
        for origin in batch.origins if batch is not None else ():
            source, start = origin.source, (table, origin.file, origin.sheet, origin.source.where)
            lines += [(*start, field, "", recipe.named, "") for field, recipe in source.columns.items()]
            lines += [(*start, "level", code, recipe.named, "") for code, recipe in source.criteria.items()]
            people = {field.name for field in dictionary.table(table).fields if field.person}
            lines += [
                (*start, field, "", "", "" if field in people else text)
                for field, text in source.constants.items()
            ]
    return pd.DataFrame(lines, columns=list(HEADING_COLUMNS), dtype="str").drop_duplicates(ignore_index=True)


def inputs(mapping: Path | None) -> pd.DataFrame:
    """Return version, and SHA-256 of the data dictionary and of the mapping, as ``INPUT_COLUMNS``."""
    every = hashlib.sha256()
    for path in sorted(places.data_dictionary().glob("*.json")):
        every.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    told = {"mentorstats": __version__, "data dictionary": every.hexdigest()}
    if mapping is not None and mapping.is_file():
        told["mapping"] = hashlib.sha256(mapping.read_bytes()).hexdigest()
    return pd.DataFrame(told.items(), columns=list(INPUT_COLUMNS), dtype="str")


def trace(
    records: Records,
    *,
    table: str | None = None,
    where: Mapping[str, str] | None = None,
    observation: str | None = None,
    candidate: str | None = None,
    rater: str | None = None,
) -> pd.DataFrame:
    """Return every cell from which the chosen rows were read.

    Parameters
    ----------
    table
        Only rows of this table; all tables unless given.
    where
        Value by field, as the tables hold it; of ratings also the fields of the long table, such as cohort.
        Without a table, ratings are meant.
    observation, candidate, rater
        Code of a lesson, a candidate or a rater (also as mentor or supervisor): rows that hold it and rows
        that lead to it, such as the ratings of a candidate's lessons.

    Returns
    -------
    DataFrame
        ``COLUMNS``, a row a cell: file, sheet, row as a spreadsheet shows it, our field and the heading of
        the column. ``constant`` holds what the mapping says for all rows.

    Raises
    ------
    ArgumentError
        Nothing is asked for, or there is no such table or field.
    NothingUsableError
        No row is as asked.
    """
    asked = {"observation": observation, "candidate": candidate, "rater": rater}
    codes = {name: value for name, value in asked.items() if value is not None}
    if table is None and where:
        table = "ratings"
    if not codes and table is None:
        raise ArgumentError(
            "nothing is asked for", allowed="an observation, a candidate, a rater, or a table of records"
        )
    if table is not None and table not in records.tables:
        near = nearest(table, records.tables)
        remedy = f"Did you mean {near!r}?" if near else None
        raise ArgumentError(f"there is no table {table!r}", allowed=records.tables, remedy=remedy)
    names = [table] if table is not None else [name for name in records.tables if name != "rubrics"]
    parts: list[pd.DataFrame] = []
    for name in names:
        chosen = _chosen(records, name, codes, where or {})
        parts += _cells(records, name, chosen)
    if not parts:
        said = ", ".join(f"{name} {value!r}" for name, value in {**codes, **(where or {})}.items())
        raise NothingUsableError(
            f"no row was read for {said or table}",
            remedy="Look for it in the list of mentorstats check: rows may have been set aside.",
        )
    return pd.concat(parts, ignore_index=True)


def _chosen(records: Records, name: str, codes: Mapping[str, str], where: Mapping[str, str]) -> pd.DataFrame:
    """Rows of a table that hold or lead to the codes, and are as asked."""
    rows = records.tables[name]
    told = records.long().set_index(rows.index) if name == "ratings" else rows
    need_columns(told.columns, where, where=f"table {name}", remedy="Name a field as the table calls it.")
    keep = np.ones(len(rows), dtype=bool)
    for field, value in codes.items():
        keep &= _leads_to(records, told, field, value)
    for field, value in where.items():
        keep &= _text(told[field]).eq(value).to_numpy()
    return rows[keep]


def _leads_to(records: Records, rows: pd.DataFrame, field: str, value: str) -> np.ndarray:
    held = [name for name in (_STAFF if field == "rater" else (field,)) if name in rows]
    if held:
        return np.asarray(
            np.any([rows[name].eq(value).fillna(False).to_numpy(dtype=bool) for name in held], axis=0)
        )
    if field == "candidate":
        placed = records.placements.loc[records.placements["candidate"].eq(value), "placement"]
        if "placement" in rows:
            return np.asarray(rows["placement"].isin(placed), dtype=bool)
        if "observation" in rows:
            lessons = records.observations
            seen = lessons.loc[lessons["placement"].isin(placed), "observation"]
            return np.asarray(rows["observation"].isin(seen), dtype=bool)
    return np.zeros(len(rows), dtype=bool)


def _text(column: pd.Series) -> pd.Series:
    """Values as a person writes them: days as 2026-03-14, yes/no in small letters."""
    if column.dtype.kind == "M":
        return pd.Series(column.dt.strftime("%Y-%m-%d"), dtype="str")
    if str(column.dtype) == "boolean":
        return column.astype("str").str.lower()
    return column.astype("str")


def _cells(records: Records, name: str, rows: pd.DataFrame) -> Iterable[pd.DataFrame]:
    """The cells of some rows of a table, by block of the mapping."""
    known = records.headings[records.headings["table"] == name]
    for key, block in known.groupby(["file", "sheet", "block"], sort=False, dropna=False):
        file, sheet, _ = map(str, cast("tuple[str, ...]", key))
        here = rows[rows["file"].eq(file) & rows["sheet"].eq(sheet)]
        fixed = block[block["heading"].eq("") & block["constant"].ne("")]
        for field, constant in zip(fixed["field"], fixed["constant"], strict=True):
            here = here[_text(here[field]).eq(constant)]  # mentor and supervisor may stand in one row
        if here.empty:
            continue
        wide = block["criterion"].ne("")
        cells = here[_PLACE].merge(block[~wide], on=["file", "sheet"])
        if wide.any():
            of_level = here[[*_PLACE, "criterion"]].astype({"criterion": "str"})
            cells = pd.concat([cells, of_level.merge(block[wide], on=["file", "sheet", "criterion"])])
        made = cells.rename(columns={"heading": "column"})[list(COLUMNS)]
        yield made.drop_duplicates().sort_values("row", kind="stable")


def by_sheet(cells: pd.DataFrame) -> list[tuple[str, str, Sequence[str]]]:
    """Return table, place and columns of the cells, rows of a sheet that use the same columns together."""
    used = cells[cells["column"].ne("")]
    each = used.assign(said=used["column"] + " (" + used["field"] + ")")
    place = ["table", "file", "sheet", "row"]
    by_row = each.groupby(place, sort=False, dropna=False)["said"].agg(_each_once).reset_index()
    found: list[tuple[str, str, Sequence[str]]] = []
    for key, group in by_row.groupby(["table", "file", "sheet", "said"], sort=False):
        table, file, sheet, said = cast("tuple[str, str, str, tuple[str, ...]]", key)
        where = f"{file}, sheet {sheet}" if sheet else str(file)
        found.append((table, f"{where}, {_rows(group['row'].tolist())}", said))
    return found


def _each_once(texts: pd.Series) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))


def _rows(numbers: Sequence[int]) -> str:
    """Rows as a person writes them: 3-5, 8."""
    row = pd.Series(sorted(set(numbers)))
    runs = row.groupby((row.diff() != 1).cumsum()).agg(["first", "last"])
    parts = [str(a) if a == b else f"{a}-{b}" for a, b in zip(runs["first"], runs["last"], strict=True)]
    return f"{'row' if len(row) == 1 else 'rows'} {', '.join(parts)}"
