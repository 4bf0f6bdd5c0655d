"""Columns of a report's tables, each declared once: name, heading, unit, and what kind of column it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

BOUNDS = ("_low", "_high")
STATUS = "_status"
WORDS = "_words"


class Kind(StrEnum):
    """What a column holds, which is also what disclosure control may do to it."""

    GROUP = "group"
    COUNT = "count"
    STATISTIC = "statistic"
    VERDICT = "verdict"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    A statistic ``x`` may have the companions ``x_low``, ``x_high`` (bounds) and ``x_status`` (a status of
    the closed list) in the same data, a group ``x`` may have ``x_words``, what its code stands for; they
    are shown together with it.

    Attributes
    ----------
    name
        Name in the data.
    label
        Heading.
    unit
        One that ``mentorstats.report.numbers`` knows. Counts in ``people`` or ``raters`` decide whether a row
        may be shown.
    kind
        A group says which group a row is about; counts, statistics and verdicts are blanked where a group is
        too small; text is words about the row.
    """

    name: str
    label: str
    unit: str = ""
    kind: Kind = Kind.STATISTIC

    @property
    def numeric(self) -> bool:
        """Whether the column holds numbers."""
        return self.kind in (Kind.COUNT, Kind.STATISTIC)

    @property
    def blanked(self) -> bool:
        """Whether the column is a result, which a small group loses together with its status."""
        return self.kind in (Kind.STATISTIC, Kind.VERDICT)


def group(name: str, label: str) -> Column:
    """Return a column that says which group a row is about."""
    return Column(name, label, kind=Kind.GROUP)


def counted(name: str, label: str, unit: str = "number") -> Column:
    """Return a column of counts."""
    return Column(name, label, unit, Kind.COUNT)


def statistic(name: str, label: str, unit: str) -> Column:
    """Return a column of results, with its bounds and status where the data have them."""
    return Column(name, label, unit, Kind.STATISTIC)


def verdict(name: str, label: str) -> Column:
    """Return a column of judgements in words."""
    return Column(name, label, kind=Kind.VERDICT)


def text(name: str, label: str) -> Column:
    """Return a column of words."""
    return Column(name, label, kind=Kind.TEXT)


def carried(source: pd.DataFrame, names: Mapping[str, str]) -> pd.DataFrame:
    """Take results into a table's data under its own names, with all that goes along.

    Parameters
    ----------
    source
        Has the columns that ``names`` maps from, and for each ``_low``, ``_high``, ``_status`` where there
        is such a companion; where there is none for the status, the row's own ``status`` serves.
    names
        Name in the source to name in the table.

    Returns
    -------
    DataFrame
        The index of the source, and the columns in the order of ``names``.
    """
    out: dict[str, pd.Series] = {}
    for old, new in names.items():
        out[new] = source[old]
        for end in BOUNDS:
            if old + end in source:
                out[new + end] = source[old + end]
        for status in (old + STATUS, "status"):
            if status in source:
                out[new + STATUS] = source[status]
                break
    return pd.DataFrame(out, index=source.index)
