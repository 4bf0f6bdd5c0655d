"""The figure of the command ``agree``: who gave which level beside whom, and the coefficients."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from matplotlib.figure import Figure as Canvas

from mentorstats.agreement import figures
from mentorstats.declared.vocabulary import interval_words
from mentorstats.drawings import charts
from mentorstats.errors import ArgumentError
from mentorstats.report.figures import drawing
from mentorstats.report.numbers import number

MOST_GROUPS = 12  # more, and nobody can read the figure

_WIDTH = 11.0  # inches
_TALLEST = 0.42  # inches a level or a coefficient
_AROUND = 1.6  # inches around them


@dataclass(frozen=True, slots=True)
class Panel:
    """One group of ratings: its heading, its paired levels and its coefficients.

    Attributes
    ----------
    heading
        Names the group; empty where there is one only.
    paired
        From `mentorstats.agreement.paired_counts`.
    found
        From `mentorstats.agreement.coefficients`.
    """

    heading: str
    paired: pd.DataFrame
    found: pd.DataFrame


def picture(panels: Sequence[Panel], kind: str, *, weights: str) -> bytes:
    """Draw a row of two charts for each group.

    Parameters
    ----------
    panels
        The groups, from the top.
    kind
        ``png`` or ``svg``.
    weights
        Name of the weights, for the title.

    Raises
    ------
    ArgumentError
        More than MOST_GROUPS groups.
    """
    if len(panels) > MOST_GROUPS:
        raise ArgumentError(
            f"{len(panels)} groups do not fit into one figure",
            allowed=f"at most {MOST_GROUPS}",
            remedy="Draw fewer groups at a time, or leave out --by.",
        )
    heights = [_AROUND + _TALLEST * max(_side(panel), len(panel.found)) for panel in panels]

    def draw(canvas: Canvas) -> None:
        grid = canvas.subplots(
            len(panels), 2, squeeze=False, gridspec_kw={"height_ratios": heights, "width_ratios": [1, 1.2]}
        )
        for axes, panel in zip(grid, panels, strict=True):
            charts.level_counts(axes[0], figures.square(panel.paired))
            charts.coefficient_intervals(axes[1], panel.found, _legend(panel.found))
            titles = (_title(panel), f"Agreement ({weights} weights)")
            for chart, title in zip(axes, titles, strict=True):
                chart.set_title(title, loc="left", fontsize=11)
        lowest = min(axes.get_xlim()[0] for axes in grid[:, 1])
        for axes in grid[:, 1]:
            axes.set_xlim(left=lowest)

    return drawing.picture(draw, kind=kind, width=_WIDTH, height=sum(heights))


def _title(panel: Panel) -> str:
    both_ways = ", each counted both ways round" if panel.paired.index.names[0] == "one rater" else ""
    what = f"pairs of ratings{both_ways}"
    return f"{panel.heading}: {what}" if panel.heading else what.capitalize()


def _side(panel: Panel) -> int:
    return len(panel.paired.index.get_level_values(0).unique())


def _legend(found: pd.DataFrame) -> str:
    """Say what the lines are: coverage, how they were made, and of whom they speak."""
    drawn = found[found["interval_method"] != "none"]
    if drawn.empty:
        return "no intervals"
    size = number(float(drawn["confidence"].iloc[0]), "share")
    methods = "; ".join(interval_words(drawn["interval_method"]))
    return f"{size} % intervals\n{methods}\n{drawn['generalises_to'].iloc[0]}"
