"""The intruder: what can be worked out about each hidden count from all that is published."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from mentorstats.disclosure.bounds import bounds
from mentorstats.disclosure.published import Published


def audit(published: Published, protected: Sequence[str], *, width: float) -> pd.DataFrame:
    """Bound each protected count and say whether the bounds are too narrow.

    Parameters
    ----------
    protected
        Hidden cells that must not be worked out: those of too few people.
    width
        Least distance of the bounds; a count is recovered where they are closer.

    Returns
    -------
    DataFrame
        Index: cell. Columns: value (true), low, high, width, recovered. A protected cell that is not hidden
        is recovered.

    Notes
    -----
    The linear program is asked first, which is quick and never too narrow; where it finds nothing, whole
    numbers are asked.
    """
    hidden = set(published.hidden)
    value = published.cells.loc[list(protected), "value"].to_numpy(dtype=np.float64)
    found = pd.DataFrame(
        {"value": value, "low": value, "high": value}, index=pd.Index(list(protected), name="cell")
    )
    open_ = [name for name in protected if name in hidden]
    for whole in (False, True):
        if open_:
            found.loc[open_, ["low", "high"]] = bounds(published, open_, whole=whole).to_numpy()
        wide = found.index[found["high"] - found["low"] >= width]
        open_ = [name for name in open_ if name in wide]
    found["width"] = found["high"] - found["low"]
    return found.assign(recovered=found["width"] < width)


def exposed(published: Published, minimum: float) -> list[tuple[str, ...]]:
    """Groups of hidden cells that a total shows to be of fewer people than the minimum together.

    Whatever is published about the total and its other parts then gives that of these few people.
    """
    hidden, value = set(published.hidden), published.values()
    found = []
    for line in published.sums:
        gone = tuple(part for part in line.parts if part in hidden)
        if gone and line.total not in hidden and 0 < sum(value[part] for part in gone) < minimum:
            found.append(gone)
    return found
