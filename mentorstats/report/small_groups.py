"""Blank groups of too few people in a table, until disclosure control does it across tables.

A row is blanked where a count column in ``people`` or ``raters``, who are people too, is above zero and
under the minimum: everything but the name of the group goes, shown or not, and every statistic says why.
Where rows add up to a total that is told, the next smallest ones go with it, until what is hidden in the
line is more than one row and as many people as the minimum. Nothing is done about numbers that could be
worked out from another section, which is why such pages stay inside the programme.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.estimate import Status
from mentorstats.policy import Rule
from mentorstats.report.model import STATUS, WORDS, Table
from mentorstats.report.numbers import count

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PERSONS = ("people", "raters")  # units that count persons


def blank(table: Table, rule: Rule) -> Table:
    """Return the table without the numbers of groups that do not meet the rule.

    Parameters
    ----------
    table
        Its count columns in ``people`` and ``raters`` decide; without one, it is returned as it is.
    rule
        The policy's ``minimum_group_size``.
    """
    people = [name for name in table.count_columns if table.units.get(name) in PERSONS]
    if not people:
        return table
    counts = np.column_stack([_numbers(table.data[name]) for name in people])
    few: Flags = np.any((counts > 0) & ~_meets(counts, rule), axis=1)
    if not few.any():
        return table
    hidden = _with_partners(table, counts, few, rule)
    small = pd.Series(hidden, index=table.data.index)
    data = table.data.copy()
    told = {*table.group_columns, *(name + WORDS for name in table.group_columns), table.total}
    for name in data.columns.difference(list(told), sort=False):
        data[name] = _without(data[name], small)
    for name in table.statistic_columns:
        given = data.get(name + STATUS, pd.Series(Status.OK.value, index=data.index))
        data[name + STATUS] = given.mask(small, Status.TOO_FEW_TO_SHOW.value)
    note = f"Groups of {_too_few(rule)} people are not shown."
    if (hidden & ~few).any():
        note += " Neither are the next larger ones, where a total would give those away."
    return replace(table, data=data, note=f"{table.note} {note}".strip())


def _numbers(column: pd.Series) -> Floats:
    """Counts as plain numbers, 0 where there is none."""
    return np.asarray(column.astype("Float64").fillna(0.0), dtype=np.float64)


def _too_few(rule: Rule) -> str:
    return f"fewer than {rule.value:g}" if rule.inequality == ">=" else f"up to {rule.value:g}"


def _with_partners(table: Table, counts: Floats, few: Flags, rule: Rule) -> Flags:
    """Rows to hide: those of too few people, and as many more as keep each line from giving them back."""
    hidden, size = few.copy(), counts.min(axis=1)
    total = table.data[table.total].to_numpy(dtype=bool) if table.total else np.zeros(len(few), dtype=bool)
    lines = [line for columns in table.lines for line in _lines(table.data, columns)]
    before = -1
    while hidden.sum() != before:
        before = hidden.sum()
        for line in lines:
            parts = line & ~total & (size > 0)
            while (hidden & parts).any() and not _safe(counts[hidden & parts], rule):
                left = np.flatnonzero(parts & ~hidden)
                if not len(left):
                    hidden |= line & total
                    break
                hidden[left[size[left].argmin()]] = True
    return hidden


def _lines(data: pd.DataFrame, columns: tuple[str, ...]) -> list[Flags]:
    """Rows of each line, as a mask."""
    if not columns:
        return [np.ones(len(data), dtype=bool)]
    number = data.groupby(list(columns), sort=False, dropna=False).ngroup().to_numpy()
    return [number == place for place in np.unique(number)]


def _meets(counts: Floats, rule: Rule) -> Flags:
    return np.asarray(np.vectorize(rule.met, otypes=[bool])(counts), dtype=bool)


def _safe(hidden: Floats, rule: Rule) -> bool:
    """Whether a total tells no more of these rows than that they have enough people together."""
    return len(hidden) > 1 and bool(_meets(hidden.sum(axis=0), rule).all())


def raters_of_enough(table: Table, rule: Rule) -> Table:
    """Return the table with the rows of raters who saw enough candidates, and how many are not listed.

    Parameters
    ----------
    table
        A row a rater; its data have ``n_candidates``, shown or not.
    rule
        The policy's ``minimum_group_size``.
    """
    enough = table.data["n_candidates"].map(rule.met).to_numpy(dtype=bool)
    few = int((~enough).sum())
    if not few:
        return table
    verb = "is" if few == 1 else "are"
    note = f"{count(few, 'rater')} of fewer than {rule.value:g} candidates {verb} not listed."
    return replace(table, data=table.data[enough].reset_index(drop=True), note=f"{table.note} {note}".strip())


def _without(column: pd.Series, small: pd.Series) -> pd.Series:
    """Return the column with nothing where the group is small."""
    if pd.api.types.is_integer_dtype(column.dtype):
        return column.astype("Int64").mask(small)
    return column.mask(small, math.nan if pd.api.types.is_numeric_dtype(column.dtype) else "")
