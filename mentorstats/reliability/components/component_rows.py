"""Components as a table: what is shown under fixed facets, shares, and rows of what has none of its own."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.estimate import Status
from mentorstats.reliability.components import confounded
from mentorstats.reliability.components.cells import Cells, Told
from mentorstats.reliability.components.design import Design, Factors
from mentorstats.reliability.components.estimated import Estimated, value_status

Floats = NDArray[np.float64]

_COLUMNS = [
    "df",
    "ss",
    "ms",
    "variance_raw",
    "variance",
    "share",
    "share_low",
    "share_high",
    "low",
    "high",
    "confidence",
    "interval_method",
    "status",
    "status_note",
]
_TEXT = ("interval_method", "status", "status_note")


def names(design: Design, told: Told) -> list[str]:
    """Names of the components; the last says that it holds the error of a single score too."""
    return [
        design.name(design.whole) + ", residual" if several[-1] == design.whole else design.name(several[0])
        for several in told.effects
    ]


def mixing(cells: Cells, told: Told) -> tuple[list[int], Floats]:
    """Components shown, and what of the all-random ones each of them holds [brennan_2001].

    Without fixed facets each holds itself. A fixed facet is averaged over: what is left of an effect
    without it gains the interaction over the number of its members.
    """
    design, reps = cells.design, [several[0] for several in told.effects]
    shown = [i for i, effect in enumerate(reps) if not design.own(effect) & design.fixed]
    held = np.zeros((len(shown), len(reps)))
    for row, i in enumerate(shown):
        for j, other in enumerate(reps):
            if reps[i] <= other and other - reps[i] <= design.fixed:
                held[row, j] = _members(cells, reps[i]) / _members(cells, other)
    return shown, held


def _members(cells: Cells, effect: Factors) -> int:
    """Combinations of the fixed facets of an effect."""
    fixed = effect & cells.design.fixed
    return cells.counts[fixed] if fixed else 1


def component_rows(
    design: Design, told: Told, made: Estimated, shown: list[int], mixed: Floats
) -> pd.DataFrame:
    """Variances of the components shown, their shares and statuses; ``mixed`` from ``mixing``, (c, e)."""
    raw = mixed @ made.raw
    labels = names(design, told)
    several = (mixed > 0).sum(axis=1) > 1
    statuses, notes = [], []
    for i, value, joined in zip(shown, raw, several, strict=True):
        status, note = value_status(value) if joined else (made.statuses[i], made.notes[i])
        statuses.append(status.value)
        notes.append(note)
    variance = np.maximum(raw, 0.0)
    total = np.nansum(variance)
    index = pd.Index(_residual_last([labels[i] for i in shown]), name="component", dtype="str")
    share = variance / total if total > 0 else np.full(len(raw), np.nan)
    return pd.DataFrame(
        {"variance_raw": raw, "variance": variance, "share": share, "status": statuses, "status_note": notes},
        index=index,
    )


def with_share_limits(rows: pd.DataFrame, drawn: Floats, confidence: float) -> pd.DataFrame:
    """Limits of shares: quantiles over draws of the components, (draws, c)."""
    held = np.maximum(drawn, 0.0)
    total = held.sum(axis=1, keepdims=True)
    shares = np.divide(held, total, out=np.full_like(held, np.nan), where=total > 0)
    tail = (1 - confidence) / 2
    if not np.isfinite(shares).any(axis=0).all():
        return rows
    low, high = np.nanquantile(shares, [tail, 1 - tail], axis=0)
    return rows.assign(share_low=low, share_high=high)


def _residual_last(labels: list[str]) -> list[str]:
    """Where a fixed facet took the residual up, what holds it now says so."""
    if labels and not any(label.endswith(", residual") for label in labels):
        labels[-1] += ", residual"
    return labels


def with_carriers(rows: pd.DataFrame, design: Design, told: Told) -> pd.DataFrame:
    """Say of a component that holds other effects too that its name is an assumption."""
    labels, out = names(design, told), rows.copy()
    for at, others in confounded.carriers(told).items():
        held = [design.name(effect) for effect in others if not effect <= design.fixed]
        if held and labels[at] in out.index and out.loc[labels[at], "status"] == Status.OK:
            note = f"Holds {', '.join(held)} as well: read as {labels[at]} alone by assumption."
            out.loc[labels[at], ["status", "status_note"]] = [Status.BY_ASSUMPTION.value, note]
    return out


def untold(design: Design, told: Told) -> pd.DataFrame:
    """Rows of effects that have no component of their own, each with its reason."""
    rows: dict[str, tuple[str, str]] = {}
    for effect in told.constant:
        if effect == frozenset({design.object}):
            note = f"There is one {design.object}; a variance needs several."
            rows[design.name(effect)] = (Status.ONE_UNIT.value, note)
        elif not effect <= design.fixed:
            note = f"{design.name(effect)} has one member; a variance needs several."
            rows[design.name(effect)] = (Status.NOT_IDENTIFIED.value, note)
    labels = dict(zip([several[0] for several in told.effects], names(design, told), strict=True))
    for effect, named in told.confounded.items():
        if effect != design.whole and not effect <= design.fixed:
            note = f"{design.name(effect)} cannot be told from {labels[named]} in these data."
            rows[design.name(effect)] = (Status.NOT_IDENTIFIED.value, note)
        elif effect == design.whole and labels[named] != design.name(named) + ", residual":
            note = f"{design.name(named)} cannot be told from {labels[named]} in these data."
            rows[design.name(named)] = (Status.NOT_IDENTIFIED.value, note)
    index = pd.Index(list(rows), name="component", dtype="str")
    return pd.DataFrame(list(rows.values()), columns=["status", "status_note"], index=index)


def complete(rows: pd.DataFrame) -> pd.DataFrame:
    """All columns in their order and types."""
    table = rows.reindex(columns=_COLUMNS)
    numbers = [name for name in _COLUMNS if name not in _TEXT]
    table[numbers] = table[numbers].astype("float64")
    table["interval_method"] = table["interval_method"].astype("object").fillna("none")
    return table.astype(dict.fromkeys(_TEXT, "str")).rename_axis("component")
