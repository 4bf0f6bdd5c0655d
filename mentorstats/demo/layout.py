"""How one export is laid out: its cells as text, and the block of ``mapping.toml`` that undoes it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One table in one sheet of one file, in the words of those who kept it.

    Attributes mean what the keys of ``mapping.toml`` mean; ``columns`` and ``criteria`` go from our
    name to their heading, ``levels``, ``missing`` and ``values`` from their word to ours.
    """

    file: str
    table: str
    sheet: str = ""
    title: str = ""  # a line above the headings, which then stand in the third row
    delimiter: str = ","
    encoding: str = "utf-8"
    date: str = "%Y-%m-%d"
    columns: Mapping[str, str]
    constants: Mapping[str, str] = field(default_factory=dict)
    criteria: Mapping[str, str] = field(default_factory=dict)
    levels: Mapping[str, str] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    remarks: str = ""  # heading of a column that nobody maps

    @property
    def header_row(self) -> int:
        """Row of the headings, 1-based."""
        return 3 if self.title else 1


def cells(frame: pd.DataFrame, layout: Layout) -> pd.DataFrame:
    """Lay a clean table out: every cell as text, an empty one where nothing is known."""
    given = _in_their_words(frame, layout)
    if layout.criteria:
        given = _wide(given, layout)
    headings = {**layout.columns, **layout.criteria}
    out = given[list(headings)].rename(columns=headings)
    if layout.remarks:
        out[layout.remarks] = ""
    return out.reset_index(drop=True)


def _in_their_words(frame: pd.DataFrame, layout: Layout) -> pd.DataFrame:
    out = pd.DataFrame({name: _text(column, layout.date) for name, column in frame.items()})
    words = {"level": layout.levels, "missing_reason": layout.missing, **layout.values}
    for name, theirs in words.items():
        if name in out and theirs:
            out[name] = out[name].replace({ours: word for word, ours in reversed(list(theirs.items()))})
    return out


def _text(column: pd.Series, date: str) -> pd.Series:
    if pd.api.types.is_datetime64_any_dtype(column):
        column = column.dt.strftime(date)
    elif pd.api.types.is_bool_dtype(column):
        column = column.map({True: "true", False: "false"})
    elif pd.api.types.is_float_dtype(column):
        column = column.map("{:g}".format, na_action="ignore")
    return column.astype("str").where(column.notna(), "")


def _wide(given: pd.DataFrame, layout: Layout) -> pd.DataFrame:
    """One row a form: a column a criterion, holding the level or the word for its absence.

    A form's cell that was not scored is empty.
    """
    absent = given["missing_reason"].replace({"not_scored": ""})
    cell = given["level"].where(given["level"] != "", absent)
    keys = [name for name in layout.columns if name in given]
    form = given[["observation", "rater"]].apply(tuple, axis=1)
    by_form = given.assign(cell=cell, form=pd.factorize(form)[0])
    wide = by_form.pivot(index="form", columns="criterion", values="cell").sort_index()
    return by_form.drop_duplicates("form").set_index("form")[keys].join(wide)


def rows(table: pd.DataFrame, layout: Layout) -> NDArray[np.intp]:
    """Row of each record as a spreadsheet shows it; in CSV the line where the record starts."""
    if layout.sheet:
        return layout.header_row + 1 + np.arange(len(table))
    extra = sum((table[name].str.count("\n").to_numpy() for name in table), np.zeros(len(table), int))
    begun: NDArray[np.intp] = layout.header_row + 1 + np.arange(len(table)) + np.cumsum(extra) - extra
    return begun


def mapping(layouts: list[Layout]) -> str:
    """Text of the ``mapping.toml`` that reads exports laid out like this."""
    return "\n".join(_block(layout) for layout in layouts)


def _block(layout: Layout) -> str:
    lines = ["[[source]]", _pair("file", layout.file)]
    if layout.sheet:
        lines.append(_pair("sheet", layout.sheet))
    lines.append(_pair("table", layout.table))
    if layout.header_row != 1:
        lines.append(f"heading_row = {layout.header_row}")
    if not layout.sheet:
        lines += [_pair("delimiter", layout.delimiter), _pair("encoding", layout.encoding)]
    lines.append(f"dates = [{json.dumps(layout.date)}]")
    parts = {
        name: getattr(layout, name) for name in ("columns", "constants", "criteria", "levels", "missing")
    }
    parts |= {f"values.{name}": words for name, words in layout.values.items()}
    for name, pairs in parts.items():
        if pairs:
            lines += [f"[source.{name}]", *(_pair(key, value) for key, value in pairs.items())]
    return "\n".join([*lines, ""])


def _pair(key: str, value: str) -> str:
    bare = key.replace("_", "").isalnum() and key.isascii()
    return f"{key if bare else _quoted(key)} = {_quoted(value)}"


def _quoted(text: str) -> str:
    """Return a TOML basic string: JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False)
