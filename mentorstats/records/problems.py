"""Every fault found in the records, as one table."""

from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

COLUMNS = ("problem", "file", "sheet", "row", "column", "value", "rule", "effect", "remedy")
SET_ASIDE, NOTICE = "set_aside", "notice"  # what stops is raised, and never gets here
LONGEST = 200  # characters of a value that are shown

Texts: TypeAlias = "str | pa.Array"


@dataclass(slots=True)
class Problems:
    """Faults as they are found, a block of rows at a time."""

    blocks: list[dict[str, Any]] = field(default_factory=list)

    def add(
        self,
        problem: Texts,
        *,
        rule: str,
        effect: str,
        remedy: Texts,
        file: Texts,
        sheet: Texts = "",
        rows: npt.NDArray[Any] | None = None,
        column: Texts = "",
        value: Texts = "",
    ) -> None:
        """Add one fault a row, or one of the whole file where ``rows`` is None.

        Texts are one for all rows or an array with one for each.
        """
        if rows is not None and not len(rows):
            return
        given = (problem, file, sheet, rows, column, value, rule, effect, remedy)
        self.blocks.append(dict(zip(COLUMNS, given, strict=True)))

    def frame(self) -> pd.DataFrame:
        """Return all faults by file, sheet and row, faults of a whole file first; columns as ``COLUMNS``."""
        parts = [_part(block) for block in self.blocks]
        whole = pa.concat_tables(parts) if parts else _SCHEMA.empty_table()
        found: pd.DataFrame = whole.to_pandas(types_mapper={pa.int64(): pd.Int64Dtype()}.get)
        # A wide form makes several rows of one cell, and its fault is one fault.
        found = found.drop_duplicates()
        order = ["file", "sheet", "row", "column", "rule"]
        return found.sort_values(order, na_position="first", kind="stable", ignore_index=True)


_SCHEMA = pa.schema([(name, pa.int64() if name == "row" else pa.string()) for name in COLUMNS])


def _part(block: dict[str, Any]) -> pa.Table:
    rows = block["row"]
    size = 1 if rows is None else len(rows)
    arrays = []
    for name in COLUMNS:
        given = block[name]
        if name == "row":
            arrays.append(pa.nulls(1, pa.int64()) if rows is None else pa.array(rows, pa.int64()))
        elif isinstance(given, str):
            whole = given.encode("utf-8", "backslashreplace").decode()  # a file name need not be UTF-8
            arrays.append(pa.repeat(pa.scalar(whole), size))
        else:
            arrays.append(given.cast(pa.string()).fill_null(""))
    part = pa.Table.from_arrays(arrays, schema=_SCHEMA)
    shown = pc.utf8_slice_codeunits(part["value"], 0, LONGEST)
    return part.set_column(COLUMNS.index("value"), "value", shown)


def quoted(values: pa.Array, after: str, *, before: str = "") -> pa.Array:
    """Return ``before 'value' after`` for each value, long values cut short."""
    shown = pc.utf8_slice_codeunits(values.cast(pa.string()).fill_null(""), 0, LONGEST)
    return pc.binary_join_element_wise(f"{before}'", shown, f"'{after}", "")
