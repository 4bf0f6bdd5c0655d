"""What a run publishes: counts of people with names, which are hidden, and what adds up to what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
import pandas as pd

from mentorstats.errors import ArgumentError, need_columns

TOTAL = "total"


@dataclass(frozen=True, slots=True)
class Sum:
    """One cell is the sum of others."""

    total: str
    parts: tuple[str, ...]

    @property
    def cells(self) -> tuple[str, ...]:
        """All cells of the line, the total first."""
        return (self.total, *self.parts)


@dataclass(frozen=True, slots=True)
class Share:
    """A printed quotient of two cells: a share of people, or a mean as a sum divided by people.

    Attributes
    ----------
    value, half
        The quotient as printed, and half of its last printed digit: the true one lies within.
    """

    part: str
    base: str
    value: float
    half: float


@dataclass(frozen=True, slots=True)
class Published:
    """Counts that a run publishes or hides.

    Attributes
    ----------
    cells
        Index: the name of each cell, the same in every table where it stands. Columns: ``value`` (true),
        ``hidden``, ``least`` and ``most`` (what everybody knows of a hidden one).
    sums, shares
        What else is published about them.
    """

    cells: pd.DataFrame
    sums: tuple[Sum, ...] = ()
    shares: tuple[Share, ...] = ()

    def __post_init__(self) -> None:
        need_columns(self.cells.columns, ["value", "hidden", "least", "most"], where="cells")
        if not self.cells.index.is_unique:
            raise ArgumentError("a cell stands there twice", where="cells", remedy="Give each cell one row.")
        known = set(self.cells.index)
        named = chain(
            (c for s in self.sums for c in s.cells), (c for s in self.shares for c in (s.part, s.base))
        )
        unknown = sorted(set(named) - known)
        if unknown:
            raise ArgumentError(f"no cell {', '.join(unknown)}", where="sums and shares")

    def values(self) -> dict[str, float]:
        """True values by name."""
        numbers = self.cells["value"].to_numpy(dtype="float64").tolist()
        return dict(zip(map(str, self.cells.index), numbers, strict=True))

    def hiding(self, names: Sequence[str]) -> Published:
        """Return it with these cells hidden and no others."""
        return replace(self, cells=self.cells.assign(hidden=self.cells.index.isin(list(names))))

    @property
    def hidden(self) -> list[str]:
        """Names of the hidden cells."""
        return [str(name) for name in self.cells.index[self.cells["hidden"].to_numpy(dtype=bool)]]


def cells_of(values: Mapping[str, float], *, least: float = 0.0, most: float = np.inf) -> pd.DataFrame:
    """Return the frame of cells from values by name, none of them hidden."""
    value = pd.Series(values, dtype="float64")
    return pd.DataFrame({"value": value, "hidden": False, "least": least, "most": most})


def name_of(groups: Mapping[str, Any]) -> str:
    """Name of the cell of these groups: column and value, in the order of the columns' names."""
    return " · ".join(f"{column} {groups[column]}" for column in sorted(groups)) or "everybody"


def from_tables(
    tables: Sequence[pd.DataFrame], *, count: str = "n", total: str = TOTAL, least: float = 0.0
) -> Published:
    """Read cells and sums from tables that count the same people.

    Parameters
    ----------
    tables
        Each has a row a cell: group columns and ``count``. A row in which a group column is ``total`` is the
        sum of the rows that differ from it in that column alone.
    least
        What everybody knows a hidden count to be at least: 1 where empty cells are published as 0.

    Returns
    -------
    Published
        A cell of the same groups in two tables is one cell; nothing is hidden.

    Raises
    ------
    ArgumentError
        Rows do not add up to their total, or one cell has two values.
    """
    values: dict[str, float] = {}
    sums: dict[Sum, None] = {}
    for table in tables:
        need_columns(table.columns, [count], where="a table")
        groups = [str(column) for column in table.columns if column != count]
        keys = [
            name_of({c: v for c, v in zip(groups, row, strict=True) if v != total})
            for row in table[groups].astype("str").itertuples(index=False)
        ]
        for key, value in zip(keys, table[count].astype(float), strict=True):
            if values.setdefault(key, value) != value:
                raise ArgumentError(f"{key} is {values[key]:g} in one table and {value:g} in another")
        sums |= dict.fromkeys(_sums(table[groups].astype("str"), keys, total))
    for line in sums:
        added = sum(values[part] for part in line.parts)
        if added != values[line.total]:
            raise ArgumentError(f"{line.total} is {values[line.total]:g}, and its parts add up to {added:g}")
    return Published(cells_of(values, least=least), tuple(sums))


def _sums(groups: pd.DataFrame, keys: Sequence[str], total: str) -> Iterator[Sum]:
    """Each total with its parts, in each direction of a table."""
    names = pd.Series(list(keys), index=groups.index)
    for column in groups:
        others = [name for name in groups if name != column]
        lines = groups.groupby(others, sort=False) if others else [((), groups)]
        for _, rows in lines:
            whole = rows[column] == total
            if whole.any() and not whole.all():
                yield Sum(str(names[rows.index[whole][0]]), tuple(names[rows.index[~whole]]))
