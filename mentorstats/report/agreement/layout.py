"""Results of the statistics, one row a coefficient, laid out as one row a group for a table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.report.columns import BOUNDS, STATUS
from mentorstats.report.model import Verdict

COMPANIONS = ("", *BOUNDS, STATUS)
_OF = dict(zip(COMPANIONS, ("value", "low", "high", "status"), strict=True))


def spread(found: pd.DataFrame, names: Mapping[str, str]) -> pd.DataFrame:
    """One row a group, and for each coefficient its value, bounds and status side by side.

    Parameters
    ----------
    found
        From `mentorstats.agreement.coefficients`: the last index level is the coefficient.
    names
        Coefficient to the column it becomes, in order.

    Returns
    -------
    DataFrame
        The other index levels as columns, then ``n_units``, ``n_clusters`` and, for each name
        ``x``, the columns ``x``, ``x_low``, ``x_high``, ``x_status`` and ``x_chance``.
    """
    columns: dict[str, pd.Series] = {}
    for coefficient, name in names.items():
        rows = found.xs(coefficient, level="coefficient")
        if not columns:
            columns |= {count: rows[count] for count in ("n_units", "n_clusters")}
        columns |= {name + suffix: rows[source] for suffix, source in _OF.items()}
        columns[f"{name}_chance"] = rows["p_expected"]
    return pd.DataFrame(columns).reset_index()


def versions(data: pd.DataFrame) -> Iterator[tuple[str, str, pd.DataFrame]]:
    """Rubric, version and rows of each rubric version, in sorted order."""
    for key, rows in data.groupby(VERSION, observed=True, sort=True):
        rubric, version = key
        yield str(rubric), str(version), rows


def above_zero(table: pd.DataFrame, name: str) -> pd.Series:
    """Verdict on each row: whether the interval of a column lies above zero.

    Empty where there is no value; ``too few to say`` where there is a value without interval.
    """
    low, high = table[name + BOUNDS[0]], table[name + BOUNDS[1]]
    verdict = pd.Series(Verdict.NOT_CLEAR.value, index=table.index)
    verdict = verdict.mask(low > 0, Verdict.YES.value).mask(high < 0, Verdict.NO.value)
    verdict = verdict.mask(low.isna() | high.isna(), Verdict.NOT_ASSESSED.value)
    return verdict.mask(table[name].isna(), "")
