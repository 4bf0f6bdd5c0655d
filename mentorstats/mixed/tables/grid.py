"""Comparison values: the rows at which adjusted means are taken, and how they are weighted."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.errors import ArgumentError
from mentorstats.mixed.design.layout import Categories
from mentorstats.mixed.engines.model import Model

Floats = NDArray[np.float64]

OVER = ("equal", "observed")
_MOST = 2_000_000


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows to evaluate the model at, and how they average to cells."""

    cells: pd.DataFrame  # one row a cell, the columns of ``of``
    rows: pd.DataFrame
    averaging: sparse.csr_array  # (cells, rows), each row sums to one


def comparison_grid(model: Model, of: Sequence[str], at: Mapping[str, Any], over: str, random: bool) -> Grid:
    """Lay out the cells of ``of`` over all values of the other categories, numbers at their means."""
    if over not in OVER:
        raise ArgumentError(f"over {over!r} is not known", allowed=OVER)
    categories, numeric = _columns(model, random)
    known = [*categories, *numeric]
    for name in (*of, *at):
        if name not in known:
            raise ArgumentError(f"{name!r} is not a column of the model's fixed terms", allowed=known)
    values = {name: _values(name, categories, at) for name in of}
    others = [name for name in categories if name not in of]
    rest, weights = _others(model, others, categories, at, over)
    cells = pd.DataFrame(list(itertools.product(*values.values())), columns=list(of))
    if len(cells) * len(rest) > _MOST:
        raise ArgumentError(
            f"{len(cells)} cells of {len(rest)} combinations are too many",
            remedy="Fix some columns with at=.",
        )
    left = np.repeat(np.arange(len(cells)), len(rest))
    right = np.tile(np.arange(len(rest)), len(cells))
    rows = pd.concat(
        [cells.iloc[left].reset_index(drop=True), rest.iloc[right].reset_index(drop=True)], axis=1
    )
    for name in numeric:
        if name not in of:
            rows[name] = _single(name, at[name]) if name in at else model.average(name)
    averaging = sparse.csr_array(
        (np.tile(weights, len(cells)), (left, np.arange(len(rows)))), shape=(len(cells), len(rows))
    )
    return Grid(cells, rows, averaging)


def _columns(model: Model, random: bool) -> tuple[dict[str, list[Any]], list[str]]:
    """Categories with their values, and numeric columns, that the response depends on."""
    atoms = [*model.layout.atoms.values(), *model.found.scale_atoms]
    categories = {atom.name: list(atom.levels) for atom in atoms if isinstance(atom, Categories)}
    numeric = [atom.name for atom in atoms if not isinstance(atom, Categories)]
    by = model.declared.thresholds_by
    if by:
        categories.setdefault(by, list(model.found.threshold_groups))
    for members in model.members if random else ():
        numeric += list(members.grouping.slopes)
        if members.grouping.within:
            categories.setdefault(members.grouping.within, list(members.roles))
    return categories, list(dict.fromkeys(numeric))


def _values(name: str, categories: Mapping[str, list[Any]], at: Mapping[str, Any]) -> list[Any]:
    if name not in at and name not in categories:
        raise ArgumentError(f"{name!r} is a number", remedy=f"Say where: at={{{name!r}: [1, 10]}}.")
    if name not in at:
        return categories[name]
    wanted = list(at[name]) if isinstance(at[name], list | tuple | np.ndarray | range) else [at[name]]
    unknown = [value for value in wanted if name in categories and value not in categories[name]]
    if unknown:
        raise ArgumentError(f"{name!r} has no value {unknown[0]!r}", allowed=categories[name])
    return wanted


def _single(name: str, value: Any) -> float:
    if not isinstance(value, int | float | np.integer | np.floating):
        raise ArgumentError(f"at={{{name!r}: {value!r}}}", allowed="one number, as the column is not in of")
    return float(value)


def _others(
    model: Model, others: list[str], categories: Mapping[str, list[Any]], at: Mapping[str, Any], over: str
) -> tuple[pd.DataFrame, Floats]:
    if not others:
        return pd.DataFrame(index=range(1)), np.ones(1)
    if over == "equal":
        values = [_values(name, categories, at) for name in others]
        rest = pd.DataFrame(list(itertools.product(*values)), columns=others)
        return rest, np.full(len(rest), 1 / len(rest))
    weight = model.declared.weights
    parts = []
    for frame in model.chunks():
        good = frame[frame[model.declared.used].notna().all(axis=1)]
        count = good[weight].astype("float64") if weight else pd.Series(1.0, index=good.index)
        part = good[others].astype("object").assign(_n=count)
        for name in others:
            if name in at:
                part = part[part[name].isin(_values(name, categories, at))]
        parts.append(part.groupby(others, as_index=False, observed=True)["_n"].sum())
    counts = pd.concat(parts).groupby(others, as_index=False, observed=True)["_n"].sum()
    if not len(counts):
        raise ArgumentError(f"no row has these values of {', '.join(others)}", remedy="Widen at=.")
    shares = counts["_n"].to_numpy(dtype=float)
    return counts[others], shares / shares.sum()
