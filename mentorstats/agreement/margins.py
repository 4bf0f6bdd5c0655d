"""Do two raters use the levels equally often? Tests of marginal homogeneity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement import coding
from mentorstats.agreement.coding import Columns
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status

Array: TypeAlias = npt.NDArray[np.float64]

_REFERENCES = {"stuart_maxwell": "stuart_1955", "bhapkar": "bhapkar_1966"}
_EPS = 1e-9


def marginal_homogeneity(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
) -> pd.DataFrame:
    """Test whether two raters use all levels equally often on the units that both rated.

    Parameters
    ----------
    ratings
        One row a rating; two raters. To compare roles, name the role column as the rater.
    unit, rater
        Column, or several, that name what was rated and who rated it.
    level, levels
        As in `coefficients`. A row whose level, unit or rater is missing is left out and counted, and so
        is a unit that one rater alone rated.

    Returns
    -------
    DataFrame
        Indexed by test: ``stuart_maxwell`` [stuart_1955] [maxwell_1970] and ``bhapkar``
        [bhapkar_1966], which does not assume the hypothesis in the variance: statistic (chi-squared), df,
        p, n_units, n_raters, n_ratings, n_left_out, status, status_note, reference. With two levels
        Stuart and Maxwell's is McNemar's test without correction. Degrees of freedom are the levels in
        which the raters ever disagreed, less one for each set of levels connected by disagreements.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; levels are undeclared or unknown; there are more than two raters; a rater
        rated a unit twice.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=None)
    n_raters = int(coded.rater.max(initial=-1)) + 1
    if n_raters > 2:
        raise ArgumentError(
            f"{n_raters} raters",
            where=", ".join(coding.names(rater)),
            allowed="two",
            remedy="Choose two raters, or name the role column as the rater.",
        )
    table = _square(coded)
    n = int(table.sum())
    refused = _refusal(coded, n_raters, table)
    rows = []
    for name in _REFERENCES:
        found = _Test() if refused is not None else homogeneity(table, name)
        status, note = refused or _status(found)
        rows.append(
            {
                "statistic": found.statistic if status is Status.OK else math.nan,
                "df": found.df,
                "p": found.p if status is Status.OK else math.nan,
                "n_units": n,
                "n_raters": n_raters,
                "n_ratings": 2 * n,
                "n_left_out": len(ratings) - 2 * n,
                "status": str(status),
                "status_note": note,
                "reference": _REFERENCES[name],
            }
        )
    frame = pd.DataFrame(rows, index=pd.Index(list(_REFERENCES), name="test", dtype="str"))
    counts = ["n_units", "n_raters", "n_ratings", "n_left_out"]
    return frame.astype(dict.fromkeys(counts, "Int64") | {"status": "str", "status_note": "str"})


@dataclass(frozen=True, slots=True)
class _Test:
    """A chi-squared statistic; infinite where the variance of the differences is zero."""

    statistic: float = math.nan
    df: float = math.nan

    @property
    def p(self) -> float:
        return float(stats.chi2.sf(self.statistic, self.df))


def homogeneity(table: Array, method: str) -> _Test:
    """Chi-squared of a square table of counts (q, q), which holds some disagreement.

    Stuart and Maxwell: d'S⁻d with d the differences of the margins, S_ii = n_i. + n_.i − 2 n_ii,
    S_ij = −(n_ij + n_ji); S has the rank that the degrees of freedom are. Bhapkar's variance is
    S − dd'/n, so that his statistic is X² / (1 − X²/n).
    """
    n = table.sum()
    d = table.sum(axis=1) - table.sum(axis=0)
    both = table + table.T
    np.fill_diagonal(both, 0.0)
    s = np.diag(both.sum(axis=1)) - both
    df = int(np.linalg.matrix_rank(s, hermitian=True))
    statistic = float(d @ np.linalg.pinv(s, hermitian=True) @ d)
    if method == "bhapkar":
        left = 1 - statistic / n
        statistic = statistic / left if left > _EPS else math.inf
    return _Test(statistic, float(df))


def _square(coded: coding.Coded) -> Array:
    """Counts of the levels of the two raters over the units both rated (q, q)."""
    q = len(coded.levels)
    grid = np.full((int(coded.unit.max(initial=-1)) + 1, 2), -1, dtype=np.intp)
    if len(coded.unit):
        grid[coded.unit, coded.rater] = coded.level
    both = grid[(grid >= 0).all(axis=1)]
    return np.bincount(both[:, 0] * q + both[:, 1], minlength=q * q).reshape(q, q).astype(float)


def _refusal(coded: coding.Coded, n_raters: int, table: Array) -> tuple[Status, str] | None:
    """Why there is no test at all, if there is none."""
    if not len(coded.unit):
        return Status.NO_RECORDS, "No rating has a level, a unit and a rater."
    if n_raters < 2:
        return Status.ONE_RATER, "All ratings come from one rater."
    if not table.sum():
        return Status.NO_DOUBLE_SCORES, "No unit was rated by both raters."
    if np.trace(table) == table.sum():
        if np.count_nonzero(table) == 1:
            return Status.ONE_LEVEL_USED, "Both raters gave one level only."
        return Status.NO_DISAGREEMENT, "The raters never disagreed, so their margins are the same."
    return None


def _status(found: _Test) -> tuple[Status, str]:
    if math.isinf(found.statistic):
        note = "All ratings differ, and in one direction: the variance of the difference is zero."
        return Status.BOUNDARY, note
    return Status.OK, ""
