"""A picture a question: how strong agreement is, which levels were paired, and how far apart two sides are.

Each function takes a result and the axes to draw on, new ones unless given, and returns the axes.
"""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.axes import Axes

from mentorstats.drawings import charts
from mentorstats.drawings.style import on
from mentorstats.errors import ArgumentError, need_columns


def coefficients(found: pd.DataFrame, axes: Axes | None = None) -> Axes:
    """How strong is agreement? Each coefficient with its interval.

    Parameters
    ----------
    found
        From `coefficients` without ``by``, or the rows of one group. One without value says why.

    Raises
    ------
    ColumnError, ArgumentError
        It is another table, or holds several groups.
    """
    need_columns(found.columns, ("value", "low", "high", "status"), where="found")
    if found.index.nlevels > 1:
        raise ArgumentError(
            f"the table is indexed by {', '.join(map(str, found.index.names))}",
            where="found",
            allowed="coefficients of one group",
            remedy="Choose a group first, as in found.loc[group].",
        )
    axes = on(axes)
    charts.coefficient_intervals(axes, found, _coverage(found))
    return axes


def levels(paired: pd.DataFrame, axes: Axes | None = None) -> Axes:
    """Which levels were paired? Counts as a grid, lowest level at the bottom left.

    Parameters
    ----------
    paired
        From `paired_counts`.
    """
    axes = on(axes)
    charts.level_counts(axes, square(paired))
    return axes


def differences(found: pd.DataFrame, axes: Axes | None = None) -> Axes:
    """On which criteria do mentors and supervisors differ, and by how much?

    Parameters
    ----------
    found
        ``differences`` of a survey, of one version of a rubric, indexed by criterion at last. A dot is
        filled where the interval leaves out zero.

    Raises
    ------
    ColumnError, ArgumentError
        It is another table, or a criterion comes twice.
    """
    need_columns(found.columns, ("value", "low", "high"), where="found")
    criterion = found.index.get_level_values(-1).astype("str")
    if criterion.has_duplicates:
        raise ArgumentError(
            f"criterion {criterion[criterion.duplicated()][0]!r} comes twice",
            where="found",
            remedy="Choose one version first, as in found.loc[(rubric, version)].",
        )
    rows = pd.DataFrame(
        {
            "criterion": criterion,
            "criterion_words": None,
            **{f"value{end}": found[name].to_numpy(dtype=float) for end, name in _ENDS.items()},
        }
    )
    axes = on(axes)
    charts.signed_differences(axes, rows)
    return axes


def words(found: pd.DataFrame, axes: Axes | None = None) -> Axes:
    """Which word does a coefficient support? Probability of each band or a better one, the lowest first.

    Parameters
    ----------
    found
        From `benchmark`. The highest word supported is filled.
    """
    need_columns(found.columns, ("p_at_least", "supported"), where="found")
    axes = on(axes)
    charts.bars(axes, found["p_at_least"], found["supported"])
    axes.set_xlabel(f"probability of that word or a better one, {found['scale'].iloc[0]}")
    return axes


_ENDS = {"": "value", "_low": "low", "_high": "high"}


def square(paired: pd.DataFrame) -> pd.DataFrame:
    """Counts with a row a level of the first rater, all in the order declared."""
    order = paired.index.get_level_values(0).unique()
    counts = paired["n"].unstack().reindex(index=order, columns=order)
    first, second = (str(name) for name in paired.index.names)
    return counts.rename_axis(index=first, columns=second)


def _coverage(found: pd.DataFrame) -> str:
    confidence = float(found["confidence"].max()) if "confidence" in found else math.nan
    return "coefficient" if math.isnan(confidence) else f"coefficient, with {100 * confidence:.0f} % interval"
