"""One table of text to typed columns, by the data dictionary, with every fault that is found.

Each column is coded once; rules look at the distinct values only and are carried to the rows by
their codes, so that a million records cost little more than reading them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.dictionary import Field, Table
from mentorstats.records.problems import Collector, Fault
from mentorstats.records.reshape import Part

Codes: TypeAlias = npt.NDArray[np.int64]
Mask: TypeAlias = npt.NDArray[np.bool_]

_INTEGER, _NUMBER = r"^[+-]?[0-9]{1,18}$", r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$"
_PANDAS = {
    "string": "str",
    "date": "datetime64[us]",
    "integer": "Int64",
    "number": "float64",
    "boolean": "boolean",
}


@dataclass(slots=True)
class Checked:
    """One table while it is checked.

    Attributes
    ----------
    texts : dict of arrays
        Distinct texts of each field.
    codes : dict of integer arrays (n,)
        Which of them each row holds, -1 for none.
    aside : boolean array (n,)
        Rows set aside so far.
    """

    table: Table
    parts: Sequence[Part]
    part: Codes
    row: Codes
    texts: dict[str, pa.Array]
    codes: dict[str, Codes]
    typed: dict[str, pa.Array]
    aside: Mask
    faults: Collector

    def report(self, fault: Fault, rows: Mask, name: str) -> None:
        """Note a fault of field ``name`` in the marked rows, and set them aside where it says so."""
        places = np.flatnonzero(rows)
        if not len(places):
            return
        if fault.effect == "set_aside":
            self.aside[places] = True
        part = self.part[places]
        self.faults.add(
            fault,
            file=[self.parts[number].file for number in part],
            sheet=[self.parts[number].sheet for number in part],
            row=self.row[places],
            column=[
                self._heading(int(place), int(number), name)
                for place, number in zip(places, part, strict=True)
            ],
            value=self.text(name, places),
        )

    def text(self, name: str, places: Codes) -> list[str]:
        """Texts that the rows at ``places`` hold, empty where there is none."""
        if name not in self.codes:
            return [""] * len(places)
        codes = self.codes[name][places]
        found = self.texts[name].take(pa.array(np.maximum(codes, 0))) if len(self.texts[name]) else None
        if found is None:
            return [""] * len(places)
        return [value if code >= 0 else "" for value, code in zip(found.to_pylist(), codes, strict=True)]

    def _heading(self, place: int, part: int, name: str) -> str:
        of = self.parts[part]
        if name == "level" and of.criterion_heading:
            criterion = self.text("criterion", np.array([place]))[0]
            return of.criterion_heading.get(criterion, name)
        return of.heading.get(name, name)

    def has(self, name: str) -> Mask:
        """Rows in which a field is filled (n,)."""
        return self.codes[name] >= 0

    def frame(self) -> pd.DataFrame:
        """Kept rows as a typed frame, with file, sheet and row at the end."""
        keep = np.flatnonzero(~self.aside)
        columns = {}
        for item in self.table.fields:
            codes = self.codes[item.name][keep]
            values = self.typed[item.name].take(pa.array(codes, mask=codes < 0))
            columns[item.name] = values.to_pandas().astype(_PANDAS[item.type])
        for name in ("file", "sheet"):
            labels = pa.array([getattr(part, name) for part in self.parts], pa.string())
            columns[name] = labels.take(pa.array(self.part[keep])).to_pandas().astype("str")
        return pd.DataFrame({**columns, "row": self.row[keep]})


def check(table: Table, parts: Sequence[Part], faults: Collector) -> Checked:
    """Code and type all parts of a table, reporting every value that breaks a rule of its field."""
    sizes = [len(part.rows) for part in parts]
    n = sum(sizes)
    state = Checked(
        table,
        parts,
        np.repeat(np.arange(len(parts)), sizes),
        np.concatenate([part.rows for part in parts]) if parts else np.zeros(0, dtype=np.int64),
        {},
        {},
        {},
        np.zeros(n, dtype=bool),
        faults,
    )
    for item in table.fields:
        _code(state, item, sizes)
        _required(state, item)
        state.typed[item.name] = _typed(state, item)
    return state


def _code(state: Checked, item: Field, sizes: Sequence[int]) -> None:
    chunks = [
        part.columns.get(item.name, pa.nulls(size, pa.string()))
        for part, size in zip(state.parts, sizes, strict=True)
    ]
    column = pa.chunked_array(chunks, pa.string()).combine_chunks() if chunks else pa.array([], pa.string())
    if isinstance(column, pa.ChunkedArray):
        column = pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], pa.string())
    coded = column.dictionary_encode()
    state.texts[item.name] = coded.dictionary
    state.codes[item.name] = np.asarray(coded.indices.fill_null(-1)).astype(np.int64)


def _required(state: Checked, item: Field) -> None:
    if item.required:
        fault = Fault("missing value", f"{item.name} must be filled", "Fill it in the export.")
        state.report(fault, ~state.has(item.name), item.name)


def _typed(state: Checked, item: Field) -> pa.Array:
    """Type the distinct texts; report the rows whose text cannot be, or breaks a constraint."""
    texts = state.texts[item.name]
    typed, fault = _cast(texts, item)
    _report_distinct(state, item, np.asarray(pc.is_null(typed)), fault)
    if item.categories:
        outside = ~np.asarray(pc.is_in(texts, pa.array(list(item.categories), pa.string())))
        rule = f"{item.name} is one of {', '.join(item.categories)}"
        fault = Fault("unknown value", rule, "Correct it, or map it under [source.values].")
        _report_distinct(state, item, outside, fault)
    if item.pattern:
        outside = ~np.asarray(pc.match_substring_regex(texts, f"^(?:{item.pattern})$"))
        fault = Fault("wrong form", f"{item.name} looks like {item.pattern}", "Correct it in the export.")
        _report_distinct(state, item, outside, fault)
    for bound, compare, words in ((item.minimum, pc.less, "at least"), (item.maximum, pc.greater, "at most")):
        if bound is not None:
            outside = np.asarray(compare(typed, pa.scalar(bound, typed.type)).fill_null(False))
            fault = Fault("out of range", f"{item.name} is {words} {bound:g}", "Correct it in the export.")
            _report_distinct(state, item, outside, fault)
    return typed


def _report_distinct(state: Checked, item: Field, wrong: Mask, fault: Fault) -> None:
    if wrong.any():
        codes = state.codes[item.name]
        state.report(fault, (codes >= 0) & wrong[codes], item.name)


def _cast(texts: pa.Array, item: Field) -> tuple[pa.Array, Fault]:
    """Distinct texts in the field's type, null where that fails, and the fault to report then."""
    name = item.name
    if item.type == "date":
        days = [_day(text) for text in texts.to_pylist()]
        remedy = "Correct the date, or name its format under dates in the mapping."
        return pa.array(days, pa.date32()).cast(pa.timestamp("us")), Fault(
            "unreadable date", f"{name} is a date", remedy
        )
    if item.type in ("integer", "number"):
        whole = item.type == "integer"
        legal = pc.match_substring_regex(texts, _INTEGER if whole else _NUMBER)
        plain = pc.if_else(legal, texts, pa.scalar(None, pa.string()))
        plain = pc.replace_substring_regex(plain, r"^\+", "")
        rule = f"{name} is a {'whole number' if whole else 'number'}"
        fault = Fault("not a number", rule, "Correct it in the export.")
        return plain.cast(pa.int64() if whole else pa.float64()), fault
    if item.type == "boolean":
        lower = pc.utf8_lower(texts)
        yes = pc.is_in(lower, pa.array([value.lower() for value in item.true_values], pa.string()))
        no = pc.is_in(lower, pa.array([value.lower() for value in item.false_values], pa.string()))
        known = pc.if_else(pc.or_(yes, no), yes, pa.scalar(None, pa.bool_()))
        allowed = ", ".join([*item.true_values, *item.false_values])
        fault = Fault(
            "not yes or no", f"{name} is one of {allowed}", "Correct it, or map it under [source.values]."
        )
        return known, fault
    return texts, Fault("wrong form", f"{name} is text", "Correct it in the export.")


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
