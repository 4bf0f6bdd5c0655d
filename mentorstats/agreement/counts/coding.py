"""A long table of anybody's to integer codes, with every refusal in one place.

Levels are declared, never inferred: their set and order come from ``levels`` or from an ordered
categorical column. A row without a level, unit or rater is left out and counted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.counts.tabulate import Tabulation, from_long
from mentorstats.errors import ArgumentError, DuplicateRatingError, need_columns

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]
Columns: TypeAlias = str | Sequence[str]

_WHERE = "ratings"
_SHOWN = 5  # offending rows that a message names


@dataclass(frozen=True, slots=True)
class Coded:
    """Codes of the rows that enter, and the declared levels.

    Attributes
    ----------
    unit, rater, level : integer arrays (n,)
        Codes from zero, one entry a rating.
    cluster : integer array (n, m) or None
        A column for each crossed way of clustering.
    rows : integer array (n,)
        Positions in the table that was given.
    n_rows
        Rows of that table.
    levels
        Declared levels, lowest first.
    clustered_by
        Names of the columns of ``cluster``.
    weight : array (n,) or None
        Weight of the rating's unit.
    """

    unit: Codes
    rater: Codes
    level: Codes
    cluster: Codes | None
    rows: Codes
    n_rows: int
    levels: tuple[object, ...]
    clustered_by: tuple[str, ...] = ()
    weight: Array | None = None

    def tabulate(self, keep: Codes | None = None) -> Tabulation:
        """Tabulate the ratings, or those at the positions ``keep``."""
        unit, rater, level, cluster, weight = self.unit, self.rater, self.level, self.cluster, self.weight
        if keep is not None:
            unit, rater, level = unit[keep], rater[keep], level[keep]
            cluster = None if cluster is None else cluster[keep]
            weight = None if weight is None else weight[keep]
            unit, rater = renumber(unit), renumber(rater)
        n_units = int(unit.max()) + 1 if len(unit) else 0
        n_raters = int(rater.max()) + 1 if len(rater) else 0
        return from_long(
            unit,
            rater,
            level,
            q=len(self.levels),
            n_units=n_units,
            n_raters=n_raters,
            cluster=None if cluster is None else _of_units(unit, cluster, n_units),
            weight=None if weight is None else _of_units(unit, weight, n_units),
        )


def _of_units(unit: Codes, values: npt.NDArray[Any], n_units: int) -> npt.NDArray[Any]:
    """Value of each unit, from that of its ratings."""
    found = np.zeros((n_units, *values.shape[1:]), dtype=values.dtype)
    found[unit] = values
    return found


def names(columns: Columns) -> list[str]:
    """One or several column names as a list."""
    return [columns] if isinstance(columns, str) else list(columns)


def keys(columns: Columns, argument: str) -> list[str]:
    """Columns that together name something, as a list.

    Raises
    ------
    ArgumentError
        No column is named, or one is named twice.
    """
    found = names(columns)
    if not found or len(set(found)) < len(found):
        raise ArgumentError(
            f"{argument} names {f'a column twice ({found})' if found else 'no column'}",
            remedy="Name one column, or several different ones.",
        )
    return found


def code(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None,
    cluster: Columns | None,
    by: Columns | None = None,
    unit_weights: str | None = None,
) -> Coded:
    """Code the columns of a long table.

    A unit that occurs in several groups of ``by`` is another unit in each.

    Raises
    ------
    ColumnError
        A named column is not there.
    ArgumentError
        Levels are not declared, or a value is not among them; a unit lies in two clusters or has two
        weights; a weight is not a number above zero.
    DuplicateRatingError
        A rater rated the same unit twice.
    """
    wanted = [*keys(unit, "unit"), *keys(rater, "rater"), level]
    for further in (cluster, by, unit_weights):
        wanted += names(further) if further is not None else []
    need_columns(ratings.columns, wanted, where=_WHERE)
    declared, level_code = code_levels(ratings[level], levels)
    unit_code, rater_code = group_codes(ratings, names(unit)), ordered_codes(ratings, names(rater))
    if by is not None:
        unit_code = _apart(unit_code, group_numbers(ratings, keys(by, "by")))
    kept = (level_code >= 0) & (unit_code >= 0) & (rater_code >= 0)
    rows = np.flatnonzero(kept)
    coded_unit, coded_rater = renumber(unit_code[rows]), renumber(rater_code[rows])
    refuse_twice(ratings, rows, coded_unit, coded_rater)
    clusters: Codes | None = None
    clustered_by: tuple[str, ...] = ()
    if cluster is not None:
        clusters, clustered_by = named_clusters(ratings, names(cluster), rows, coded_unit)
    weight = None if unit_weights is None else _weights(ratings, unit_weights, rows, coded_unit)
    return Coded(
        coded_unit,
        coded_rater,
        level_code[rows],
        clusters,
        rows,
        len(ratings),
        declared,
        clustered_by,
        weight,
    )


def group_numbers(frame: pd.DataFrame, by: list[str]) -> Codes:
    """Number of each row's combination of ``by``, in sorted order; a missing value is a group."""
    return np.asarray(frame.groupby(by, observed=True, dropna=False, sort=True).ngroup(), dtype=np.intp)


def _apart(unit: Codes, group: Codes) -> Codes:
    """Codes that differ where unit or group do, -1 where there is no unit."""
    both, _ = pd.factorize(unit * np.int64(group.max(initial=0) + 1) + group)
    return np.where(unit < 0, -1, np.asarray(both, dtype=np.intp))


def group_codes(frame: pd.DataFrame, columns: Sequence[str]) -> Codes:
    """One code a distinct combination of the columns, -1 where any of them is missing."""
    combined, _ = pd.factorize(frame[columns[0]])
    for column in columns[1:]:
        further, values = pd.factorize(frame[column])
        missing = (combined < 0) | (further < 0)
        combined, _ = pd.factorize(combined * np.int64(max(len(values), 1)) + further)
        combined[missing] = -1
    return np.asarray(combined, dtype=np.intp)


def ordered_codes(frame: pd.DataFrame, columns: Sequence[str]) -> Codes:
    """Codes as `group_codes`, in the order of the values, so that the order of rows means nothing."""
    codes = group_codes(frame, columns)
    known = codes >= 0
    first = np.full(int(codes.max(initial=-1)) + 1, -1, dtype=np.intp)
    places = np.flatnonzero(known)[::-1]
    first[codes[places]] = places
    members = frame[list(columns)].iloc[first]
    keys = [_sortable(members[column]) for column in columns]
    rank = np.empty(len(first), dtype=np.intp)
    rank[np.lexsort(keys[::-1])] = np.arange(len(first))
    return np.where(known, rank[codes], -1) if len(first) else codes


def _sortable(column: pd.Series) -> npt.NDArray[np.intp]:
    """Place of each value in category order, in their own order, or else in that of their texts."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        return np.asarray(column.cat.codes, dtype=np.intp)
    try:
        return np.asarray(pd.factorize(column, sort=True)[0], dtype=np.intp)
    except TypeError:
        return np.asarray(pd.factorize(column.astype("str"), sort=True)[0], dtype=np.intp)


def code_levels(column: pd.Series, levels: Sequence[object] | None) -> tuple[tuple[object, ...], Codes]:
    """Return the declared levels and the code of each row's level, -1 where there is none."""
    declared = _declared(column, levels)
    if isinstance(column.dtype, pd.CategoricalDtype):
        position = _positions(pd.Series(column.cat.categories), declared)
        category = np.asarray(column.cat.codes)
        codes = np.where(category >= 0, position[category], -1) if len(position) else np.full(len(column), -1)
        present = category >= 0
    else:
        values, labels = pd.factorize(column)
        position = _positions(pd.Series(labels), declared)
        codes = np.where(values >= 0, position[values], -1) if len(position) else np.full(len(column), -1)
        present = values >= 0
    unknown = np.flatnonzero(present & (codes < 0))
    if len(unknown):
        found = sorted({str(value) for value in column.iloc[unknown].unique()})
        raise ArgumentError(
            f"level {', '.join(repr(value) for value in found[:_SHOWN])} is not declared "
            f"({len(unknown)} rows, first at {_rows(column.index, unknown)})",
            where=f"{_WHERE}, column {column.name!r}",
            allowed=[str(value) for value in declared],
            remedy="Declare every level of the rubric, lowest first, or correct the value.",
        )
    return declared, np.asarray(codes, dtype=np.intp)


def _declared(column: pd.Series, levels: Sequence[object] | None) -> tuple[object, ...]:
    if levels is None:
        if isinstance(column.dtype, pd.CategoricalDtype) and column.cat.ordered:
            return legal_levels(column.cat.categories)
        raise ArgumentError(
            "levels are not declared",
            where=f"{_WHERE}, column {column.name!r}",
            remedy="Give levels=[…], lowest first, or an ordered categorical; their order is never guessed.",
        )
    return legal_levels(levels)


def legal_levels(levels: Iterable[object]) -> tuple[object, ...]:
    """Return the declared levels, or raise ArgumentError where they cannot be a scale."""
    declared = tuple(levels)
    if any(
        level is None or (isinstance(level, float | np.floating) and not np.isfinite(level))
        for level in declared
    ):
        raise ArgumentError("a declared level is missing or infinite", where="levels")
    if len({_text(level) for level in declared}) != len(declared):
        raise ArgumentError("a level is declared twice", allowed=[str(value) for value in declared])
    if len(declared) < 2:
        raise ArgumentError("agreement needs two declared levels or more", where="levels")
    return declared


def _positions(labels: pd.Series, declared: tuple[object, ...]) -> Codes:
    """Where each label stands among the declared levels, -1 where it does not.

    Numbers and their texts are the same level, so that a column read as text can be declared in
    numbers and the other way round.
    """
    place = {_text(value): number for number, value in enumerate(declared)}
    return np.asarray([place.get(_text(label), -1) for label in labels], dtype=np.intp)


def _text(value: object) -> str:
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    return str(value).strip()


def renumber(codes: Codes) -> Codes:
    """Codes without gaps."""
    if not len(codes):
        return codes
    seen = np.bincount(codes) > 0
    if seen.all():
        return codes
    return np.asarray((np.cumsum(seen) - 1)[codes], dtype=np.intp)


def refuse_twice(ratings: pd.DataFrame, rows: Codes, unit: Codes, rater: Codes) -> None:
    """Raise DuplicateRatingError naming rows in which a rater rated a unit again."""
    if not len(rows):
        return
    n_raters = int(rater.max()) + 1
    key = unit * np.int64(n_raters) + rater
    grid = (int(unit.max()) + 1) * n_raters
    if grid <= 16 * len(key):
        twice = np.bincount(key, minlength=grid)[key] > 1
    else:
        twice = np.asarray(pd.Index(key).duplicated(keep=False))
    if twice.any():
        again = rows[twice]
        raise DuplicateRatingError(
            f"the same rater rated the same unit more than once ({len(again)} rows, first at "
            f"{_rows(ratings.index, again)})",
            where=_WHERE,
            remedy="Keep one rating a rater and unit, or name the column that tells the units apart in unit.",
        )


def _weights(ratings: pd.DataFrame, column: str, rows: Codes, unit: Codes) -> Array:
    """Weight of each rating's unit (n,)."""
    where = f"{_WHERE}, column {column!r}"
    given = pd.to_numeric(ratings[column], errors="coerce").to_numpy(dtype=float, na_value=np.nan)[rows]
    wrong = rows[~(np.isfinite(given) & (given > 0))]
    if len(wrong):
        raise ArgumentError(
            f"no usable weight in {len(wrong)} rows, first at {_rows(ratings.index, wrong)}",
            where=where,
            allowed="numbers above zero",
            remedy="Leave out the units that have no weight yourself, and say so.",
        )
    first = _of_units(unit[::-1], given[::-1], int(unit.max()) + 1) if len(unit) else given
    torn = rows[first[unit] != given]
    if len(torn):
        raise ArgumentError(
            f"a unit has two weights, first at {_rows(ratings.index, torn)}",
            where=where,
            remedy="Weigh units; every rating of a unit carries the weight of the unit.",
        )
    return np.asarray(given, dtype=np.float64)


def cluster_codes(ratings: pd.DataFrame, columns: list[str], rows: Codes, unit: Codes) -> Codes:
    """Codes of the cluster columns that matter, one a crossed way (n, m)."""
    return named_clusters(ratings, columns, rows, unit)[0]


def named_clusters(
    ratings: pd.DataFrame, columns: list[str], rows: Codes, unit: Codes
) -> tuple[Codes, tuple[str, ...]]:
    """Codes of the cluster columns that matter, one a crossed way (n, m), and their names.

    A column nested in another adds nothing: the higher one stands for both.
    """
    codes = []
    columns = keys(list(dict.fromkeys(columns)), "cluster")
    for column in columns:
        of_column = ordered_codes(ratings, [column])[rows]
        missing = rows[of_column < 0]
        if len(missing):
            raise ArgumentError(
                f"no cluster in {len(missing)} rows, first at {_rows(ratings.index, missing)}",
                where=f"{_WHERE}, column {column!r}",
                remedy="Every rating needs its cluster; leave out the rows that have none yourself.",
            )
        torn = rows[~_within(unit, of_column)]
        if len(torn):
            raise ArgumentError(
                f"a unit lies in two clusters, first at {_rows(ratings.index, torn)}",
                where=f"{_WHERE}, column {column!r}",
                remedy="Cluster by something all ratings of a unit share, for example the candidate.",
            )
        codes.append(of_column)
    kept = [
        place
        for place, own in enumerate(codes)
        if not any(
            _within(own, other).all() and (place > at or not _within(other, own).all())
            for at, other in enumerate(codes)
            if at != place
        )
    ]
    return np.stack([codes[place] for place in kept], axis=1), tuple(columns[place] for place in kept)


def _within(inner: Codes, outer: Codes) -> npt.NDArray[np.bool_]:
    """Which rows have the outer code that the first row of their inner code has (n,)."""
    if not len(inner):
        return np.zeros(0, dtype=bool)
    first = np.zeros(int(inner.max()) + 1, dtype=np.intp)
    first[inner[::-1]] = outer[::-1]
    return np.asarray(first[inner] == outer)


def _rows(index: pd.Index, positions: Codes) -> str:
    shown = ", ".join(str(value) for value in index[positions[:_SHOWN]])
    return f"{index.name or 'index'} {shown}{' …' if len(positions) > _SHOWN else ''}"
