"""The figure of plans: dependability by visits, a line for each number of raters, and the target."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from mentorstats.errors import ArgumentError
from mentorstats.reliability.plans.visit_plans import VisitPlans
from mentorstats.report.figures import drawing
from mentorstats.report.figures.drawing import ACCENT, INK, QUIET, RULE
from mentorstats.report.numbers import count, number

MOST_LINES = 6  # numbers of raters that can be told apart without colour

_MARKERS = ("o", "s", "^", "D", "v", "P")
_DASHES = ("-", "--", "-.", ":", (0, (6, 2, 1, 2, 1, 2)), (0, (1, 3)))
_APART = 0.012  # share of the width by which intervals of neighbours stand apart
_WIDTH, _HEIGHT = 8.6, 5.0  # inches
_ON_PAGE = 4.2


def draw(axes: Axes, plans: VisitPlans) -> None:
    """Draw the plans that have a value, as estimated.

    Lines differ in marker, filling and dashes and carry their name at their end, so that no colour is
    needed.

    Raises
    ------
    ArgumentError
        More numbers of raters than MOST_LINES.
    """
    canvas = axes.get_figure(root=True)
    if isinstance(canvas, Canvas):
        canvas.set_figheight(max(_ON_PAGE, canvas.get_figheight()))
    shown = plans.estimable
    sizes = sorted(shown["n_raters"].unique())
    if len(sizes) > MOST_LINES:
        raise ArgumentError(
            f"{len(sizes)} numbers of raters do not fit into one figure",
            allowed=f"at most {MOST_LINES}",
            remedy="Ask for fewer with --raters, or leave out --figure.",
        )
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
            count(int(n_raters), "rater"),
            (x[-1], value[-1]),
            xytext=(12, -9),
            textcoords="offset points",
            va="center",
            color=INK,
            fontsize=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )
    _frame(axes, plans, reach)


def _frame(axes: Axes, plans: VisitPlans, reach: float) -> None:
    axes.axhline(plans.target, color=INK, linewidth=1, linestyle=(0, (2, 2)), zorder=0)
    axes.annotate(
        f"wanted: {number(plans.target, 'zero_one')}",
        (0, plans.target),
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
    percent = number(float(plans.table["confidence"].iloc[0]), "share")
    axes.set_ylabel(f"dependability, with {percent} % interval")


def _ticks(reach: float) -> list[int]:
    step = max(1, int(np.ceil(reach / 12)))
    return list(range(0, int(reach) + 1, step))


def picture(plans: VisitPlans, kind: str) -> bytes:
    """Draw the figure for a file of its own, ``png`` or ``svg``.

    Raises
    ------
    ArgumentError
        No plan has a value, or too many numbers of raters.
    """
    if plans.estimable.empty:
        raise ArgumentError("no plan has a value, so there is nothing to draw", remedy="Leave out --figure.")
    return drawing.picture(
        lambda canvas: draw(canvas.subplots(), plans), kind=kind, width=_WIDTH, height=_HEIGHT
    )


def alt(plans: VisitPlans) -> str:
    """Words for who cannot see the figure."""
    shown = plans.estimable
    lines = []
    for n_raters in sorted(shown["n_raters"].unique()):
        rows = shown[shown["n_raters"] == n_raters].sort_values("n_visits")
        start, end = (number(rows["dependability"].iloc[at], "zero_one") for at in (0, -1))
        first, last = (int(rows["n_visits"].iloc[at]) for at in (0, -1))
        lines.append(
            f"{count(int(n_raters), 'rater')}: {start} with {count(first, 'visit')}, {end} with {last}"
        )
    wanted = number(plans.target, "zero_one")
    reached = shown[shown["dependability"] >= plans.target]
    within = f"{len(reached)} of {count(len(shown), 'plan')} reach it"
    return (
        f"Dependability by visits, a line for each number of raters. {'; '.join(lines)}. A line marks the "
        f"{wanted} wanted; {within}."
    )
