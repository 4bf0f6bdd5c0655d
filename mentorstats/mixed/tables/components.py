"""Variance components: estimates, shares and correlations with their intervals, and what each is worth."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.estimate import Status
from mentorstats.mixed.engines.model import RESIDUAL, Model
from mentorstats.mixed.profile.held import adjusted
from mentorstats.mixed.profile.limits import (
    correlation_limits,
    residual_limits,
    share_limits,
    variance_limits,
)

Floats = NDArray[np.float64]

FEW = 5  # members, and median ratings a member
METHOD, ADJUSTED = "profile_likelihood", "adjusted_profile_likelihood"


def table(model: Model, confidence: float, *, intervals: bool = True) -> pd.DataFrame:
    """One row a component, the residual last; see ``Fit.components``."""
    rows = [_row(model, confidence, t, b, intervals) for t, b in model.places]
    if model.engine is None and model.verdict:
        whole_status = {"status": model.verdict.status.value, "status_note": model.verdict.note}
        rows = [
            {"component": name, "n_members": members.m} | whole_status
            for members in model.layout.members
            if members.name not in model.screening.groupings
            for name in members.coefficients
        ]
    if not model.ordinal or model.engine is None:
        rows.append(_residual_row(model, confidence, intervals))
    sizes = {members.name: members.m for members in model.layout.members}
    set_aside = [
        {
            "component": name,
            "n_members": sizes[name],
            "status": verdict.status.value,
            "status_note": verdict.note,
        }
        for name, verdict in model.screening.groupings.items()
    ]
    frame = pd.DataFrame([*rows, *set_aside], columns=_COLUMNS).set_index("component")
    frame["share"] = _shares(model, frame)
    whole = [RESIDUAL] if model.ordinal and model.engine is not None else []
    if whole:
        latent = {"variance": model.residual, "sd": model.residual**0.5, "share": 1 - frame["share"].sum()}
        frame.loc[RESIDUAL] = latent | {"status": Status.OK.value, "status_note": _FIXED}
    frame["n_members"] = frame["n_members"].astype("Int64")
    for name in ("interval_method", "status", "status_note"):
        frame[name] = (
            frame[name].astype("object").fillna("none" if name == "interval_method" else "").astype("str")
        )
    return frame


_FIXED = "Set by the scale of the latent variable, not estimated."


_COLUMNS = [
    "component",
    "variance",
    "low",
    "high",
    "sd",
    "share",
    "confidence",
    "interval_method",
    "n_members",
    "median_ratings",
    "status",
    "status_note",
]


def _row(model: Model, confidence: float, t: int, b: int, intervals: bool) -> dict[str, object]:
    members = model.members[t]
    row: dict[str, object] = {"component": component_name(model, t, b), "n_members": members.m}
    row["median_ratings"] = float(np.median(model.ratings(t)))
    if model.verdict:
        return row | {"status": model.verdict.status.value, "status_note": model.verdict.note}
    variance = float(model.fitted.covariances()[t][b, b])
    status, note = _status(model, t, b, variance)
    row |= {"variance": variance, "sd": variance**0.5, "status": status.value, "status_note": note}
    if intervals:
        low, high = variance_limits(model, confidence, t, b)
        how = ADJUSTED if adjusted(model, t) else METHOD
        row |= {"low": low, "high": high, "confidence": confidence, "interval_method": how}
    return row


def component_name(model: Model, t: int, b: int) -> str:
    """Name of a component; groupings that divide the rows alike stand joined by +."""
    members, found = model.members[t], model.screening.groupings
    if members.name not in found:
        return members.coefficients[b]
    note = found[members.name].note
    alike = [name for name, verdict in found.items() if verdict.note == note]
    return " + ".join(alike) + members.coefficients[b].removeprefix(members.name)


def _status(model: Model, t: int, b: int, variance: float) -> tuple[Status, str]:
    members, name = model.members[t], component_name(model, t, b)
    if variance == 0.0:
        return (
            Status.BOUNDARY,
            f"The members of {name} differ no more than chance makes them; the estimate is exactly zero.",
        )
    if members.m < FEW:
        return Status.FEW_LEVELS, f"{members.m} members: a variance between them is known very poorly."
    median = float(np.median(model.ratings(t)))
    if model.ordinal and median < FEW and model.levels.points == 1:
        return (
            Status.LAPLACE_THIN,
            f"{median:g} ratings a member at the median: Laplace's approximation understates the variance. "
            "Use quadrature where it applies, and see the bias check.",
        )
    return Status.OK, ""


def _residual_row(model: Model, confidence: float, intervals: bool) -> dict[str, object]:
    row: dict[str, object] = {"component": RESIDUAL}
    if model.engine is None or model.verdict:
        verdict = model.verdict
        status, note = (verdict.status.value, verdict.note) if verdict else (Status.NOT_CONVERGED.value, "")
        return row | {"status": status, "status_note": note}
    row |= {"variance": model.residual, "sd": model.residual**0.5, "status": Status.OK.value}
    if intervals:
        low, high = residual_limits(model, confidence)
        row |= {"low": low, "high": high, "confidence": confidence, "interval_method": METHOD}
    return row


def _shares(model: Model, frame: pd.DataFrame) -> Floats:
    out = np.full(len(frame), np.nan)
    if model.engine is None or model.verdict:
        return out
    weights = model.carried
    variances = frame["variance"].to_numpy(dtype=float)[: len(weights)] * weights
    total = variances.sum() + model.residual
    out[: len(weights)] = np.where(weights > 0, variances / total, np.nan)
    if not model.ordinal:
        out[len(weights)] = model.residual / total
    return out


def share_table(model: Model, confidence: float) -> pd.DataFrame:
    """Shares with profile limits; see ``Fit.shares``."""
    frame = table(model, confidence, intervals=False)
    rows = []
    weights = model.carried
    for at, (t, b) in enumerate(model.places):
        name = component_name(model, t, b)
        if weights[at] == 0:
            continue
        share = float(frame["share"].to_numpy(dtype=float)[at])
        how = ADJUSTED if adjusted(model, t) else METHOD
        rows.append((name, share, *share_limits(model, confidence, t, b, share), confidence, how))
    columns = ["component", "share", "low", "high", "confidence", "interval_method"]
    return pd.DataFrame(rows, columns=columns).set_index("component")


def correlation_table(model: Model, confidence: float) -> pd.DataFrame:
    """Correlations between the effects of one member; see ``Fit.correlations``."""
    rows = []
    for t, members in enumerate(model.members):
        if not members.grouping.correlated or model.engine is None or model.verdict:
            continue
        covariance = model.fitted.covariances()[t]
        for a in range(members.k):
            for b in range(a):
                rows.append(_correlation_row(model, confidence, t, a, b, covariance))
    numbers, text = ["correlation", "low", "high", "confidence"], ["interval_method", "status", "status_note"]
    frame = pd.DataFrame(rows, columns=["component", *numbers, *text])
    types = dict.fromkeys(numbers, "float64") | dict.fromkeys(["component", *text], "str")
    return frame.astype(types).set_index("component")


def _correlation_row(
    model: Model, confidence: float, t: int, a: int, b: int, covariance: Floats
) -> dict[str, object]:
    members = model.members[t]
    names = members.coefficients
    row: dict[str, object] = {"component": f"{names[b]} with {names[a]}"}
    variances = covariance[a, a] * covariance[b, b]
    if variances <= 0:
        note = "One of the two variances is zero, so there is nothing to correlate."
        return row | {"interval_method": "none", "status": Status.NOT_IDENTIFIED.value, "status_note": note}
    if not _together(model, t, a, b):
        note = f"No member of {members.name} has both effects, so nothing tells how they go together."
        return row | {"interval_method": "none", "status": Status.NOT_IDENTIFIED.value, "status_note": note}
    value = float(np.clip(covariance[a, b] / np.sqrt(variances), -1, 1))
    at_edge = abs(value) > 1 - 1e-6
    low, high = correlation_limits(model, confidence, t, a, b, value)
    note = "The two effects go together without exception; the estimate is at its edge." if at_edge else ""
    status = Status.BOUNDARY if at_edge else Status.OK
    return row | {
        "correlation": value,
        "low": low,
        "high": high,
        "confidence": confidence,
        "interval_method": METHOD,
        "status": status.value,
        "status_note": note,
    }


def _together(model: Model, t: int, a: int, b: int) -> bool:
    """Whether some member has rows in both of two roles; slopes share their rows with the rest."""
    members = model.members[t]
    if not members.roles:
        return True
    codes, values = model.rows.codes[t], model.rows.values[t]
    first, second = (np.bincount(codes, values[:, at] != 0, minlength=members.m) for at in (a, b))
    return bool(((first > 0) & (second > 0)).any())
