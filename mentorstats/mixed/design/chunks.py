"""Rows that do not fit in memory: read in chunks from Parquet, kept as sums of products only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from mentorstats.errors import SourceFileError
from mentorstats.mixed.design.crossproducts import CrossProducts, Running
from mentorstats.mixed.design.scan import Chunks, Survey, rows
from mentorstats.progress import track

CHUNK = 500_000  # rows; ten million were read no faster with more, and take more memory then
_MASKED = {pa.int64(): pd.Int64Dtype(), pa.uint64(): pd.UInt64Dtype()}


def parquet_chunks(path: str | Path, columns: Sequence[str], *, rows: int = CHUNK) -> Chunks:
    """Let the columns of one Parquet file, or of all in a folder, be read as often as needed.

    Parameters
    ----------
    path
        A file, or a folder whose files ``*.parquet``, in folders below too, hold parts of one table.
    columns
        What is read; the rest of the file stays on disk.
    rows
        Most rows that are in memory at a time.

    Returns
    -------
    Chunks
        A function without arguments that goes through the rows from the start, as frames numbered on
        from one to the next, at least one of them.

    Raises
    ------
    SourceFileError
        When a file cannot be read, lacks a column, or holds text where another holds numbers.
    """
    files = _files(Path(path))
    columns = list(dict.fromkeys(columns))
    schema = _common({file: _schema(file, columns) for file in files})

    def frames() -> Iterator[pd.DataFrame]:
        begin = 0
        for file in files:
            for batch in _batches(file, columns, rows):
                frame = _frame(batch, schema)
                frame.index = pd.RangeIndex(begin, begin + len(frame))
                begin += len(frame)
                yield frame
        if not begin:
            yield _frame(schema.empty_table(), schema)

    return frames


def read_products(chunks: Chunks, found: Survey) -> CrossProducts:
    """Sum the products of all rows, the response first brought to mean 0 and standard deviation 1.

    Parameters
    ----------
    chunks
        The rows that ``found`` is the survey of.
    found
        What every column of the model means.

    Returns
    -------
    CrossProducts
        All that a linear model needs of the rows.
    """
    sizes = tuple((member.m, member.k) for member in found.layout.members)
    running = Running(sizes, len(found.layout.names), shift=found.mean, scale=found.sd or 1.0)
    for frame in track(chunks(), "adding up the ratings"):
        running.add(rows(frame, found))
    return running.result()


def _files(path: Path) -> list[Path]:
    if not path.exists():
        raise SourceFileError("there is no such file or folder", where=str(path), remedy="Check the path.")
    if path.is_file():
        return [path]
    files = sorted(path.rglob("*.parquet"))
    if not files:
        raise SourceFileError(
            "the folder holds no file *.parquet", where=str(path), remedy="Name the folder that does."
        )
    return files


def _schema(file: Path, columns: list[str]) -> pa.Schema:
    try:
        present = pq.read_schema(file)
    except (pa.ArrowException, OSError) as error:
        raise _unreadable(file, error) from error
    missing = [name for name in columns if present.names.count(name) != 1]
    if missing:
        raise SourceFileError(
            f"no column, or more than one, is called {', '.join(map(repr, missing))}",
            where=str(file),
            allowed=present.names,
            remedy="Name columns that the file has.",
        )
    described = (present.pandas_metadata or {}).get("columns", [])
    categories = {one["name"] for one in described if one["pandas_type"] == "categorical"}
    return pa.schema([(name, _plain(present.field(name).type, name in categories)) for name in columns])


def _plain(kind: pa.DataType, category: bool) -> pa.DataType:
    """Type to read as: decimals as floating, and a dictionary that only saves space as what it stands for."""
    if pa.types.is_decimal(kind):
        return pa.float64()
    if not pa.types.is_dictionary(kind):
        return kind
    if category or kind.ordered:
        return pa.dictionary(pa.int32(), kind.value_type, kind.ordered)
    return kind.value_type


def _common(schemas: dict[Path, pa.Schema]) -> pa.Schema:
    """One schema for all files: whole numbers beside fractions are fractions, nothing yields to anything."""
    common = None
    for file, schema in schemas.items():
        try:
            common = pa.unify_schemas([common or schema, schema], promote_options="permissive")
        except pa.ArrowException as error:
            raise SourceFileError(
                f"a column is of another kind than in the files before: {str(error).splitlines()[0]}",
                where=str(file),
                remedy="Export all parts of the table in the same way.",
            ) from error
    return common


def _batches(file: Path, columns: list[str], size: int) -> Iterator[pa.RecordBatch]:
    try:
        with pq.ParquetFile(file) as opened:
            yield from opened.iter_batches(size, columns=columns)
    except (pa.ArrowException, OSError) as error:
        raise _unreadable(file, error) from error


def _frame(batch: pa.RecordBatch | pa.Table, schema: pa.Schema) -> pd.DataFrame:
    table = batch.select(schema.names).cast(schema)
    holes = any(table[name].null_count for name in schema.names if table[name].type in _MASKED)
    mapper: Any = _MASKED.get if holes else None  # codes of persons can be too long for a float
    frame: pd.DataFrame = table.to_pandas(types_mapper=mapper, date_as_object=False, ignore_metadata=True)
    return frame


def _unreadable(file: Path, error: Exception) -> SourceFileError:
    return SourceFileError(
        f"is not a readable Parquet file: {str(error).splitlines()[0]}",
        where=str(file),
        remedy="Export it again, or read it into a DataFrame and give that.",
    )
