"""Blank groups of too few people in a table, until disclosure control does it across tables.

A row is blanked where a count column in ``people`` or ``raters``, who are people too, is above zero and
under the minimum: everything
but the name of the group goes, shown or not, and every statistic says why. Nothing is done about rows
that could be worked out from a total, which is why such pages stay inside the programme.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Rule
from mentorstats.report.model import STATUS, WORDS, Table
from mentorstats.report.numbers import count

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
    counts = table.data[people]
    small = ((counts > 0) & ~counts.map(rule.met)).any(axis=1)
    if not small.any():
        return table
    data = table.data.copy()
    told = {*table.group_columns, *(name + WORDS for name in table.group_columns)}
    for name in data.columns.difference(list(told), sort=False):
        data[name] = _without(data[name], small)
    for name in table.statistic_columns:
        given = data.get(name + STATUS, pd.Series(Status.OK.value, index=data.index))
        data[name + STATUS] = given.mask(small, Status.TOO_FEW_TO_SHOW.value)
    note = f"Groups of fewer than {rule.value:g} people are not shown."
    return replace(table, data=data, note=f"{table.note} {note}".strip())


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
