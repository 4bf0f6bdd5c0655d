"""One gate for every table that a public function of the statistics is given.

What cannot be meant is refused, and what can only be meant in one way is made plain: an index never counts,
small and unsigned numbers become those that do not overflow.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Hashable
from typing import Any

import numpy as np
import pandas as pd

from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status

HIGHEST_RANK = 100
LARGEST = 1e50  # fourth powers of what a column holds are numbers still

_RANKS = frozenset({"rank", "rank_first", "rank_second"})
_TRUTHS = frozenset({"independent"})
_NUMBERS = frozenset({"week", "weight"})
_DAYS = frozenset({"date"})
_SHOWN = 5  # rows or columns that a message names


def table(
    frame: pd.DataFrame, name: str, *, used: Collection[str] | None = None, keep_index: bool = False
) -> pd.DataFrame:
    """Return the table as computations take it; the caller's is left as it is.

    Parameters
    ----------
    name
        What messages call the table.
    used
        Columns that the caller named. None for a table of fixed columns: all are looked at, and rank, week,
        date and independent must be what the long table says they are.
    keep_index
        Whether results are indexed as the table is. Otherwise an index in which a label occurs twice, or of
        several levels, becomes row numbers from 0.

    Raises
    ------
    ColumnError
        Two columns have one name, or columns have several levels.
    ArgumentError
        A cell holds a list or the like, or a column of the long table does not hold what it must.
    """
    _refuse_columns(frame, name)
    ready = frame.copy(deep=False)
    index = ready.index
    if not keep_index and (isinstance(index, pd.MultiIndex) or not index.is_unique):
        ready.index = pd.RangeIndex(len(ready), name=None)
    elif any(label in frame.columns for label in index.names):
        ready.index = index.set_names([None if label in frame.columns else label for label in index.names])
    for column in frame.columns if used is None else [one for one in frame.columns if one in used]:
        _refuse_unhashable(ready, column, name)
        found = given = ready[column]
        if used is None:
            found = _long(given, column, name)
        found = _wide(found)
        _refuse_beyond(found, name)
        if found is not given:
            ready[column] = found
    return ready


def _refuse_columns(frame: pd.DataFrame, name: str) -> None:
    if isinstance(frame.columns, pd.MultiIndex):
        raise ColumnError(
            f"the columns have {frame.columns.nlevels} levels",
            where=name,
            remedy="Give each column one name.",
        )
    if not frame.columns.is_unique:
        twice = frame.columns[frame.columns.duplicated()][0]
        raise ColumnError(
            f"two columns are called {twice!r}", where=name, remedy="Rename or drop one of them."
        )


def _refuse_unhashable(frame: pd.DataFrame, column: Any, name: str) -> None:
    """Raise where a cell holds a list, a dict or an array, which can be no code."""
    of_rows = frame[column]
    if pd.api.types.is_complex_dtype(of_rows.dtype):
        raise ArgumentError("it holds complex numbers", where=f"{name}, column {column!r}")
    values = of_rows.cat.categories if isinstance(of_rows.dtype, pd.CategoricalDtype) else of_rows
    if isinstance(values.dtype, pd.ArrowDtype):
        kind = values.dtype.kind
        if kind == "O" and values.dtype.type in (list, dict):
            raise _nested(of_rows.index[:1], column, name, f"values of the kind {values.dtype.type.__name__}")
        return
    if not pd.api.types.is_object_dtype(values.dtype):
        return
    wrong = [place for place, value in enumerate(values) if not _is_code(value)]
    if wrong:
        of = type(np.asarray(values, dtype=object)[wrong[0]]).__name__
        what = "incomplete text (half a character)" if of == "str" else f"values of the kind {of}"
        raise _nested(of_rows.index[wrong[:_SHOWN]], column, name, what)


def _nested(rows: pd.Index, column: Any, name: str, kind: str) -> ArgumentError:
    return ArgumentError(
        f"cells hold {kind} (first at {', '.join(map(str, rows))})",
        where=f"{name}, column {column!r}",
        allowed="text, numbers, dates, True or False, one a cell",
        remedy="Write each value to a row or a column of its own.",
    )


def _refuse_beyond(values: pd.Series, name: str) -> None:
    """Raise where a number is so large that its powers are none; infinite ones have messages of their own."""
    if not pd.api.types.is_float_dtype(values.dtype):
        return
    size = np.abs(values.to_numpy(dtype=np.float64, na_value=np.nan))
    beyond = np.flatnonzero(np.isfinite(size) & (size > LARGEST))
    if len(beyond):
        raise ArgumentError(
            f"{values.iloc[beyond[0]]:g} at {values.index[beyond[0]]}",
            where=f"{name}, column {values.name!r}",
            allowed=f"numbers between -{LARGEST:g} and {LARGEST:g}",
            remedy="Correct it, or give it in another unit.",
        )


def _is_code(value: object) -> bool:
    """Whether a cell can be a code or a number: no list or tuple, no function, no half of a character."""
    if isinstance(value, str):
        return value.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in value)
    if isinstance(value, tuple | frozenset | complex) or callable(value):
        return False
    return isinstance(value, Hashable)


def _wide(values: pd.Series) -> pd.Series:
    """Small and unsigned numbers as those of 64 bits with a sign, so that differences do not wrap around."""
    dtype: Any = values.dtype
    if isinstance(dtype, pd.ArrowDtype):
        return _from_arrow(values)
    kind, size = getattr(dtype, "kind", "O"), getattr(dtype, "itemsize", 8)
    if kind not in "iuf" or (kind != "u" and size >= 8) or pd.api.types.is_bool_dtype(dtype):
        return values
    if kind == "f":
        return values.astype("float64" if _plain(dtype) else "Float64")
    if kind == "u" and size >= 8 and len(values) and values.max() > np.iinfo(np.int64).max:
        return values
    return values.astype("int64" if _plain(dtype) else "Int64")


def _from_arrow(values: pd.Series) -> pd.Series:
    """The same values without Arrow's types, which compare with their own kind only."""
    plain = {
        "i": "Int64",
        "u": "Int64",
        "f": "Float64",
        "b": "boolean",
        "U": "str",
        "M": "datetime64[us]",
    }
    kind = "U" if pd.api.types.is_string_dtype(values.dtype) else values.dtype.kind
    dtype = pd.api.types.pandas_dtype(plain.get(kind, "object"))
    return values.astype(dtype)


def _plain(dtype: Any) -> bool:
    return isinstance(dtype, np.dtype)


def _long(values: pd.Series, column: Any, name: str) -> pd.Series:
    """Hold a column to what the long table says of it."""
    if column in _RANKS:
        return ranks(values, name)
    if column in _TRUTHS:
        return truths(values, name)
    if column in _DAYS:
        return days(values, name)
    return numbers(values, name) if column in _NUMBERS else values


def of_candidates(long: pd.DataFrame) -> pd.DataFrame:
    """Return the rows whose candidate is known, and all rows where none is.

    A rating whose lesson or placement was set aside has no candidate, and says nothing about candidates.
    """
    known = long["candidate"].notna()
    return long[known] if known.any() and not known.all() else long


def version_number(version: str) -> float:
    """The version as a number, for order; 0 where it is none."""
    try:
        return float(version)
    except ValueError:
        return 0.0


def numbers(values: pd.Series, name: str) -> pd.Series:
    """Return the column, or raise ArgumentError unless it holds finite numbers or nothing.

    Text is not read as a number; a column without any value counts as numbers.
    """
    dtype: Any = values.dtype
    where = f"{name}, column {values.name!r}"
    if not values.notna().any():
        nothing = pd.Series(np.nan, index=values.index, name=str(values.name), dtype="float64")
        return values if pd.api.types.is_numeric_dtype(dtype) else nothing
    number = pd.api.types.is_numeric_dtype(dtype) and not pd.api.types.is_bool_dtype(dtype)
    if pd.api.types.is_object_dtype(dtype):
        number = pd.api.types.infer_dtype(values, skipna=True) in (
            "integer",
            "floating",
            "mixed-integer-float",
            "decimal",
        )
        values = values.astype("Float64") if number else values
    if not number or pd.api.types.is_complex_dtype(dtype):
        raise ArgumentError(
            f"it holds {dtype}", where=where, allowed="numbers", remedy="Convert it to numbers first."
        )
    if not np.isfinite(values.dropna().to_numpy(dtype=np.float64)).all():
        raise ArgumentError("a number is infinite", where=where, remedy="Correct it, or leave it missing.")
    return values


def ranks(values: pd.Series, name: str) -> pd.Series:
    """Return the column, or raise ArgumentError unless it holds whole numbers from 1 or nothing."""
    found = numbers(values, name)
    given = found.to_numpy(dtype=np.float64, na_value=np.nan)
    wrong = np.flatnonzero(
        ~np.isnan(given) & ((given != np.floor(given)) | (given < 1) | (given > HIGHEST_RANK))
    )
    if len(wrong):
        label = values.index[wrong[0]]
        raise ArgumentError(
            f"rank {given[wrong[0]]:g} in {len(wrong)} rows, first at {label}",
            where=f"{name}, column {values.name!r}",
            allowed=f"whole numbers from 1, the lowest level, to {HIGHEST_RANK}",
            remedy="Give the place of the level in the rubric; averages of levels are no ranks.",
        )
    if pd.api.types.is_integer_dtype(found.dtype):
        return found
    return found.astype("Float64").astype("Int64")


def days(values: pd.Series, name: str) -> pd.Series:
    """Return the column as days without a time zone, or raise ArgumentError where it holds none.

    Text is read as ISO 8601, such as 2026-03-31.
    """
    dtype: Any = values.dtype
    if pd.api.types.is_datetime64_any_dtype(dtype) and not isinstance(dtype, pd.ArrowDtype):
        return values.dt.tz_localize(None) if isinstance(dtype, pd.DatetimeTZDtype) else values
    known = values.notna().to_numpy(dtype=bool)
    cells = [str(value) if isinstance(value, str | datetime.date) else "" for value in values]
    read = pd.to_datetime(cells, errors="coerce", format="ISO8601", utc=True).tz_localize(None)
    wrong = np.flatnonzero(known & np.asarray(read.isna()))
    if len(wrong):
        raise ArgumentError(
            f"{values.iloc[wrong[0]]!r} is no date (row {values.index[wrong[0]]}, first of {len(wrong)})",
            where=f"{name}, column {values.name!r}",
            allowed="dates, or text such as 2026-03-31",
        )
    return pd.Series(read, index=values.index, name=str(values.name))


def statuses(values: pd.Series, name: str) -> pd.Series:
    """Return the column, or raise ArgumentError unless it holds statuses only."""
    unknown = set(values) - set(Status)
    if unknown:
        raise ArgumentError(
            f"no status {min(map(repr, unknown))}",
            where=f"{name}, column {values.name!r}",
            allowed=list(Status),
        )
    return values


def truths(values: pd.Series, name: str) -> pd.Series:
    """Return the column as nullable booleans, or raise ArgumentError where it holds anything else.

    Text such as "no" is refused: which words mean no is for the mapping of the records to say.
    """
    if pd.api.types.is_bool_dtype(values.dtype) and not isinstance(values.dtype, pd.CategoricalDtype):
        return values.astype("boolean")
    known = values.dropna().astype(object)
    wrong = known[[not _is_truth(value) for value in known]]
    if len(wrong):
        raise ArgumentError(
            f"{wrong.iloc[0]!r} in {len(wrong)} rows, first at {wrong.index[0]}",
            where=f"{name}, column {values.name!r}",
            allowed="True, False, or nothing where it is not known",
            remedy="Turn words into True and False first.",
        )
    flags = [None if unknown else bool(value) for value, unknown in zip(values, values.isna(), strict=True)]
    return pd.Series(pd.array(flags, dtype="boolean"), index=values.index, name=values.name)


def _is_truth(value: object) -> bool:
    if isinstance(value, bool | np.bool_):
        return True
    return isinstance(value, int | float | np.integer | np.floating) and value in (0, 1)
