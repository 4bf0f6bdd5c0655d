"""Blank groups of too few people, once for a whole report, from what its tables declare.

A row is blanked where a count column in ``people`` or ``raters``, who are people too, is above zero and
under the minimum: everything but the name of the group goes, shown or not, and every statistic says why.
A row about a single person is not listed at all where that person's candidates are too few. Nothing is done
about rows that could be worked out from a total, which is why such pages stay inside the programme.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Rule
from mentorstats.report.columns import STATUS, WORDS, Kind
from mentorstats.report.model import Report, Section, Table
from mentorstats.report.numbers import count

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
    counts = table.data[people].astype("Float64").fillna(0.0).astype(float)  # an unknown count hides nobody
    small = ((counts > 0) & ~counts.map(rule.met)).any(axis=1)
    if not small.any():
        return table
    data = table.data.copy()
    groups = {column.name for column in table.of(Kind.GROUP)}
    told = groups | {name + WORDS for name in groups}
    for name in data.columns.difference(list(told), sort=False):
        data[name] = _without(data[name], small)
    for column in table.columns:
        if column.blanked:
            given = data.get(column.name + STATUS, pd.Series(Status.OK.value, index=data.index))
            data[column.name + STATUS] = given.mask(small, Status.TOO_FEW_TO_SHOW.value)
    note = f"Groups of fewer than {rule.value:g} people are not shown."
    return replace(table, data=data, note=f"{table.note} {note}".strip())


def _of_enough(table: Table, rule: Rule) -> Table:
    """Return the table with the rows of people of enough candidates, and how many are not listed."""
    enough = table.data[CANDIDATES].fillna(0).map(rule.met).to_numpy(dtype=bool)
    few = int((~enough).sum())
    if not few:
        return table
    verb = "is" if few == 1 else "are"
    note = f"{count(few, 'rater')} with fewer than {rule.value:g} candidates {verb} not listed."
    return replace(table, data=table.data[enough].reset_index(drop=True), note=f"{table.note} {note}".strip())


def _without(column: pd.Series, small: pd.Series) -> pd.Series:
    """Return the column with nothing where the group is small."""
    if pd.api.types.is_integer_dtype(column.dtype):
        return column.astype("Int64").mask(small)
    return column.mask(small, math.nan if pd.api.types.is_numeric_dtype(column.dtype) else "")
