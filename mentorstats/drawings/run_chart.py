"""Drawing: one rater's days over time with their limits, in one ink."""

from __future__ import annotations

import pandas as pd
from matplotlib import dates
from matplotlib.axes import Axes

from mentorstats.drawings.style import ACCENT, QUIET, set_height

_INCHES = 2.6


def over_time(axes: Axes, points: pd.DataFrame, centre: float) -> None:
    """Days as dots, their weighted mean as a line, limits of both.

    Parameters
    ----------
    points
        Of one rater: date, value, low, high, signal, smoothed, smoothed_low, smoothed_high,
        smoothed_signal. A dot is filled where the day or the weighted mean lies outside its limits.
    centre
        The rater's own mean.
    """
    set_height(axes, _INCHES)
    days = pd.to_datetime(points["date"])
    axes.axhline(centre, color=QUIET, linewidth=1, zorder=1)
    for name in ("low", "high"):
        axes.plot(days, points[name], color=QUIET, linewidth=0.7, drawstyle="steps-mid", zorder=1)
        axes.plot(
            days,
            points[f"smoothed_{name}"],
            color=QUIET,
            linewidth=1,
            linestyle=(0, (4, 3)),
            drawstyle="steps-mid",
            zorder=1,
        )
    axes.plot(days, points["smoothed"], color=ACCENT, linewidth=1.8, zorder=2)
    outside = (points["signal"] | points["smoothed_signal"]).astype(bool)
    for chosen, colour in ((outside, ACCENT), (~outside, "white")):
        axes.scatter(
            days[chosen],
            points.loc[chosen, "value"],
            s=34,
            facecolor=colour,
            edgecolor=ACCENT,
            linewidth=1.4,
            zorder=3,
        )
    locator = dates.AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.set_ylabel("levels above the key")
