"""Shrunken effects of the members of a grouping, with prediction errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import norm

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.mixed.components import component_name
from mentorstats.mixed.model import Model

METHOD = "prediction_error_z"


def table(model: Model, name: str, confidence: float) -> pd.DataFrame:
    """One row a member and effect; see ``Fit.effects``."""
    wanted = {
        component_name(model, t, b): (t, b)
        for t, members in enumerate(model.members)
        for b in range(members.k)
    }
    chosen = {key: place for key, place in wanted.items() if key == name}
    chosen = chosen or {key: (t, b) for key, (t, b) in wanted.items() if model.members[t].name == name}
    if not chosen:
        raise ArgumentError(f"no component {name!r} has effects", allowed=list(wanted) or "none was fitted")
    if model.members[next(iter(chosen.values()))[0]].name == name:
        t = next(iter(chosen.values()))[0]
        chosen = {key: place for key, place in wanted.items() if place[0] == t}
    parts = [_part(model, key, t, b, confidence) for key, (t, b) in chosen.items()]
    return pd.concat(parts)


def _part(model: Model, component: str, t: int, b: int, confidence: float) -> pd.DataFrame:
    members = model.members[t]
    effects, covariances = model.fitted.joint.effects(t)
    scale = members.scales[b]
    effect = effects[:, b] / scale
    se = np.sqrt(np.maximum(covariances[:, b, b], 0.0)) / scale
    none = not (se > 0).any()
    if none:
        se = np.full(len(se), np.nan)  # a variance of zero leaves no interval, not one of no width
    half = norm.ppf(0.5 + confidence / 2) * se
    return pd.DataFrame(
        {
            "component": component,
            "effect": effect,
            "se": se,
            "low": effect - half,
            "high": effect + half,
            "n": model.ratings(t),
            "confidence": confidence,
            "interval_method": "none" if none else METHOD,
            "status": (Status.BOUNDARY if none else Status.OK).value,
        },
        index=pd.Index(members.labels(), name="member", dtype="str"),
    )
