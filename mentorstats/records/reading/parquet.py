"""Parquet as text, so that all formats go one way; nothing is read differently for having a type."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import Column, encode
from mentorstats.records.reading.sheet import Options, Sheet, one_heading


def read(path: Path, file: str, options: Options) -> list[Sheet]:
    """Read one Parquet file; its rows count as if headings stood in row 1."""
    try:
        table = pq.read_table(path)
        names = table.column_names
    except (pa.ArrowInvalid, OSError, UnicodeDecodeError) as error:
        raise SourceFileError(
            f"is not a readable Parquet file: {str(error).splitlines()[0]}",
            where=file,
            remedy="Export it again, or give it its true suffix.",
        ) from error
    columns = tuple(_text(table[i], f"{file}, column {names[i]!r}") for i in range(table.num_columns))
    return [
        Sheet(
            file=file,
            sheet="",
            headings=one_heading([names]),
            columns=columns,
            rows=np.arange(table.num_rows, dtype=np.int64) + 2,
            typed=True,
        )
    ]


def _text(column: pa.ChunkedArray, where: str) -> Column:
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    kind = column.type
    if pa.types.is_floating(kind):
        column = _whole_where_it_is(column)
    elif pa.types.is_timestamp(kind):
        column = pc.replace_substring_regex(column.cast(pa.string()), r" 00:00:00(\.0+)?Z?$", "")
    elif pa.types.is_nested(kind) or pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        raise SourceFileError(f"cells of type {kind} are not read", where=where)
    return encode(column.cast(pa.string()).fill_null(""))


def _whole_where_it_is(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Show 3.0 as "3", and NaN, which some programs write for an empty cell, as empty."""
    column = column.cast(pa.float64())
    column = pc.if_else(pc.is_nan(column), pa.scalar(None, pa.float64()), column)
    return pc.replace_substring_regex(column.cast(pa.string()), r"\.0$", "")
