"""How a fit looks in a notebook."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.declared.vocabulary import interval_words
from mentorstats.mixed.tables import components
from mentorstats.printed import Printed, counted

if TYPE_CHECKING:
    from mentorstats.mixed.result import Fit

_QUICK = 5000  # ratings up to which intervals of variances are computed only to be shown
_COMPONENTS = ["share", "variance", "low", "high", "sd", "n_members", "status", "status_note"]
_TERMS = ["estimate", "se", "df", "low", "high", "p", "status"]


def printed(fit: Fit) -> Printed:
    """What was fitted, and what to ask for."""
    declared = fit.model.declared
    sound = not fit.model.verdict and fit.model.engine is not None
    facts = [
        f"{counted(fit.n_ratings, 'rating')}, {counted(fit.n_left_out, 'row')} left out",
        f"Fixed: {', '.join(fit.model.layout.names) or 'none'}",
        f"Grouped: {', '.join(grouping.name for grouping in declared.grouped) or 'none'}",
    ]
    if sound:
        variances = components.table(fit.model, fit.confidence, intervals=False)["variance"]
        facts += [
            f"Variances: {', '.join(f'{name} {value:.4g}' for name, value in variances.items())}",
            f"Log-likelihood {fit.log_likelihood:.6g} with {counted(fit.n_parameters, 'parameter')}, "
            f"{counted(fit.evaluations, 'evaluation')}",
        ]
    return Printed(
        title=f"{declared.kind} model of {declared.response}, {fit.method}: {fit.status}",
        facts=tuple(facts),
        notes=fit.notes,
        ask=(".table()", ".components", ".coefficients", ".effects(…)", ".means(…)", ".contrasts(…)")
        if sound
        else (),
    )


def page(fit: Fit) -> str:
    """The printed form, components, fixed terms and cut-points as one fragment of HTML."""
    ready = "components" in vars(fit) or fit.n_ratings <= _QUICK
    variances = fit.components if ready else components.table(fit.model, fit.confidence, intervals=False)
    parts = [printed(fit).html, _table("Where the variance lies", variances[_COMPONENTS])]
    if not ready:
        parts.append("<p>Intervals of the variances: ask for fit.components.</p>")
    if len(fit.coefficients):
        parts.append(_table("Fixed terms", fit.coefficients[_TERMS]))
    if len(fit.thresholds):
        parts.append(_table("Cut-points", fit.thresholds[["estimate", "se", "low", "high"]]))
    method = f"Intervals: {fit.confidence:.0%}; {', '.join(_methods(fit))}. {escape(fit.optimiser)}."
    return "".join([*parts, f"<p>{method}</p>"])


def _methods(fit: Fit) -> list[str]:
    methods = [components.METHOD, *fit.coefficients["interval_method"], *fit.thresholds["interval_method"]]
    return interval_words(methods)


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
