"""One look for all pictures: colours, and a figure that grows with its rows."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK = "#1c2430"
QUIET = "#5a6472"
ACCENT = "#1d4477"
RULE = "#d3d8df"
WIDTH, HEIGHT = 7.2, 3.6  # inches; a drawing may set the height of a page

LOOK = {
    "text.parse_math": False,  # a name with dollar signs is no formula
    "font.family": "sans-serif",
    "font.size": 10,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.labelsize": 10,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "text.color": INK,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
    "hatch.color": QUIET,
    "hatch.linewidth": 0.6,
}


class Page(Figure):
    """A figure of our own, whose height is set by what is drawn; a caller's figure keeps its size."""


def set_height(axes: Axes, inches: float) -> None:
    """Make the whole page of these axes as high as its rows need."""
    canvas = axes.get_figure(root=True)
    if isinstance(canvas, Page):
        canvas.set_figheight(inches)


def on(axes: Axes | None) -> Axes:
    """The axes given, or new ones on a page that a notebook shows."""
    if axes is not None:
        return axes
    import matplotlib
    from matplotlib import pyplot

    look: Any = LOOK
    with matplotlib.rc_context(look):
        page = pyplot.figure(FigureClass=Page, figsize=(WIDTH, HEIGHT), layout="constrained")
        return page.subplots()
