"""A sheet and its block of the mapping to text under our field names, one row a record.

Wide criterion columns become rows; labels, codes, dates and decimals become ours. What none of the
rules fits stays as it is, for the check to report.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records.mapping import ISO_DATE, Source, nearest
from mentorstats.records.read import Rows, Sheet

NOT_SCORED = "not_scored"


@dataclass(frozen=True, slots=True)
class Part:
    """What one sheet gives to one table.

    Attributes
    ----------
    table
        Name of the table.
    columns
        Text by field, each (n,), null where empty.
    rows : integer array (n,)
        Row of the record in its sheet.
    heading : list
        Heading a field was read under, by field; for wide criteria ``level`` is looked up in
        ``criterion_heading``.
    """

    table: str
    file: str
    sheet: str
    columns: Mapping[str, pa.Array]
    rows: Rows
    heading: Mapping[str, str]
    criterion_heading: Mapping[str, str]


def reshape(sheet: Sheet, source: Source) -> Part:
    """Bring a sheet under our names.

    Raises
    ------
    MappingError
        A heading that the mapping names is not in the sheet, or a required field is filled by none.
    """
    where = f"{sheet.file}, sheet {sheet.sheet!r}" if sheet.sheet else sheet.file
    _headings_present(sheet, source, where)
    table = dictionary.table(source.table)
    n = sheet.table.num_rows
    columns = {name: _trimmed(sheet.table[heading]) for name, heading in source.columns.items()}
    columns |= {name: pa.repeat(pa.scalar(value), n) for name, value in source.constants.items()}
    rows, heading, by_criterion = sheet.rows, dict(source.columns), {}
    if source.criteria:
        by_criterion = dict(source.criteria)
        columns, rows = _long(sheet, source, columns)
    for name in table.names:
        if name in columns:
            columns[name] = _translated(columns[name], table.field(name), source)
    if "level" in columns and source.table == "ratings":
        columns = _levels(columns, source)
    _required_filled(columns, table, where)
    return Part(source.table, sheet.file, sheet.sheet, columns, rows, heading, by_criterion)


def _headings_present(sheet: Sheet, source: Source, where: str) -> None:
    present = sheet.table.column_names
    for heading in [*source.columns.values(), *source.criteria.values()]:
        if heading not in present:
            raise MappingError(
                f"no column {heading!r}{nearest(heading, present)}",
                where=f"{where}, row {sheet.header_row}",
                allowed=present,
                remedy="Correct the heading in the mapping, or the export.",
            )


def _required_filled(columns: Mapping[str, pa.Array], table: dictionary.Table, where: str) -> None:
    missing = [item.name for item in table.fields if item.required and item.name not in columns]
    if missing:
        raise MappingError(
            f"nothing fills {', '.join(missing)} of table {table.name}",
            where=where,
            remedy="Name its heading under [source.columns], or its value under [source.constants].",
        )


def _trimmed(column: pa.ChunkedArray) -> pa.Array:
    """Text without white space around it, null where nothing is left."""
    plain = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    return _by_value(plain, lambda value: value.strip() or None)


def _by_value(column: pa.Array, change: Callable[[str], str | None]) -> pa.Array:
    """Apply ``change`` once to each distinct text."""
    coded = column.dictionary_encode()
    changed = pa.array([None if v is None else change(v) for v in coded.dictionary.to_pylist()], pa.string())
    return changed.take(coded.indices)


def _long(sheet: Sheet, source: Source, columns: dict[str, pa.Array]) -> tuple[dict[str, pa.Array], Rows]:
    """One row a criterion, keeping the records' order."""
    n, k = sheet.table.num_rows, len(source.criteria)
    order = np.arange(n * k).reshape(k, n).T.ravel()
    record = pa.array(np.repeat(np.arange(n), k))
    longer = {name: column.take(record) for name, column in columns.items()}
    levels = pa.concat_arrays([_trimmed(sheet.table[heading]) for heading in source.criteria.values()])
    longer["level"] = levels.take(pa.array(order))
    codes = pa.array(list(source.criteria), pa.string())
    longer["criterion"] = codes.take(pa.array(np.tile(np.arange(k), n)))
    return longer, np.repeat(sheet.rows, k)


def _translated(column: pa.Array, field: dictionary.Field, source: Source) -> pa.Array:
    values = source.values.get(field.name, {})
    if field.type == "date":
        return _by_value(column, lambda text: _iso(values.get(text, text), source.dates))
    if field.type in ("number", "integer") and source.decimal != ".":
        return _by_value(column, lambda text: values.get(text, text).replace(source.decimal, "."))
    if values:
        return _by_value(column, lambda text: values.get(text, text))
    return column


def _iso(text: str, formats: tuple[str, ...]) -> str:
    """ISO date of a text in the first format that fits, or the text itself.

    A date cell of a workbook is an ISO date already, whatever format the mapping gives for texts.
    """
    for one in (*formats, ISO_DATE):
        try:
            return datetime.strptime(text, one).date().isoformat()
        except ValueError:
            continue
    return text


def _levels(columns: dict[str, pa.Array], source: Source) -> dict[str, pa.Array]:
    """Split the level cell into a level and, where it holds a code or nothing, a reason."""
    level_field = dictionary.table("ratings").field("level")
    own = {code: code for code in level_field.missing if code}
    reasons = {**own, **source.missing}
    raw = columns["level"]
    reason = _by_value(raw, reasons.get)
    level = _by_value(raw, lambda text: None if text in reasons else source.levels.get(text, text))
    given = columns.get("missing_reason")
    empty = pc.if_else(pc.is_null(raw), pa.scalar(NOT_SCORED), pa.scalar(None, pa.string()))
    found = pc.coalesce(reason, given, empty) if given is not None else pc.coalesce(reason, empty)
    return {**columns, "level": level, "missing_reason": found}
