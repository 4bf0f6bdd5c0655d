"""Figures of a fit on given axes, by seaborn's axes-level functions."""

from __future__ import annotations

import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from scipy.stats import norm

from mentorstats.errors import ArgumentError
from mentorstats.mixed.result import Fit

_INK, _PALE = "#1f3a5f", "#9aa7b8"
_MOST_ROWS = 60


def effects(fit: Fit, name: str, axes: Axes) -> None:
    """Shrunken effects with their intervals, in the order of the codes, never by size.

    Raises
    ------
    ArgumentError
        With more than 60 members, which no page can show one by one, or a grouping of several effects.
    """
    table = fit.effects(name)
    if len(table) > _MOST_ROWS or not table.index.is_unique:
        raise ArgumentError(
            f"{name!r} has {len(table)} effects to draw",
            allowed=f"up to {_MOST_ROWS}, of one component",
            remedy="Draw some members of fit.effects(…) only, or name one component.",
        )
    place = np.arange(len(table))
    axes.axvline(0, color=_PALE, linewidth=1, zorder=1)
    axes.hlines(place, table["low"], table["high"], color=_INK, linewidth=1.4, zorder=2)
    sns.scatterplot(x=table["effect"].to_numpy(), y=place, color=_INK, s=28, ax=axes, zorder=3)
    axes.set_yticks(place, list(table.index))
    axes.invert_yaxis()
    axes.set(xlabel=f"shrunken effect with {fit.confidence:.0%} interval", ylabel=name)


def levels(fit: Fit, axes: Axes) -> None:
    """Share of each level: bars for what was given, rings for what the model expects."""
    table = fit.level_counts().reset_index()
    names = [str(level) for level in table["level"]]
    sns.barplot(x=names, y=table["observed_share"].to_numpy(), color=_PALE, ax=axes)
    sns.scatterplot(
        x=names,
        y=table["expected_share"].to_numpy(),
        s=60,
        color="white",
        edgecolor=_INK,
        linewidth=1.6,
        ax=axes,
    )
    axes.set(xlabel="level", ylabel="share of ratings (bar: given, ring: expected)")


def residuals(fit: Fit, axes: Axes, *, seed: int = 0) -> None:
    """Quantiles of the residuals against those of a standard normal; on the line where the model is right."""
    found = np.sort(fit.residuals(seed=seed)["residual"].to_numpy())
    at = np.unique(np.linspace(0, len(found) - 1, min(len(found), 2000)).astype(int))
    expected = norm.ppf((at + 0.5) / len(found))
    ends = [float(min(expected[0], found[0])), float(max(expected[-1], found[-1]))]
    axes.plot(ends, ends, color=_PALE, linewidth=1)
    sns.scatterplot(x=expected, y=found[at], s=14, color=_INK, linewidth=0, ax=axes)
    axes.set(xlabel="standard normal quantile", ylabel="quantile of the residuals")


def influence(fit: Fit, name: str, axes: Axes, *, term: str | None = None) -> None:
    """Change of a fixed term without each member, in standard errors, in the order of the codes."""
    table = fit.influence(name, term=term)
    place = np.arange(len(table))
    axes.axhline(0, color=_PALE, linewidth=1)
    axes.vlines(place, 0, table["change_in_se"], color=_INK, linewidth=1)
    sns.scatterplot(x=place, y=table["change_in_se"].to_numpy(), s=18, color=_INK, linewidth=0, ax=axes)
    if len(table) <= _MOST_ROWS:
        axes.set_xticks(place, list(table.index), rotation=90)
    label = term or "the term that moves most"
    axes.set(xlabel=name, ylabel=f"change of {label}, in standard errors")
