"""How a fit looks in a notebook."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.mixed.tables import components

if TYPE_CHECKING:
    from mentorstats.mixed.result import Fit

_QUICK = 5000  # ratings up to which intervals of variances are computed only to be shown
_COMPONENTS = ["share", "variance", "low", "high", "sd", "n_members", "status", "status_note"]
_TERMS = ["estimate", "se", "df", "low", "high", "p", "status"]


def page(fit: Fit) -> str:
    """Components, fixed terms, cut-points and notes as one fragment of HTML."""
    declared = fit.model.declared
    head = (
        f"<p><strong>{escape(declared.kind)} model of {escape(declared.response)}</strong>, "
        f"{escape(fit.method)}; {fit.n_ratings} ratings, {fit.n_left_out} rows left out; status "
        f"{escape(str(fit.status))}; log-likelihood {fit.log_likelihood:.6g}.</p>"
    )
    ready = "components" in vars(fit) or fit.n_ratings <= _QUICK
    variances = fit.components if ready else components.table(fit.model, fit.confidence, intervals=False)
    parts = [head, _table("Where the variance lies", variances[_COMPONENTS])]
    if not ready:
        parts.append("<p>Intervals of the variances: ask for fit.components.</p>")
    if len(fit.coefficients):
        parts.append(_table("Fixed terms", fit.coefficients[_TERMS]))
    if len(fit.thresholds):
        parts.append(_table("Cut-points", fit.thresholds[["estimate", "se", "low", "high"]]))
    method = f"Intervals: {fit.confidence:.0%}; {', '.join(_methods(fit))}. {escape(fit.optimiser)}."
    notes = "".join(f"<li>{escape(note)}</li>" for note in fit.notes)
    return "".join([*parts, f"<p>{method}</p>", f"<ul>{notes}</ul>" if notes else ""])


def _methods(fit: Fit) -> list[str]:
    methods = [components.METHOD, *fit.coefficients["interval_method"], *fit.thresholds["interval_method"]]
    return [str(name).replace("_", " ") for name in dict.fromkeys(methods) if name != "none"]


def _table(title: str, frame: pd.DataFrame) -> str:
    shown = frame.map(_text)
    shown.index.name = None
    return f"<h4>{escape(title)}</h4>{shown.to_html(border=0)}"


def _text(value: object) -> str:
    if value is pd.NA or value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float):
        return "∞" if math.isinf(value) else f"{value:.4g}"
    return str(value)
