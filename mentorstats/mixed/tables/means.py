"""Adjusted means and contrasts, on the latent scale, as expected level, as probability of each level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.mixed.engines.model import ROUNDING, Model
from mentorstats.mixed.tables.coefficients import Inference, judged, method_names
from mentorstats.mixed.tables.grid import Grid, comparison_grid
from mentorstats.mixed.tables.levels_scale import SCALES, evaluate, places

Floats = NDArray[np.float64]

RANDOM = ("conditional", "integrated")
ADJUST = ("none", "bonferroni", "holm", "fdr_bh")
_STEP = 1e-3  # of a standard error, for differences


@dataclass(frozen=True)
class Cells:
    """Means of cells and the covariance of their errors; one row a cell, and a level where asked."""

    index: pd.DataFrame
    value: Floats
    covariance: Floats
    tilt: Floats  # how each depends on the fixed parameters, for degrees of freedom
    beyond: Floats  # how each depends on columns set aside
    span: tuple[float, float] | None  # range of the scale


def cells(
    model: Model,
    found: Inference,
    of: str | Sequence[str],
    at: Mapping[str, Any] | None,
    over: str,
    scale: str,
    random: str,
) -> Cells:
    """Evaluate the cells of ``of``."""
    names = [of] if isinstance(of, str) else list(of)
    if scale not in SCALES or (not model.ordinal and scale != "latent"):
        raise ArgumentError(f"scale {scale!r}", allowed=SCALES if model.ordinal else SCALES[:1])
    if random not in RANDOM:
        raise ArgumentError(f"random {random!r}", allowed=RANDOM)
    integrated = random == "integrated"
    grid = comparison_grid(model, names, at or {}, over, integrated and model.ordinal)
    groups = np.zeros((len(grid.rows), model.lead))
    if model.lead:
        group = places(model, grid.rows, random=False).group
        groups[np.arange(len(group)), group] = 1.0
    groups = np.asarray(grid.averaging @ groups)
    beyond = model.beyond(grid.averaging @ model.layout.matrix(grid.rows), groups)
    if model.lead:
        beyond = np.concatenate([beyond, _without_cuts(model, groups, scale)], axis=1)
    if model.ordinal:
        return _ordinal(model, grid, beyond, scale, integrated)
    x = np.asarray(grid.averaging @ model.fixed_part(grid.rows))
    value = x @ model.fitted.joint.beta
    return Cells(grid.cells, value, x @ found.covariance @ x.T, x, beyond, None)


def _without_cuts(model: Model, groups: Floats, scale: str) -> Floats:
    """Share of each cell in groups that have no cut-point, so no place on the latent scale.

    Their one level is certain as far as the ratings go, which averages with others may count.
    """
    alone = np.setdiff1d(np.arange(model.lead), model.levels.problem.cut.groups)
    shares = groups[:, alone]
    if scale != "latent":
        shares = shares * (shares.sum(axis=1, keepdims=True) > 1 - ROUNDING)
    return shares


def _ordinal(model: Model, grid: Grid, beyond: Floats, scale: str, integrated: bool) -> Cells:
    engine = model.levels
    at = places(model, grid.rows, random=integrated)
    psi = np.concatenate([engine.theta, engine.state.psi[engine.problem.q :]])
    value, slopes = _slopes(model, psi, lambda p: grid.averaging @ evaluate(model, p, at, scale))
    tilt = slopes[:, engine.problem.q :]
    index = grid.cells
    count = len(model.found.levels)
    span = None if scale == "latent" else (0.0, 1.0) if scale == "probability" else (1.0, float(count))
    if scale == "probability":
        repeated = index.iloc[np.repeat(np.arange(len(index)), count)].reset_index(drop=True)
        index = repeated.assign(level=list(model.found.levels) * len(index))
        beyond = np.repeat(beyond, count, axis=0)
    return Cells(index, value, slopes @ engine.full_covariance @ slopes.T, tilt, beyond, span)


def _slopes(model: Model, psi: Floats, function: Any) -> tuple[Floats, Floats]:
    """Value and derivatives by the free parameters, by central differences."""
    engine = model.levels
    value = np.asarray(function(psi)).ravel()
    slopes = np.zeros((len(value), len(psi)))
    errors = np.sqrt(np.maximum(np.diagonal(engine.full_covariance), 0.0))
    for j in engine.free:
        step = np.zeros(len(psi))
        step[j] = max(_STEP * errors[j], 1e-7)
        up, down = np.asarray(function(psi + step)), np.asarray(function(psi - step))
        slopes[:, j] = (up - down).ravel() / (2 * step[j])
    return value, slopes


def mean_table(found: Inference, made: Cells, confidence: float) -> pd.DataFrame:
    """Means with their intervals; see ``Fit.means``."""
    se = np.sqrt(np.maximum(np.diagonal(made.covariance), 0.0))
    df = np.array([found.of_contrast(row) for row in made.tilt])
    table = judged(made.value, se, df, confidence)
    low, high = table["low"], table["high"]
    if made.span is not None:
        low, high = _inside(made.value, se, df, confidence, made.span)
    frame = pd.DataFrame(
        {"value": made.value, "se": se, "df": df, "low": low, "high": high}
        | {"confidence": confidence, "interval_method": method_names(df, found.method)}
    )
    if made.span is not None:
        frame["interval_method"] = [f"{name}_on_logit" for name in frame["interval_method"]]
    _mark(frame, _estimable(made.beyond))
    return frame.set_index(_index(made.index))


def _index(cells_: pd.DataFrame) -> pd.Index[Any]:
    if cells_.shape[1] == 1:
        single: pd.Index[Any] = pd.Index(cells_.iloc[:, 0].to_numpy(), name=cells_.columns[0])
        return single
    several: pd.Index[Any] = pd.MultiIndex.from_frame(cells_)
    return several


def _estimable(beyond: Floats) -> NDArray[np.bool_]:
    return np.asarray((np.abs(beyond) < ROUNDING).all(axis=1))


def _mark(frame: pd.DataFrame, estimable: NDArray[np.bool_]) -> None:
    bad = ~estimable
    numbers = frame.select_dtypes("number").columns.drop("confidence")
    frame.loc[bad, numbers] = np.nan
    frame["status"] = np.where(bad, Status.NOT_IDENTIFIED.value, Status.OK.value)
    text = "Depends on a term that the records cannot tell from the others."
    frame["status_note"] = np.where(bad, text, "")


def _inside(
    value: Floats, se: Floats, df: Floats, confidence: float, span: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Interval on the logit scale of a value between two ends, so that it stays between them."""
    width = span[1] - span[0]
    share = (value - span[0]) / width
    slope = width * share * (1 - share)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.log(share / (1 - share))
        table = judged(at, np.where(slope > 0, se / slope, np.nan), df, confidence)
    low, high = (span[0] + width / (1 + np.exp(-table[end])) for end in ("low", "high"))
    none = ~(slope > 0)
    return np.where(none, np.nan, low), np.where(none, np.nan, high)


def contrast_table(
    found: Inference,
    made: Cells,
    confidence: float,
    *,
    against: Any,
    within: Sequence[str],
    adjust: str,
) -> pd.DataFrame:
    """Differences of cells; see ``Fit.contrasts``."""
    if adjust not in ADJUST:
        raise ArgumentError(f"adjust {adjust!r} is not known", allowed=ADJUST)
    keep = [name for name in made.index.columns if name in {*within, "level"}]
    own = [name for name in made.index.columns if name not in keep]
    names = [" × ".join(str(value) for value in row) for row in made.index[own].itertuples(index=False)]
    pairs = _pairs(made.index[keep], names, against)
    if not pairs:
        raise ArgumentError(
            "there is no pair of cells to compare", remedy="Name a column of two values or more."
        )
    rows = np.zeros((len(pairs), len(names)))
    for i, (first, second) in enumerate(pairs):
        rows[i, first], rows[i, second] = 1.0, -1.0
    value = rows @ made.value
    se = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, made.covariance, rows), 0.0))
    df = np.array([found.of_contrast(row) for row in rows @ made.tilt])
    table = judged(value, se, df, confidence)
    if made.span is not None:
        width = made.span[1] - made.span[0]
        table["low"], table["high"] = np.maximum(table["low"], -width), np.minimum(table["high"], width)
    frame = pd.DataFrame({"value": value, "se": se} | table | {"confidence": confidence})
    frame["interval_method"] = method_names(df, found.method)
    linear = made.span is None  # there, what neither cell can tell may cancel between the two
    estimable = _estimable(rows @ made.beyond) if linear else ~(np.abs(rows) @ ~_estimable(made.beyond) > 0)
    _mark(frame, estimable)
    frame["p_adjusted"] = adjusted(frame["p"].to_numpy(dtype=float), adjust)
    index = made.index[keep].iloc[[first for first, _ in pairs]].reset_index(drop=True)
    index["contrast"] = [f"{names[first]} − {names[second]}" for first, second in pairs]
    return frame.set_index(_index(index))


def _pairs(groups: pd.DataFrame, names: list[str], against: Any) -> list[tuple[int, int]]:
    codes = groups.groupby(list(groups.columns), sort=False).ngroup() if groups.shape[1] else None
    group = codes.to_numpy() if codes is not None else np.zeros(len(names), dtype=int)
    wanted = (
        None
        if against is None
        else " × ".join(map(str, against))
        if isinstance(against, tuple)
        else str(against)
    )
    if wanted is not None and wanted not in names:
        raise ArgumentError(f"against {against!r} is not a cell", allowed=list(dict.fromkeys(names)))
    pairs = []
    for g in dict.fromkeys(group):
        members = np.flatnonzero(group == g)
        for i, second in enumerate(members):
            for first in members[i + 1 :] if wanted is None else members:
                if wanted is None or (names[second] == wanted and first != second):
                    pairs.append((int(first), int(second)))
    return pairs


def adjusted(p: Floats, method: str) -> Floats:
    """P-values allowing for all of them together; missing ones are left out of the family."""
    from statsmodels.stats.multitest import multipletests

    out = np.array(p, dtype=float)
    present = np.isfinite(out)
    if method != "none" and present.any():
        out[present] = multipletests(out[present], method=method)[1]
    return out
