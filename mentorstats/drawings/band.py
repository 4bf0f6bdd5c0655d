"""Drawing: a curve with its band, in one ink."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from mentorstats.drawings.style import ACCENT, set_height

_INCHES = 2.8


def curve_with_band(axes: Axes, rows: pd.DataFrame, *, x: str, xlabel: str, ylabel: str) -> None:
    """Draw a line of values over ``x`` with the area between their limits.

    Parameters
    ----------
    rows
        ``x``, value, value_low, value_high; rows without a value leave a gap.
    xlabel, ylabel
        What stands at the axes.
    """
    set_height(axes, _INCHES)
    at = rows[x].astype("float64")
    low, value, high = (rows[name].astype("float64") for name in ("value_low", "value", "value_high"))
    axes.fill_between(at, low, high, color=ACCENT, alpha=0.18, linewidth=0)
    axes.plot(at, value, color=ACCENT, linewidth=2)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel(xlabel)
    axes.set_ylabel(ylabel)
