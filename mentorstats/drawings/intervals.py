"""Figure: one dot with its interval for each rater of a role, in the order of their codes."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from mentorstats.drawings.style import ACCENT, QUIET, set_height

MOST = 40  # raters in one figure: more cannot be read on one page
_ROW, _FRAME = 0.26, 0.9  # inches for a row, and for what is around the rows


LEVELS = "stricter  \N{LEFTWARDS ARROW}  levels  \N{RIGHTWARDS ARROW}  more lenient"


def of_raters(axes: Axes, rows: pd.DataFrame, *, name: str, label: str = LEVELS) -> None:
    """Draw raters from top to bottom in the order given; a filled dot where the interval excludes zero.

    Parameters
    ----------
    rows
        ``rater``, ``{name}``, ``{name}_low``, ``{name}_high``; a row without value is left empty.
    """
    set_height(axes, _FRAME + _ROW * len(rows))
    place = pd.Series(range(len(rows)), index=rows.index)
    low, high, value = rows[f"{name}_low"], rows[f"{name}_high"], rows[name]
    axes.axvline(0, color=QUIET, linewidth=1, zorder=1)
    axes.hlines(place, low, high, color=ACCENT, linewidth=1.5, zorder=2)
    clear = (low > 0) | (high < 0)
    for filled, colour in ((True, ACCENT), (False, "white")):
        chosen = clear == filled
        axes.scatter(
            value[chosen], place[chosen], s=26, facecolor=colour, edgecolor=ACCENT, linewidth=1.3, zorder=3
        )
    axes.set_yticks(place, [str(code) for code in rows["rater"]])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(label)
