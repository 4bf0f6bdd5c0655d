"""A table of the model as cells of text, ready for a template: the edge where numbers are rounded."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from string import ascii_lowercase
from typing import Any

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.report import numbers
from mentorstats.report.model import BOUNDS, STATUS, WORDS, Table, Verdict
from mentorstats.report.render.vocabulary import STATUSES, meanings

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
    rows = [[_cell(table, name, record, notes) for name in table.labels] for record in records]
    head = [Head(label, _unit(table, name), _numeric(table, name)) for name, label in table.labels.items()]
    return View(head, rows, notes.explained())


def _unit(table: Table, name: str) -> str:
    unit = table.units.get(name, "")
    return numbers.UNITS[unit].heading if unit in numbers.UNITS else ""


def _numeric(table: Table, name: str) -> bool:
    return name in table.count_columns or (
        name in table.statistic_columns and table.units.get(name) != "verdict"
    )


def _cell(table: Table, name: str, record: dict[Any, Any], notes: _Notes) -> Cell:
    value, unit = record[name], table.units.get(name, "")
    if name in table.group_columns:
        return Cell(_text(value) or NOT_RECORDED, under=_text(record.get(name + WORDS)), heads=True)
    if name in table.count_columns:
        missing = pd.isna(value)
        return Cell(HIDDEN if missing else numbers.number(float(value), unit), numeric=True)
    if name not in table.statistic_columns:
        return Cell(_text(value))
    status = str(record.get(name + STATUS, Status.OK))
    if status == Status.TOO_FEW_TO_SHOW:
        return Cell(HIDDEN, numeric=unit != "verdict")
    mark = notes.mark(status)
    if unit == "verdict":
        verdict = Verdict(value) if value else None
        return Cell(verdict or "no value", ring=verdict.ring if verdict else "", mark=mark)
    low, high = (float(record.get(name + bound, math.nan)) for bound in BOUNDS)
    number = float(value)
    text = numbers.number(number, unit)
    return Cell(text, under=numbers.bounds(low, high, unit), mark=mark, numeric=True)


def _text(value: object) -> str:
    """Text of a label; empty where there is none."""
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    return str(value)
