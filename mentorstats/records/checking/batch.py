"""Rows of one table on their way to a frame, each knowing where it came from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from mentorstats.dictionary import Table
from mentorstats.records.mapping import Source
from mentorstats.records.problems import SET_ASIDE, Problems, Texts
from mentorstats.records.reading.column import Column, Mask, replaced, stacked

Positions = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Origin:
    """The file and sheet that rows came from, and the block of the mapping that was followed."""

    source: Source
    file: str
    sheet: str
    headings: Mapping[str, str]


@dataclass(slots=True)
class Batch:
    """Columns of one table; ``origin`` and ``rows`` say where each row stood, ``aside`` which are out."""

    table: Table
    columns: dict[str, Column]
    origins: tuple[Origin, ...]
    origin: npt.NDArray[np.int32]
    rows: npt.NDArray[np.int64]
    aside: Mask

    def __len__(self) -> int:
        return len(self.rows)

    def only(self, mask: Mask) -> "Batch":
        """Return the rows where a mask holds."""
        columns = {name: column.take(mask) for name, column in self.columns.items()}
        return Batch(self.table, columns, self.origins, self.origin[mask], self.rows[mask], self.aside[mask])

    def first_of_each(self, at: Positions, field: str = "") -> tuple[Positions, pa.Array]:
        """Return the first of these positions in each file, for each value of a field, and the rows meant."""
        group = self.origin[at].astype(np.int64)
        if field:
            code, size = self.columns[field].take(at).keys()
            group = code + group * max(size, 1)
        first = ~pd.Series(group).duplicated().to_numpy()
        rows = pd.Series(self.rows[at]).groupby(group).transform("nunique").to_numpy()[first]
        told = [f" ({n} rows, the first is shown)" if n > 1 else "" for n in rows]
        return at[first], pa.array(told, pa.string())

    def report(
        self,
        problems: Problems,
        at: Positions,
        field: str,
        problem: Texts,
        *,
        rule: str,
        effect: str,
        remedy: Texts,
        value: pa.Array | None = None,
    ) -> None:
        """Add a fault of one field for the rows at these positions, and set them aside if so meant.

        ``value`` is what stands in the file where that is not what stands in the column; texts are
        one for all, or one for each position.
        """
        if not len(at):
            return
        if effect == SET_ASIDE:
            self.aside[at] = True
        shown = value if value is not None else self.columns[field].take(at).array()
        for number in np.unique(self.origin[at]):
            chosen = np.flatnonzero(self.origin[at] == number)
            pick = pa.array(chosen)
            origin = self.origins[number]
            problems.add(
                problem if isinstance(problem, str) else problem.take(pick),
                file=origin.file,
                sheet=origin.sheet,
                rows=self.rows[at[chosen]],
                column=self._heading(origin, field, at[chosen]),
                value=shown.take(pick),
                rule=rule,
                effect=effect,
                remedy=remedy if isinstance(remedy, str) else remedy.take(pick),
            )

    def _heading(self, origin: Origin, field: str, at: Positions) -> Texts:
        """Heading of a field; in a wide form the level stands under its criterion's heading."""
        if origin.source.criteria and field in ("criterion", "level"):
            named = {code: recipe.named for code, recipe in origin.source.criteria.items()}
            return replaced(self.columns["criterion"].take(at), named).array()
        return origin.headings.get(field, field)


def joined(batches: Sequence[Batch]) -> Batch:
    """Put batches of one table one below the other; a field that one lacks is empty there."""
    first = batches[0]
    if len(batches) == 1:
        return first
    columns: dict[str, Column] = {}
    for name in first.table.names:
        kinds = [batch.columns[name].values.type for batch in batches if name in batch.columns]
        if kinds:
            columns[name] = stacked([_column(batch, name, kinds[0]) for batch in batches])
    shifts = np.cumsum([0, *(len(batch.origins) for batch in batches)])
    return Batch(
        table=first.table,
        columns=columns,
        origins=tuple(origin for batch in batches for origin in batch.origins),
        origin=_joined([batch.origin + shift for batch, shift in zip(batches, shifts, strict=False)]),
        rows=_joined([batch.rows for batch in batches]),
        aside=_joined([batch.aside for batch in batches]),
    )


def _column(batch: Batch, name: str, kind: pa.DataType) -> Column:
    if name in batch.columns:
        return batch.columns[name]
    return Column(np.zeros(len(batch), dtype=np.int32), pa.nulls(1, kind))


def _joined(arrays: list[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    return np.concatenate(arrays)
