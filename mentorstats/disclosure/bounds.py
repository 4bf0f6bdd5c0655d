"""Between which numbers a hidden count must lie, given everything that is published."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from mentorstats.disclosure.published import Published, Share, Sum
from mentorstats.errors import ArgumentError

Floats = NDArray[np.float64]
_INFEASIBLE, _SOLVED = 2, 0
_ROUNDING = 1e-6  # a count this close to a whole number is that number


@dataclass(frozen=True, slots=True)
class System:
    """What is published about hidden cells: ``low <= matrix @ x <= high``, and a range for each."""

    names: tuple[str, ...]
    matrix: csr_array
    low: Floats
    high: Floats
    least: Floats
    most: Floats


def system(published: Published) -> System:
    """Write what is published as constraints on the hidden cells; shown cells move to the right-hand side."""
    hidden = published.hidden
    column = {name: place for place, name in enumerate(hidden)}
    value = published.values()
    lines = [line for s in published.sums for line in _sum(s)]
    lines += [line for share in published.shares for line in _share(share)]
    kept = [line for line in lines if any(name in column for name in line[0])]
    entries = [
        (row, column[name], factor)
        for row, (factors, _, _) in enumerate(kept)
        for name, factor in factors.items()
        if name in column
    ]
    shown = np.array(
        [sum(f * value[name] for name, f in factors.items() if name not in column) for factors, _, _ in kept]
    )
    rows, columns, factors_ = zip(*entries, strict=True) if entries else ((), (), ())
    ranges = published.cells.loc[hidden, ["least", "most"]].to_numpy(dtype=np.float64)
    return System(
        names=tuple(hidden),
        matrix=csr_array(
            (np.array(factors_, dtype=np.float64), (rows, columns)), shape=(len(kept), len(hidden))
        ),
        low=np.array([low for _, low, _ in kept]) - shown,
        high=np.array([high for _, _, high in kept]) - shown,
        least=ranges[:, 0],
        most=ranges[:, 1],
    )


_Line = tuple[dict[str, float], float, float]


def _sum(line: Sum) -> list[_Line]:
    return [(dict.fromkeys(line.parts, 1.0) | {line.total: -1.0}, 0.0, 0.0)]


def _share(share: Share) -> list[_Line]:
    """``value - half <= part / base <= value + half``, both sides times the base."""
    return [
        ({share.part: 1.0, share.base: -(share.value + share.half)}, -np.inf, 0.0),
        ({share.part: 1.0, share.base: -(share.value - share.half)}, 0.0, np.inf),
    ]


def bounds(published: Published, names: Sequence[str] | None = None, *, whole: bool = True) -> pd.DataFrame:
    """Bound hidden counts as somebody can who has everything that is published.

    Parameters
    ----------
    names
        Hidden cells that are asked about; all of them unless given.
    whole
        Counts are whole numbers, and the reader knows it: the bounds are then the least and the greatest
        count that can be; otherwise those of the linear program, which are never narrower.

    Returns
    -------
    DataFrame
        Index: cell. Columns: low, high (infinite where nothing bounds it).

    Raises
    ------
    ArgumentError
        What is published contradicts itself.

    Notes
    -----
    Protection bounds by linear programming as in [fischetti_salazar_2001], two programs a cell.
    """
    asked = published.hidden if names is None else list(names)
    of = system(published)
    ends = [
        [_end(of, of.names.index(name), sign, whole=whole) for sign in (1.0, -1.0)]
        if name in of.names
        else None
        for name in asked
    ]
    if None in ends:
        raise ArgumentError(f"{asked[ends.index(None)]} is not hidden")
    return pd.DataFrame(ends, index=pd.Index(asked, name="cell"), columns=["low", "high"], dtype="float64")


def narrow(published: Published, names: Sequence[str], width: float) -> list[str]:
    """Return the cells whose bounds in whole numbers are closer than ``width``.

    Each program solved is a possible world for all cells at once, so most cells need no program of their own.
    """
    of = system(published)
    place = {name: of.names.index(name) for name in names}
    low = published.cells.loc[list(of.names), "value"].to_numpy(dtype=np.float64)
    high = low.copy()
    found = []
    for name, at in place.items():
        for sign in (1.0, -1.0):
            if high[at] - low[at] >= width:
                break
            world = _world(of, at, sign, whole=True)
            if world is None:
                high[at] = np.inf
            else:
                low, high = np.minimum(low, world), np.maximum(high, world)
        if high[at] - low[at] < width - _ROUNDING:
            found.append(name)
    return found


def _end(of: System, place: int, sign: float, *, whole: bool) -> float:
    """Least (sign 1) or greatest (sign -1) value of one cell."""
    world = _world(of, place, sign, whole=whole)
    if world is None:
        return -sign * np.inf
    end = float(world[place])
    near = round(end)
    return float(near) if abs(end - near) < _ROUNDING else end


def _world(of: System, place: int, sign: float, *, whole: bool) -> Floats | None:
    """Counts that agree with all that is published and have one cell at its end; none where it has no end."""
    aim = np.zeros(len(of.names))
    aim[place] = sign
    found = milp(
        aim,
        integrality=np.full(len(aim), int(whole)),
        bounds=Bounds(of.least, of.most),
        constraints=[LinearConstraint(of.matrix, of.low, of.high)] if of.matrix.shape[0] else (),
    )
    if found.status == _SOLVED:
        return np.asarray(found.x, dtype=np.float64)
    if found.status == _INFEASIBLE:
        raise ArgumentError(
            "what is published contradicts itself",
            where=of.names[place],
            remedy="Compare the totals with the sums of their parts.",
        )
    return None
