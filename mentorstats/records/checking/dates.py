"""Dates that cannot all be right: noted, never decided."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.records.checking.batch import Batch
from mentorstats.records.problems import NOTICE, Problems, quoted
from mentorstats.records.reading.column import Column


def in_order(batch: Batch, problems: Problems) -> None:
    """Note rows in which a date lies before one that it cannot precede, as the dictionary says."""
    for first, last in batch.table.date_order:
        if first in batch.columns and last in batch.columns:
            early, late = batch.columns[first].array(), batch.columns[last].array()
            wrong = _true(pc.less(late, early)) & ~batch.aside
            at = np.flatnonzero(wrong)
            titles = [batch.table.field(name).title.lower() for name in (last, first)]
            value = late.take(pa.array(at)).cast(pa.string())
            batch.report(
                problems,
                at,
                last,
                quoted(value, f" as {titles[0]} lies before {titles[1]}"),
                rule="date_order",
                effect=NOTICE,
                remedy="Correct the date that is wrong.",
                value=value,
            )


def within_placement(observations: Batch, placements: Batch, problems: Problems) -> None:
    """Note lessons dated before their placement begins or after it ends."""
    if "date" not in observations.columns:
        return
    day = observations.columns["date"].array()
    place = observations.columns["placement"]
    row = _rows_of(place, placements)
    outside = np.zeros(len(observations), dtype=bool)
    for name, beyond in (("start", pc.less), ("end", pc.greater)):
        if name in placements.columns:
            outside |= _true(beyond(day, placements.columns[name].array().take(row)))
    at = np.flatnonzero(outside & ~observations.aside)
    value = day.take(pa.array(at)).cast(pa.string())
    observations.report(
        problems,
        at,
        "date",
        quoted(value, " lies outside the placement"),
        rule="outside_placement",
        effect=NOTICE,
        remedy="Correct the date, or the placement's start or end.",
        value=value,
    )


def _rows_of(code: Column, placements: Batch) -> pa.Array:
    """Row in placements of each code, null where it has none."""
    keys = placements.columns["placement"].array()
    return Column(code.codes, pc.index_in(code.values, value_set=keys)).array()


def _true(judged: pa.Array) -> np.ndarray:
    return np.asarray(judged.fill_null(False).to_numpy(zero_copy_only=False), dtype=bool)
