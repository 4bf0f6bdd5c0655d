"""A picture a question: what a score is made of, and how many visits make it dependable.

Each function takes a result and the axes to draw on, new ones unless given, and returns the axes.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from mentorstats.drawings import charts
from mentorstats.drawings.style import ACCENT, INK, QUIET, RULE, Page, on
from mentorstats.errors import ArgumentError
from mentorstats.printed import counted
from mentorstats.reliability.components.study import GStudy
from mentorstats.reliability.plans.visit_plans import VisitPlans

MOST_LINES = 6  # numbers of raters that can be told apart without colour

_MARKERS = ("o", "s", "^", "D", "v", "P")
_DASHES = ("-", "--", "-.", ":", (0, (6, 2, 1, 2, 1, 2)), (0, (1, 3)))
_APART = 0.012  # share of the width by which intervals of neighbours stand apart
_ON_PAGE = 4.2


def plans(found: VisitPlans, axes: Axes | None = None) -> Axes:
    """How many visits by how many raters make a score dependable? The plans that have a value, as estimated.

    Lines differ in marker, filling and dashes and carry their name at their end, so that no colour is
    needed.

    Raises
    ------
    ArgumentError
        More numbers of raters than MOST_LINES.
    """
    shown = found.estimable
    sizes = sorted(shown["n_raters"].unique())
    if len(sizes) > MOST_LINES:
        raise ArgumentError(
            f"{len(sizes)} numbers of raters do not fit into one figure",
            allowed=f"at most {MOST_LINES}",
            remedy="Ask for fewer with --raters, or leave out --figure.",
        )
    axes = on(axes)
    canvas = axes.get_figure(root=True)
    if isinstance(canvas, Page):
        canvas.set_figheight(max(_ON_PAGE, canvas.get_figheight()))
    reach = float(shown["n_visits"].max()) if len(shown) else 1.0
    for place, n_raters in enumerate(sizes):
        rows = shown[shown["n_raters"] == n_raters].sort_values("n_visits")
        x = rows["n_visits"].to_numpy(dtype=float) + (place - (len(sizes) - 1) / 2) * _APART * reach
        value, low, high = (
            rows[f"dependability{end}"].to_numpy(dtype=float) for end in ("", "_low", "_high")
        )
        axes.vlines(x, low, high, color=QUIET, linewidth=1, zorder=1)
        axes.plot(
            x,
            value,
            color=ACCENT,
            linewidth=1.6,
            linestyle=_DASHES[place],
            marker=_MARKERS[place],
            markersize=6.5,
            markerfacecolor=ACCENT if place % 2 else "white",
            markeredgewidth=1.4,
            zorder=2,
        )
        axes.annotate(
            counted(int(n_raters), "rater"),
            (x[-1], value[-1]),
            xytext=(12, -9),
            textcoords="offset points",
            va="center",
            color=INK,
            fontsize=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )
    _frame(axes, found, reach)
    return axes


def _frame(axes: Axes, found: VisitPlans, reach: float) -> None:
    axes.axhline(found.target, color=INK, linewidth=1, linestyle=(0, (2, 2)), zorder=0)
    axes.annotate(
        f"wanted: {found.target:.2f}",
        (0, found.target),
        xycoords=("axes fraction", "data"),
        xytext=(4, 4),
        textcoords="offset points",
        fontsize=9,
        color=INK,
    )
    axes.set_xlim(0, reach * 1.16)
    axes.set_ylim(0, 1)
    axes.set_xticks(_ticks(reach))
    axes.grid(axis="y", color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_xlabel("visits in all, divided evenly among the raters")
    percent = 100 * float(found.table["confidence"].iloc[0])
    axes.set_ylabel(f"dependability, with {percent:.0f} % interval")


def _ticks(reach: float) -> list[int]:
    step = max(1, int(np.ceil(reach / 12)))
    return list(range(0, int(reach) + 1, step))


def components(study: GStudy, axes: Axes | None = None) -> Axes:
    """What is a score made of? The share of each component in the variance of one score.

    Parameters
    ----------
    study
        From `g_study`; a component without value has no bar.
    """
    axes = on(axes)
    shares = study.components[["share", "share_low", "share_high"]].set_axis(["share", "low", "high"], axis=1)
    charts.share_intervals(axes, shares)
    axes.set_xlabel(f"share of the variance, with {100 * study.confidence:.0f} % interval")
    return axes
