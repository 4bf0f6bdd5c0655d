"""Blank groups of too few people, once for a whole report, from what its tables declare.

A row is blanked where a count column in ``people`` or ``raters``, who are people too, is above zero and
under the minimum: everything but the name of the group goes, shown or not, and every statistic says why.
Where rows add up to a total that is told, the next smallest ones go with it, until what is hidden in the
line is more than one row and as many people as the minimum. A row about a single person is not listed at
all where that person's candidates are too few. Nothing is done about numbers that could be worked out from
another section, which is why such pages stay inside the programme.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.estimate import Status
from mentorstats.policy import Rule
from mentorstats.report.columns import STATUS, WORDS, Kind
from mentorstats.report.model import Report, Section, Table
from mentorstats.report.numbers import count

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PERSONS = ("people", "raters")  # units that count persons
CANDIDATES = "n_candidates"  # in the data of tables about single raters, shown or not


def applied(report: Report, rule: Rule) -> Report:
    """Return the report without the numbers of groups that do not meet the rule."""
    sheet = None if report.follow_up is None else _section(report.follow_up, rule)
    return replace(report, sections=tuple(_section(s, rule) for s in report.sections), follow_up=sheet)


def _section(section: Section, rule: Rule) -> Section:
    return replace(section, tables=tuple(blank(table, rule) for table in section.tables))


def blank(table: Table, rule: Rule) -> Table:
    """Return a table without the numbers of groups that do not meet the rule.

    Parameters
    ----------
    table
        Its count columns in ``people`` and ``raters`` decide; without one, it is returned as it is. A table
        of single people loses the rows of those with too few candidates.
    rule
        The policy's ``minimum_group_size``.
    """
    if table.people and CANDIDATES in table.data:
        return _of_enough(table, rule)
    people = [column.name for column in table.of(Kind.COUNT) if column.unit in PERSONS]
    if not people:
        return table
    counts = np.column_stack([_numbers(table.data[name]) for name in people])
    few: Flags = np.any((counts > 0) & ~_meets(counts, rule), axis=1)
    if not few.any():
        return table
    hidden = _with_partners(table, counts, few, rule)
    small = pd.Series(hidden, index=table.data.index)
    data = table.data.copy()
    groups = {column.name for column in table.of(Kind.GROUP)}
    told = groups | {name + WORDS for name in groups} | {table.total}
    for name in data.columns.difference(list(told), sort=False):
        data[name] = _without(data[name], small)
    for column in table.columns:
        if column.blanked:
            given = data.get(column.name + STATUS, pd.Series(Status.OK.value, index=data.index))
            data[column.name + STATUS] = given.mask(small, Status.TOO_FEW_TO_SHOW.value)
    note = f"Groups of {_too_few(rule)} people are not shown."
    if (hidden & ~few).any():
        note += " Neither are the next larger ones, where a total would give those away."
    return replace(table, data=data, note=f"{table.note} {note}".strip())


def _numbers(column: pd.Series) -> Floats:
    """Counts as plain numbers; an unknown count hides nobody."""
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


def _of_enough(table: Table, rule: Rule) -> Table:
    """Return the table with the rows of people of enough candidates, and how many are not listed."""
    enough = table.data[CANDIDATES].fillna(0).map(rule.met).to_numpy(dtype=bool)
    few = int((~enough).sum())
    if not few:
        return table
    verb = "is" if few == 1 else "are"
    note = f"{count(few, 'rater')} with {_too_few(rule)} candidates {verb} not listed."
    return replace(table, data=table.data[enough].reset_index(drop=True), note=f"{table.note} {note}".strip())


def _without(column: pd.Series, small: pd.Series) -> pd.Series:
    """Return the column with nothing where the group is small."""
    if pd.api.types.is_integer_dtype(column.dtype):
        return column.astype("Int64").mask(small)
    return column.mask(small, math.nan if pd.api.types.is_numeric_dtype(column.dtype) else "")
