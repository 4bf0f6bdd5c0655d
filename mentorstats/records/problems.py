"""Every fault at once, as a table: where it is, what is wrong, what was done, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

Rows: TypeAlias = npt.NDArray[np.int64]

COLUMNS = ("problem", "file", "sheet", "row", "column", "value", "rule", "effect", "remedy")
STOPS, SET_ASIDE, NOTICE = "stops", "set_aside", "notice"


@dataclass(frozen=True, slots=True)
class Fault:
    """What can be wrong with a record, in words."""

    problem: str
    rule: str
    remedy: str
    effect: str = SET_ASIDE


@dataclass(slots=True)
class Collector:
    """Gathers faults as arrays and makes one frame of them."""

    frames: list[pd.DataFrame] = field(default_factory=list)

    def add(
        self,
        fault: Fault,
        *,
        file: Sequence[str] | str,
        sheet: Sequence[str] | str,
        row: Rows | int | None,
        column: Sequence[str] | str = "",
        value: Sequence[object] | str = "",
    ) -> None:
        """Add one fault at one or many places."""
        n = len(row) if isinstance(row, np.ndarray) else 1
        if n == 0:
            return
        self.frames.append(
            pd.DataFrame(
                {
                    "problem": fault.problem,
                    "file": file,
                    "sheet": sheet,
                    "row": pd.array(row if isinstance(row, np.ndarray) else [row], dtype="Int64"),
                    "column": column,
                    "value": value,
                    "rule": fault.rule,
                    "effect": fault.effect,
                    "remedy": fault.remedy,
                },
                index=range(n),
            )
        )

    def frame(self) -> pd.DataFrame:
        """Return all faults, by file, sheet and row."""
        types = dict.fromkeys(COLUMNS, "str") | {"row": "Int64"}
        if not self.frames:
            return pd.DataFrame({name: pd.Series(dtype=types[name]) for name in COLUMNS})
        together = pd.concat(self.frames, ignore_index=True)
        together["value"] = together["value"].where(together["value"].notna(), "")
        together = together.astype(types)[list(COLUMNS)]
        return together.sort_values(
            ["file", "sheet", "row", "column", "problem"], kind="stable", ignore_index=True
        )
