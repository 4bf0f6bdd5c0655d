"""A table of the model as cells of text, ready for a template: the edge where numbers are rounded."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from string import ascii_lowercase
from typing import Any

import pandas as pd

from mentorstats.declared.vocabulary import STATUSES, meanings
from mentorstats.estimate import Status
from mentorstats.report import numbers
from mentorstats.report.columns import BOUNDS, STATUS, WORDS, Column, Kind
from mentorstats.report.model import Table, Verdict

NOT_RECORDED = "not recorded"
HIDDEN = "not shown"


@dataclass(frozen=True, slots=True)
class Head:
    """One column heading: label, unit in words, and whether the column holds numbers."""

    label: str
    unit: str
    numeric: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: text, what stands under it (interval, words), ring of a verdict, letter of a note."""

    text: str
    under: str = ""
    ring: str = ""
    mark: str = ""
    heads: bool = False
    numeric: bool = False


@dataclass(frozen=True, slots=True)
class View:
    """A table in text; ``notes`` explains each letter used in a cell."""

    head: list[Head]
    rows: list[list[Cell]]
    notes: dict[str, str]


@dataclass(slots=True)
class _Notes:
    """Letters given to the statuses of one table, in order of first use."""

    letters: dict[str, str] = field(default_factory=dict)

    def mark(self, status: str) -> str:
        if status == Status.OK:
            return ""
        return self.letters.setdefault(status, ascii_lowercase[len(self.letters)])

    def explained(self) -> dict[str, str]:
        return {letter: meanings(STATUSES)[status] for status, letter in self.letters.items()}


def view(table: Table) -> View:
    """Turn a table into text."""
    notes = _Notes()
    records = table.data.to_dict(orient="records")
    rows = [[_cell(column, record, notes) for column in table.columns] for record in records]
    head = [Head(column.label, _unit(column), column.numeric) for column in table.columns]
    return View(head, rows, notes.explained())


def _unit(column: Column) -> str:
    """Unit for a heading; a count's heading says already what is counted."""
    if column.kind == Kind.COUNT:
        return ""
    return numbers.UNITS[column.unit].heading if column.unit in numbers.UNITS else ""


def _cell(column: Column, record: dict[Any, Any], notes: _Notes) -> Cell:
    value, unit = record[column.name], column.unit
    if column.kind == Kind.GROUP:
        return Cell(words(value) or NOT_RECORDED, under=words(record.get(column.name + WORDS)), heads=True)
    if column.kind == Kind.COUNT:
        return Cell(HIDDEN if pd.isna(value) else numbers.number(float(value), unit), numeric=True)
    if column.kind == Kind.TEXT:
        return Cell(words(value))
    status = str(record.get(column.name + STATUS, Status.OK))
    if status == Status.TOO_FEW_TO_SHOW:
        return Cell(HIDDEN, numeric=column.numeric)
    mark = notes.mark(status)
    if column.kind == Kind.VERDICT:
        verdict = Verdict(value) if value else None
        return Cell(verdict or Verdict.NOT_ASSESSED, ring=verdict.ring if verdict else "", mark=mark)
    value, low, high = (_number(record.get(column.name + end)) for end in ("", *BOUNDS))
    return Cell(numbers.number(value, unit), under=numbers.bounds(low, high, unit), mark=mark, numeric=True)


def _number(value: Any) -> float:
    """A number, NaN where there is none."""
    return math.nan if value is None or value is pd.NA else float(value)


def words(value: object) -> str:
    """Text of a label; empty where there is none."""
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    return str(value)
