"""A long table of anybody's to numeric scores: who scored what, and how high.

Numbers stand for themselves. Labels need their order: an ordered categorical, or ``levels``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients import weights
from mentorstats.agreement.counts import coding
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]
Columns: TypeAlias = str | Sequence[str]

_WHERE = "ratings"
_SHOWN = 5  # offending rows or units that a message names


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores that enter, with codes for unit and rater.

    Attributes
    ----------
    unit, rater : integer arrays (n,)
        Codes from zero without gaps; units and raters are numbered in the order of their values.
    score : array (n,)
        The numbers.
    rows : integer array (n,)
        Positions in the table that was given.
    n_rows
        Rows of that table.
    unit_names, rater_names
        Columns that name them, for messages.
    """

    unit: Codes
    rater: Codes
    score: Array
    rows: Codes
    n_rows: int
    unit_names: list[str]
    rater_names: list[str]

    @property
    def n_units(self) -> int:
        """Units with a score."""
        return int(self.unit.max(initial=-1)) + 1

    @property
    def n_raters(self) -> int:
        """Raters with a score."""
        return int(self.rater.max(initial=-1)) + 1

    @property
    def n_left_out(self) -> int:
        """Rows without a unit, a rater or a score."""
        return self.n_rows - len(self.rows)

    @property
    def complete(self) -> bool:
        """Whether every rater scored every unit."""
        return len(self.score) == self.n_units * self.n_raters

    def grid(self) -> Array:
        """Units by raters (n_units, n_raters), NaN where there is no score."""
        table = np.full((self.n_units, self.n_raters), np.nan)
        table[self.unit, self.rater] = self.score
        return table


def read(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
) -> Scores:
    """Scores of a long table; rows without a unit, a rater or a score are left out and counted.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; a score is no number and its order is not declared, or is infinite; a
        rater scored a unit twice.
    """
    unit_names, rater_names = coding.keys(unit, "unit"), coding.keys(rater, "rater")
    need_columns(ratings.columns, [*unit_names, *rater_names, level], where=_WHERE)
    score = _numbers(ratings[level], levels)
    unit_code = coding.ordered_codes(ratings, unit_names)
    rater_code = coding.ordered_codes(ratings, rater_names)
    rows = np.flatnonzero(~np.isnan(score) & (unit_code >= 0) & (rater_code >= 0))
    rows = rows[
        np.lexsort((rater_code[rows], unit_code[rows]))
    ]  # what is drawn must not depend on their order
    of_unit, of_rater = coding.renumber(unit_code[rows]), coding.renumber(rater_code[rows])
    coding.refuse_twice(ratings, rows, of_unit, of_rater)
    return Scores(of_unit, of_rater, score[rows], rows, len(ratings), unit_names, rater_names)


def _numbers(column: pd.Series, levels: Sequence[object] | None) -> Array:
    """The scores (n,), NaN where there is none."""
    categorical = isinstance(column.dtype, pd.CategoricalDtype)
    numeric = pd.api.types.is_numeric_dtype(column.dtype) and not pd.api.types.is_bool_dtype(column.dtype)
    if levels is not None or categorical or (not numeric and not column.isna().all()):
        declared, codes = coding.code_levels(column, levels)
        return np.where(codes >= 0, weights.scores_of(declared)[codes], np.nan)
    score = column.to_numpy(dtype=np.float64, na_value=np.nan)
    infinite = np.flatnonzero(np.isinf(score))
    if len(infinite):
        shown = ", ".join(str(value) for value in column.index[infinite[:_SHOWN]])
        raise ArgumentError(
            f"{len(infinite)} scores are infinite, first at index {shown}",
            where=f"{_WHERE}, column {column.name!r}",
            remedy="Correct them, or leave them blank.",
        )
    return np.asarray(score, dtype=np.float64)


def refuse_incomplete(ratings: pd.DataFrame, scores: Scores, *, remedy: str) -> None:
    """Raise ArgumentError naming units that not every rater scored."""
    if scores.complete:
        return
    per_unit = np.bincount(scores.unit)
    short = np.flatnonzero(per_unit < scores.n_raters)
    first = scores.rows[np.unique(scores.unit, return_index=True)[1][short[:_SHOWN]]]
    named = ["/".join(map(str, values)) for values in ratings[scores.unit_names].iloc[first].to_numpy()]
    raise ArgumentError(
        f"{len(short)} of {len(per_unit)} units were not scored by all {scores.n_raters} raters: "
        f"{', '.join(named)}{' …' if len(short) > _SHOWN else ''}",
        where=_WHERE,
        remedy=remedy,
    )


def refusal(found: Scores) -> tuple[Status, str] | None:
    """Why scores cannot say anything about agreement, if they cannot."""
    if not len(found.score):
        return Status.NO_RECORDS, "No row has a score, a unit and a rater."
    if found.n_raters < 2:
        return Status.ONE_RATER, "All scores come from one rater."
    if found.n_units < 2:
        return Status.ONE_UNIT, "One unit was scored."
    return None
