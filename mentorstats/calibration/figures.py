"""A picture a question: who can be compared, who rates higher, who changes, what is flagged.

Each function takes a result and the axes to draw on, new ones unless given, and returns the axes. Raters
stand in the order of their codes, never of their values.

For monitoring and rater training. Not a sole basis for any decision about a rater or a candidate; the
programme's policy, local rules and licensed practice come first.
"""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from mentorstats.calibration.effects import EFFECTS
from mentorstats.calibration.follow_up import Flags
from mentorstats.calibration.networks.linkage import Linkage
from mentorstats.calibration.raters.adjusted import Adjusted
from mentorstats.calibration.raters.assignment import Assignment
from mentorstats.drawings import charts, intervals
from mentorstats.drawings.style import on
from mentorstats.errors import ArgumentError, need_columns

_LINKED = {
    "n_linked": "in the network of most",
    "n_by_assumption": "compared by assumption",
    "n_not_identified": "not comparable",
    "n_one_rater": "alone in the role",
    "n_no_records": "without ratings",
}
_APART = "lower than within candidates  \N{LEFTWARDS ARROW}  levels  \N{RIGHTWARDS ARROW}  higher"


def linkage(found: Linkage, axes: Axes | None = None) -> Axes:
    """Which raters can be compared with each other? Raters of each role by how they are linked."""
    counted = found.roles[list(_LINKED)].fillna(0).rename(columns=_LINKED)
    axes = on(axes)
    charts.stacked(axes, counted.loc[:, counted.sum() > 0])
    axes.set_xlabel("raters")
    return axes


def severity(table: pd.DataFrame, axes: Axes | None = None, *, role: str | None = None) -> Axes:
    """Who rates higher or lower than others of the role? Contrasts in levels with their intervals.

    Parameters
    ----------
    table
        From `severity`. A dot is filled where the interval leaves out zero.
    role
        Which role; needed where the table holds several.

    Raises
    ------
    ColumnError, ArgumentError
        It is another table, the role is not in it or not chosen, or has too many raters for one picture.
    """
    return _raters(table, "contrast_level", intervals.LEVELS, axes, role)


def drift(table: pd.DataFrame, axes: Axes | None = None, *, role: str | None = None) -> Axes:
    """Who becomes stricter or more lenient? Contrasts of the change in levels, with their intervals.

    Parameters
    ----------
    table
        From `drift`, or ``raters`` of `drift_between`.
    role
        As in `severity`.
    """
    need_columns(table.columns, ("per",), where="table")
    label = intervals.LEVELS.replace("levels", f"levels a {table['per'].iloc[0]}") if len(table) else ""
    return _raters(table, "contrast_level", label, axes, role)


def assignment(found: Assignment, axes: Axes | None = None, *, role: str | None = None) -> Axes:
    """Is assignment to raters related to candidate quality? By how much severity moves within candidates.

    Parameters
    ----------
    found
        From `assignment_check`.
    role
        As in `severity`.
    """
    return _raters(found.raters, "difference_level", _APART, axes, role)


def flags(found: Flags, axes: Axes | None = None) -> Axes:
    """On what are raters flagged, and what would chance flag? Counts by effect."""
    by_effect = found.families.groupby("about", sort=False)[["n_flagged", "flagged_by_chance"]].sum()
    if by_effect.empty:
        raise ArgumentError("no effect was looked at", where="found", remedy="Give flags() a table.")
    by_effect = by_effect.reindex([name for name in EFFECTS if name in by_effect.index])
    axes = on(axes)
    charts.counts_beside_marks(
        axes,
        by_effect["n_flagged"].set_axis([name.replace("_", " ") for name in by_effect.index]),
        by_effect["flagged_by_chance"],
    )
    axes.set_xlabel("raters flagged; a line where chance alone would be if none differed")
    return axes


def adjusted(found: Adjusted, axes: Axes | None = None) -> Axes:
    """What would scores be with a rater of average severity? Each against the score recorded.

    Raises
    ------
    ArgumentError
        No score was adjusted.
    """
    known = found.scores[found.scores["adjusted"].notna()]
    if known.empty:
        raise ArgumentError(
            "no score was adjusted", where="found", remedy="Read the column status_note of its scores."
        )
    axes = on(axes)
    charts.against_diagonal(axes, known["recorded"], known["adjusted"])
    axes.set_xlabel("mean level recorded")
    axes.set_ylabel("adjusted")
    return axes


def _raters(table: pd.DataFrame, name: str, label: str, axes: Axes | None, role: str | None) -> Axes:
    need_columns(table.columns, ("rater", "rater_role", name, f"{name}_low", f"{name}_high"), where="table")
    roles = list(dict.fromkeys(table["rater_role"].astype("str")))
    if role is None and len(roles) != 1:
        raise ArgumentError(
            f"the table holds {len(roles)} roles", where="table", allowed=roles, remedy="Choose one as role=."
        )
    if role is not None and role not in roles:
        raise ArgumentError(f"no role {role!r}", where="table", allowed=roles)
    rows = table[table["rater_role"].astype("str") == (role or roles[0])].sort_values("rater")
    if len(rows) > intervals.MOST:
        raise ArgumentError(
            f"{len(rows)} raters do not fit into one picture",
            where="table",
            allowed=f"at most {intervals.MOST}",
            remedy="Draw a part of them at a time.",
        )
    axes = on(axes)
    intervals.of_raters(axes, rows.reset_index(drop=True), name=name, label=label)
    return axes
