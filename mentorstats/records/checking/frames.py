"""Finished frames: one a table, every field of the dictionary, and where each row came from."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.dictionary import Field, Table
from mentorstats.records.checking import cast
from mentorstats.records.checking.batch import Batch
from mentorstats.records.reading.column import Column

PROVENANCE = ("file", "sheet", "row")

_NULLABLE = {pa.int64(): pd.Int64Dtype(), pa.bool_(): pd.BooleanDtype()}


def frame(table: Table, batch: Batch | None, levels: tuple[str, ...]) -> pd.DataFrame:
    """Return the rows of a batch that stand, as a frame; an empty one where there is no batch.

    Texts are ``str``, whole numbers ``Int64``, numbers ``float64``, yes/no ``boolean``, dates
    ``datetime64[us]``; a field with ordered categories, or one that holds a level of a rubric, is an
    ordered categorical, lowest first.
    """
    keep = np.flatnonzero(~batch.aside) if batch is not None else np.empty(0, dtype=np.int64)
    arrays = [_array(field, table, batch, keep, levels) for field in table.fields]
    if batch is None:
        origin, rows = np.empty(0, dtype=np.int32), np.empty(0, dtype=np.int64)
    else:
        origin, rows = batch.origin[keep], batch.rows[keep]
    origins = batch.origins if batch is not None else ()
    for part in ("file", "sheet"):
        names = pa.array([getattr(one, part) for one in origins], pa.string())
        arrays.append(names.take(pa.array(origin)))
    arrays.append(pa.array(rows))
    whole = pa.Table.from_arrays(arrays, names=[*table.names, *PROVENANCE])
    made: pd.DataFrame = whole.to_pandas(types_mapper=_NULLABLE.get)
    return made


def _array(
    field: Field, table: Table, batch: Batch | None, keep: np.ndarray, levels: tuple[str, ...]
) -> pa.Array:
    kind = cast.arrow_type(field)
    if batch is not None and field.name in batch.columns:
        column = batch.columns[field.name].take(keep)
    else:
        column = Column(np.zeros(len(keep), dtype=np.int32), pa.nulls(1, kind))
    if field.name in table.levels:
        return _categorical(column, levels)
    if field.ordered:
        return _categorical(column, tuple(field.categories))
    if field.type == "date":
        return Column(column.codes, column.values.cast(pa.timestamp("us"))).array()
    return column.array()


def _categorical(column: Column, ordered: tuple[str, ...]) -> pa.Array:
    categories = pa.array(ordered, pa.string())
    place = pc.index_in(column.values, value_set=categories)
    index = Column(column.codes, place).array()
    return pa.DictionaryArray.from_arrays(index, categories, ordered=True)
