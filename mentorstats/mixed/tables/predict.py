"""Predictions with and without random effects, with their errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import norm

from mentorstats.errors import ArgumentError, need_columns
from mentorstats.mixed.design.layout import Categories, check_columns, is_number
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.tables.levels_scale import SCALES, evaluate, places

Floats = NDArray[np.float64]

INTERVALS = ("none", "confidence", "prediction")
_METHOD = {"confidence": "wald_z", "prediction": "new_row_z"}
_STEP = 1e-5
_ALONG = np.linspace(-1, 1, 33)  # the latent interval, along which a level in between rises and falls again


def table(
    model: Model,
    data: pd.DataFrame | None,
    random: bool | str | Sequence[str],
    scale: str,
    interval: str,
    confidence: float,
) -> pd.DataFrame:
    """Predictions for the rows of ``data``; see ``Fit.predict``."""
    allowed = SCALES if model.ordinal else SCALES[:1]
    if scale not in allowed:
        raise ArgumentError(f"scale {scale!r}", allowed=allowed)
    allowed_intervals = INTERVALS[:2] if model.ordinal else INTERVALS
    if interval not in allowed_intervals:
        raise ArgumentError(f"interval {interval!r}", allowed=allowed_intervals)
    included = chosen(model, random)
    frame = readable(model, model.frame if data is None else data, included)
    good = frame.notna().all(axis=1).to_numpy()
    part = frame[good]
    z, unseen = model.random_part(part, included)
    found = (
        _ordinal(model, part, z, unseen, scale, interval, confidence)
        if model.ordinal
        else [_linear(model, part, z, unseen, interval, confidence)]
    )
    whole = [_spread(each, good, frame.index) for each in found]
    if scale != "probability":
        return whole[0]
    labelled = [
        each.set_index(pd.Index([level] * len(each), name="level", dtype="object"), append=True)
        for level, each in zip(model.found.levels, whole, strict=True)
    ]
    order = np.arange(len(frame) * len(whole)).reshape(len(whole), -1).T.ravel()
    return pd.concat(labelled).iloc[order]


def _spread(found: pd.DataFrame, good: NDArray[np.bool_], index: pd.Index) -> pd.DataFrame:
    """Back to all rows, those with a missing value empty."""
    place = np.where(good, np.cumsum(good) - 1, -1)
    out = found.reset_index(drop=True).reindex(place)
    return out.set_axis(index)


def readable(model: Model, data: pd.DataFrame, included: Sequence[int]) -> pd.DataFrame:
    """The columns that predictions need, checked: not response, weights and groupings left out."""
    declared = replace(model.declared, grouped=tuple(model.members[t].grouping for t in included))
    needed = [name for name in declared.used if name not in (declared.response, declared.weights)]
    need_columns(data.columns, needed, where="data")
    frame = data[needed]
    for atom in [*model.layout.atoms.values(), *model.found.scale_atoms]:
        if isinstance(atom, Categories):
            _known(frame[atom.name], list(atom.levels))
        elif not is_number(frame[atom.name]) and frame[atom.name].notna().any():
            raise ArgumentError(
                f"{atom.name!r} holds {frame[atom.name].dtype}, and the fit had numbers there",
                where="data",
                remedy="Convert it to numbers first.",
            )
    if declared.thresholds_by:
        _known(frame[declared.thresholds_by], list(model.found.threshold_groups))
    check_columns(data[[*needed]].assign(**_placeholders(model)), declared)
    return frame


def _placeholders(model: Model) -> dict[str, float]:
    declared = model.declared
    return {name: 1.0 for name in (declared.response, declared.weights) if name}


def _known(values: pd.Series, levels: list[object]) -> None:
    new = values[values.notna() & ~values.astype("object").isin(levels)]
    if len(new):
        raise ArgumentError(
            f"{values.name!r} is {new.iloc[0]!r}, which the fit has not seen",
            where=f"data, row {new.index[0]!r}",
            allowed=levels,
            remedy="Leave the row out.",
        )


def chosen(model: Model, random: bool | str | Sequence[str]) -> list[int]:
    """Numbers of the groupings whose effects are included."""
    names = [members.name for members in model.members]
    if isinstance(random, bool):
        return list(range(len(names))) if random else []
    wanted = [random] if isinstance(random, str) else list(random)
    unknown = [name for name in wanted if name not in names]
    if unknown:
        raise ArgumentError(f"no grouping {unknown[0]!r} was fitted", allowed=names)
    return [names.index(name) for name in wanted]


def _linear(
    model: Model, frame: pd.DataFrame, z: sparse.csr_array, unseen: Floats, interval: str, confidence: float
) -> pd.DataFrame:
    joint = model.linear.joint
    x = model.fixed_part(frame)
    value = x @ joint.beta + z @ joint.b
    if interval == "none":
        return pd.DataFrame({"value": value}, index=frame.index)
    variance = joint.error_variances(x, z) + unseen
    if interval == "prediction":
        variance = variance + model.residual
    return _with_interval(value, np.sqrt(variance), confidence, frame.index, _METHOD[interval])


def _with_interval(
    value: Floats, se: Floats, confidence: float, index: pd.Index, method: str
) -> pd.DataFrame:
    half = norm.ppf(0.5 + confidence / 2) * se
    return pd.DataFrame(
        {"value": value, "se": se, "low": value - half, "high": value + half}
        | {"confidence": confidence, "interval_method": method},
        index=index,
    )


def _ordinal(
    model: Model,
    frame: pd.DataFrame,
    z: sparse.csr_array,
    unseen: Floats,
    scale: str,
    interval: str,
    confidence: float,
) -> list[pd.DataFrame]:
    """One table, or one a level."""
    engine = model.levels
    at = places(model, frame, random=False)
    joint = engine.joint
    psi = np.concatenate([engine.theta, joint.beta])
    offset = np.asarray(z @ joint.b)
    value = evaluate(model, psi, at, scale, offset)
    span = {"latent": None, "level": (1.0, float(len(model.found.levels))), "probability": (0.0, 1.0)}[scale]
    by_eta = (evaluate(model, psi, at, scale, offset + _STEP) - value) / _STEP
    slopes = [_by_parameter(model, psi, at, scale, offset, value, j) for j in range(len(joint.beta))]
    parts = []
    for column in range(value.shape[1]):
        if interval == "none":
            parts.append(pd.DataFrame({"value": value[:, column]}, index=frame.index))
            continue
        x = np.column_stack([slope[:, column] for slope in slopes])
        scaled = sparse.diags_array(by_eta[:, column]) @ z
        variance = joint.error_variances(x, sparse.csr_array(scaled)) + by_eta[:, column] ** 2 * unseen
        part = _with_interval(value[:, column], np.sqrt(variance), confidence, frame.index, _METHOD[interval])
        if span is not None:
            part = _inside(part, span, confidence)
        parts.append(part)
    if scale == "probability" and interval != "none":
        latent = _ordinal(model, frame, z, unseen, "latent", interval, confidence)[0]
        reach = (latent["high"] - latent["value"]).to_numpy()
        for step in _ALONG:
            shares = evaluate(model, psi, at, scale, offset + step * reach)
            for column, part in enumerate(parts):
                part["low"] = np.minimum(part["low"], shares[:, column])
                part["high"] = np.maximum(part["high"], shares[:, column])
    return parts


def _by_parameter(
    model: Model, psi: Floats, at: object, scale: str, offset: Floats, value: Floats, j: int
) -> Floats:
    moved = psi.copy()
    moved[model.levels.problem.q + j] += _STEP
    return (evaluate(model, moved, at, scale, offset) - value) / _STEP  # type: ignore[arg-type]


def _inside(part: pd.DataFrame, span: tuple[float, float], confidence: float) -> pd.DataFrame:
    """Redo the interval on the logit scale, so that it stays within the range."""
    width = span[1] - span[0]
    share = np.clip((part["value"] - span[0]) / width, 1e-12, 1 - 1e-12)
    half = norm.ppf(0.5 + confidence / 2) * part["se"] / (width * share * (1 - share))
    at = np.log(share / (1 - share))
    return part.assign(
        low=span[0] + width / (1 + np.exp(-(at - half))),
        high=span[0] + width / (1 + np.exp(-(at + half))),
        interval_method=part["interval_method"] + "_on_logit",
    )
