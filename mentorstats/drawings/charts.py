"""Drawings on given axes; seaborn's axes-level functions on complete categories."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from mentorstats.drawings.style import ACCENT, QUIET, RULE, set_height

_ROW = 0.46  # inches of height for a row
_FRAME = 1.1  # inches for what is around the rows
_LABEL = 36  # characters of a line
_NARROW = 14  # the same under a column
_PALE = "#f1f4f8"
_BLACK = "#0b0f14"


def signed_differences(axes: Axes, rows: pd.DataFrame) -> None:
    """Dot and interval for each criterion, first criterion on top.

    Parameters
    ----------
    rows
        criterion, criterion_words (its title, or missing), value, value_low, value_high; a row
        without value is left empty. A dot is filled where its interval leaves out zero.
    """
    set_height(axes, _FRAME + _ROW * len(rows))
    order = [
        _label(code, words) for code, words in zip(rows["criterion"], rows["criterion_words"], strict=True)
    ]
    place = pd.Series(range(len(order)), index=rows.index)
    clear = (rows["value_low"] > 0) | (rows["value_high"] < 0)
    axes.axvline(0, color=QUIET, linewidth=1, zorder=1)
    spans = rows[rows["value_low"].notna()]
    if len(spans):
        axes.hlines(
            place[spans.index], spans["value_low"], spans["value_high"], color=ACCENT, linewidth=1.8, zorder=2
        )
    for filled, colour in ((True, ACCENT), (False, "white")):
        dots = rows[(clear == filled) & rows["value"].notna()]
        _dots(axes, dots["value"], place[dots.index], colour)
    _rows(axes, order)
    drawn = rows[["value", "value_low", "value_high"]].to_numpy(dtype=float)
    reach = np.nanmax(np.abs(drawn), initial=0.1) * 1.08
    axes.set_xlim(-reach, reach)
    axes.set_xlabel("supervisor higher  \N{LEFTWARDS ARROW}  levels  \N{RIGHTWARDS ARROW}  mentor higher")


def level_grid(axes: Axes, shares: pd.DataFrame) -> None:
    """Shares by row as a grid, lowest level at the bottom; a row that is not shown is hatched.

    Parameters
    ----------
    shares
        Mentor's level by supervisor's level, both lowest first, NaN where not shown.
    """
    set_height(axes, _FRAME + 0.55 * len(shares))
    upward = shares.iloc[::-1]
    words = upward.map(lambda value: "" if pd.isna(value) else f"{100 * value:.0f} %")
    colours = sns.blend_palette([_PALE, ACCENT], as_cmap=True)
    sns.heatmap(
        upward.astype(float),
        annot=words,
        fmt="",
        vmin=0,
        vmax=1,
        cmap=colours,
        cbar=False,
        linewidths=2,
        linecolor="white",
        annot_kws={"fontsize": 10},
        ax=axes,
    )
    for text, share in zip(axes.texts, upward.stack().dropna(), strict=True):
        text.set_color(_readable(colours(float(share))))
    for row, hidden in enumerate(upward.isna().all(axis=1)):
        if hidden:
            axes.add_patch(Rectangle((0, row), upward.shape[1], 1, fill=False, hatch="///", linewidth=0))
    axes.set_xlabel("Supervisor's level")
    axes.set_ylabel("Mentor's level")
    axes.tick_params(length=0)
    axes.tick_params(axis="x", rotation=0)
    axes.tick_params(axis="y", rotation=0)


def level_counts(axes: Axes, counts: pd.DataFrame) -> None:
    """Counts of paired levels as a grid, lowest level at the bottom left.

    Parameters
    ----------
    counts
        First rater's level by second rater's, both lowest first; the names of index and columns name the
        raters.
    """
    upward = counts.iloc[::-1]
    colours = sns.blend_palette([_PALE, ACCENT], as_cmap=True)
    most = max(int(upward.to_numpy().max(initial=0)), 1)
    sns.heatmap(
        upward.astype(float),
        annot=upward.map(lambda n: f"{n:,}"),
        fmt="",
        vmin=0,
        vmax=most,
        cmap=colours,
        cbar=False,
        linewidths=2,
        linecolor="white",
        annot_kws={"fontsize": 10},
        ax=axes,
    )
    for text, n in zip(axes.texts, upward.to_numpy().ravel(), strict=True):
        text.set_color(_readable(colours(float(n) / most)))
    axes.set_xlabel(f"level given by {counts.columns.name}")
    axes.set_ylabel(f"level given by {counts.index.name}")
    axes.set_xticklabels([_short(label) for label in upward.columns])
    axes.set_yticklabels([_short(label) for label in upward.index])
    for side in ("x", "y"):
        axes.tick_params(axis=side, length=0, rotation=0)


def coefficient_intervals(axes: Axes, found: pd.DataFrame, legend: str) -> None:
    """Dot and interval for each coefficient, the first on top; a hollow dot has no interval.

    Parameters
    ----------
    found
        value, low, high and status by coefficient; one without value says why.
    legend
        What the lines are.
    """
    place = pd.Series(range(len(found)), index=found.index)
    spans = found[found["low"].notna()]
    axes.axvline(0, color=QUIET, linewidth=1, zorder=1)
    axes.hlines(place[spans.index], spans["low"], spans["high"], color=ACCENT, linewidth=1.8, zorder=2)
    for has_interval, colour in ((True, ACCENT), (False, "white")):
        dots = found[(found["low"].notna() == has_interval) & found["value"].notna()]
        _dots(axes, dots["value"], place[dots.index], colour)
    drawn = found[["value", "low", "high"]].to_numpy(dtype=float)
    axes.set_xlim(min(0.0, np.nanmin(drawn, initial=0.0)) - 0.04, 1.04)
    without = found[found["value"].isna()]
    for at, status in zip(place[without.index], without["status"], strict=True):
        words = str(status).replace("_", " ")
        axes.text(0.02, at, f"no value: {words}", color=QUIET, fontsize=9, va="center")
    _rows(axes, [str(name).replace("_", " ") for name in found.index])
    axes.set_xlabel(legend)


def bars(axes: Axes, shares: pd.Series, filled: pd.Series) -> None:
    """A bar for each share between 0 and 1, the first on top, some of them filled.

    Parameters
    ----------
    shares
        By name; one without value has no bar.
    filled
        Which bars are filled, in the same order.
    """
    set_height(axes, _FRAME + _ROW * len(shares))
    colours = [ACCENT if chosen else _PALE for chosen in filled]
    axes.barh(range(len(shares)), shares, color=colours, edgecolor=ACCENT, linewidth=1.2, height=0.55)
    _rows(axes, [str(name) for name in shares.index])
    axes.set_xlim(0, 1)


def share_intervals(axes: Axes, rows: pd.DataFrame) -> None:
    """A bar with its interval for each share between 0 and 1, the first on top.

    Parameters
    ----------
    rows
        share, low, high by name; one without value has no bar.
    """
    bars(axes, rows["share"], pd.Series(True, index=rows.index))
    place = pd.Series(range(len(rows)), index=rows.index)
    spans = rows[rows["low"].notna() & rows["high"].notna()]
    axes.hlines(place[spans.index], spans["low"], spans["high"], color=QUIET, linewidth=2.2, zorder=3)


def stacked(axes: Axes, counts: pd.DataFrame) -> None:
    """Counts of several kinds beside each other, a row of them for each name, the first on top.

    Parameters
    ----------
    counts
        A row a name, a column a kind, in words.
    """
    set_height(axes, _FRAME + 0.4 + _ROW * len(counts))
    left = np.zeros(len(counts))
    shades = sns.blend_palette([ACCENT, _PALE], n_colors=max(2, counts.shape[1]))
    for shade, (kind, n) in zip(shades, counts.items(), strict=False):
        axes.barh(
            range(len(counts)), n, left=left, color=shade, edgecolor=ACCENT, height=0.55, label=str(kind)
        )
        left += n.to_numpy(dtype=float)
    _rows(axes, [str(name) for name in counts.index])
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.35), ncols=2, frameon=False, fontsize=9)


def counts_beside_marks(axes: Axes, counts: pd.Series, marks: pd.Series) -> None:
    """A bar for each count, and a line across it where another number lies, the first on top.

    Parameters
    ----------
    counts, marks
        In the same order, counts by name.
    """
    set_height(axes, _FRAME + _ROW * len(counts))
    place = np.arange(len(counts))
    axes.barh(place, counts, color=_PALE, edgecolor=ACCENT, linewidth=1.2, height=0.55)
    axes.vlines(marks, place - 0.4, place + 0.4, color=QUIET, linewidth=2, zorder=3)
    _rows(axes, [str(name) for name in counts.index])
    axes.set_xlim(0, 1.04 * max(1.0, counts.max(), marks.max()))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))


def against_diagonal(axes: Axes, x: pd.Series, y: pd.Series) -> None:
    """Points beside the line on which both are equal."""
    drawn = np.concatenate([x.to_numpy(dtype=float), y.to_numpy(dtype=float)])
    low, high = (np.nanmin(drawn), np.nanmax(drawn)) if np.isfinite(drawn).any() else (0.0, 1.0)
    axes.plot([low, high], [low, high], color=QUIET, linewidth=1, zorder=1)
    axes.scatter(x, y, s=22, facecolor="white", edgecolor=ACCENT, linewidth=1.2, zorder=2)


def _short(label: object) -> str:
    """Name of a level on three narrow lines at most, cut where it is longer."""
    return "\n".join(textwrap.wrap(str(label), _NARROW, max_lines=3, placeholder=" …"))


def _dots(axes: Axes, x: pd.Series, y: pd.Series, colour: str) -> None:
    if len(x):
        sns.scatterplot(
            x=x, y=y, ax=axes, color=colour, edgecolor=ACCENT, linewidth=1.6, s=52, zorder=3, legend=False
        )


def _rows(axes: Axes, names: list[str]) -> None:
    """Give each row its name and a hairline, the first on top."""
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_ylabel("")
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="y", color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)


def _label(code: object, words: object) -> str:
    """Code and title of a criterion on two lines at most, the title cut where it is longer."""
    if not isinstance(words, str):
        return str(code)
    return "\n".join(textwrap.wrap(f"{code}  {words}", _LABEL, max_lines=2, placeholder=" …"))


def _readable(background: tuple[float, float, float, float]) -> str:
    """Black or white, whichever stands out more [wcag_2023]."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in background[:3]]
    luminance = float(np.dot(linear, (0.2126, 0.7152, 0.0722)))
    return "#ffffff" if 1.05 / (luminance + 0.05) > (luminance + 0.05) / 0.05 else _BLACK
