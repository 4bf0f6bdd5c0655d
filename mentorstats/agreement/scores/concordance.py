"""Do raters order units alike, and do they differ less than by throwing dice? For complete data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement.counts import coding
from mentorstats.agreement.scores import scores as scoring
from mentorstats.agreement.scores.icc import MeanSquares, mean_squares
from mentorstats.agreement.scores.scores import Columns, Scores
from mentorstats.entry import entry
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]

_REMEDY = "Leave those units out, or the raters who did not score them."
_ROUGH = 8  # units; with fewer the chi-squared distribution of W is rough [siegel_1956]


@entry(named=True)
def kendall_w(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
) -> pd.DataFrame:
    """Kendall's coefficient of concordance: how far raters put units in the same order.

    Parameters
    ----------
    ratings
        One row a rating; any order.
    unit, rater
        Column, or several, that name what was scored and who scored it.
    level, levels
        Scores, or labels whose order is declared; only their order within a rater is used. A row whose
        score, unit or rater is missing is left out and counted; what remains has to be complete.

    Returns
    -------
    DataFrame
        Indexed by coefficient: ``kendall_w``, corrected for ties, and ``kendall_w_uncorrected``.
        value (0 to 1), statistic (Friedman's chi-squared, m(n − 1)W), df, p, interval_method
        (``none``), n_units, n_raters, n_ratings, n_left_out, definition, status, status_note,
        reference.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; labels have no order; a unit was not scored by all; a rater scored a unit
        twice.

    Notes
    -----
    W = 12 s / (m²(n³ − n) − m ΣT), s the sum of squared deviations of rank sums, T = Σ(t³ − t) over the
    groups of t tied units of each of m raters [kendall_smith_1939], [siegel_1956].
    """
    found = scoring.read(ratings, unit=unit, rater=rater, level=level, levels=levels)
    scoring.refuse_incomplete(ratings, found, remedy=_REMEDY)
    names = ("kendall_w", "kendall_w_uncorrected")
    status, note = scoring.refusal(found) or (Status.OK, "")
    values = (math.nan, math.nan)
    if status is Status.OK:
        corrected, plain = concordance(found.grid())
        if math.isnan(corrected):
            status, note = Status.NO_SPREAD, "Every rater gave all units the same score; there is no order."
        else:
            values = (corrected, plain)
            if found.n_units < _ROUGH:
                note = f"{found.n_units} units: the p-value, from the chi-squared distribution, is rough."
    rows = [
        _estimate(name, found, value, "kendall_smith_1939", status, note)
        for name, value in zip(names, values, strict=True)
    ]
    table = _without_unused(rows)
    m, n = found.n_raters, found.n_units
    table["statistic"] = m * (n - 1) * table["value"]
    table["df"] = np.where(table["value"].notna(), float(n - 1), math.nan)
    table["p"] = stats.chi2.sf(table["statistic"], table["df"])
    table["definition"] = ["corrected for ties", "as if there were no ties"]
    return table


def concordance(grid: Array) -> tuple[float, float]:
    """Kendall's W of a complete grid (n units, m raters), corrected for ties and not; NaN without order."""
    n, m = grid.shape
    ranks = stats.rankdata(grid, axis=0)
    sums = ranks.sum(axis=1)
    s = float(((sums - sums.mean()) ** 2).sum())
    ties = sum(_ties(column) for column in ranks.T)
    most = m**2 * (n**3 - n) / 12
    left = most - m * ties / 12
    return (s / left if left > 1e-9 * most else math.nan), s / most


def _ties(ranks: Array) -> float:
    """Σ (t³ − t) over the groups of tied ranks (n,)."""
    t = np.unique(ranks, return_counts=True)[1].astype(float)
    return float((t**3 - t).sum())


@entry(named=True)
def finn(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Finn's coefficient: how much less raters differ than if they threw dice.

    One minus the error mean square over the variance of levels given evenly at random, (L² − 1)/12 for
    L levels one apart [finn_1970]. It stays high where units hardly differ, and says nothing about
    whether raters tell units apart, so it does not replace an intraclass correlation.

    Parameters
    ----------
    ratings, unit, rater, level
        As in `kendall_w`.
    levels
        Every declared level, lowest first; required unless the column is an ordered categorical.
        They count 1, 2, …, L.
    confidence
        Nominal coverage, a fraction.

    Returns
    -------
    DataFrame
        Indexed by coefficient: ``finn_one_way`` (error within units) and ``finn_two_way`` (severity
        taken out): value, low, high, confidence, interval_method (``chi_squared``, for normal errors),
        f (chance variance over error), df1 (infinite), df2, p (one-sided, that errors are no smaller than
        chance), n_units, n_raters, n_ratings, n_left_out, definition, status, status_note, reference.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        As in `kendall_w`; levels are not declared.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=None)
    counted = ratings.iloc[coded.rows].assign(**{level: coded.level + 1.0})
    found = scoring.read(counted, unit=unit, rater=rater, level=level)
    scoring.refuse_incomplete(counted, found, remedy=_REMEDY)
    chance = (len(coded.levels) ** 2 - 1) / 12
    refused = scoring.refusal(found)
    ms = None if refused is not None else mean_squares(found.grid())
    names = ("finn_one_way", "finn_two_way")
    errors = [(math.nan, 0), (math.nan, 0)] if ms is None else _errors(ms)
    rows, tests = [], []
    for name, (error, df) in zip(names, errors, strict=True):
        status, note = refused or (Status.OK, "")
        if error == 0:
            status, note = Status.NO_DISAGREEMENT, "No disagreement of this kind was seen; no interval."
        rows.append(_estimate(name, found, 1 - error / chance, "finn_1970", status, note))
        tests.append(_against_chance(error, df, chance, confidence))
    table = _without_unused(rows).assign(n_left_out=len(ratings) - len(coded.rows))
    table["n_left_out"] = table["n_left_out"].astype("Int64")
    for column in ("low", "high", "confidence", "f", "df1", "df2", "p"):
        table[column] = [test[column] for test in tests]
    table["interval_method"] = ["none" if math.isnan(test["low"]) else "chi_squared" for test in tests]
    table["definition"] = ["all differences within units", "differences within units, severity taken out"]
    return table


def _errors(ms: MeanSquares) -> list[tuple[float, int]]:
    """Error mean square and its degrees of freedom, one-way and two-way."""
    return [(ms.within, ms.n * (ms.k - 1)), (ms.residual, (ms.n - 1) * (ms.k - 1))]


def _against_chance(error: float, df: int, chance: float, confidence: float) -> dict[str, float]:
    """Limits from those of a variance, and the test against the variance of chance."""
    if not error > 0:
        return dict.fromkeys(("low", "high", "confidence", "f", "df1", "df2", "p"), math.nan)
    low, high = (
        1 - error * df / stats.chi2.ppf((1 + side * confidence) / 2, df) / chance for side in (-1, 1)
    )
    return {
        "low": float(low),
        "high": float(high),
        "confidence": confidence,
        "f": chance / error,
        "df1": math.inf,
        "df2": df,
        "p": float(stats.chi2.cdf(error * df / chance, df)),
    }


def _estimate(name: str, found: Scores, value: float, reference: str, status: Status, note: str) -> Estimate:
    return Estimate(
        name=name,
        value=value,
        n_units=found.n_units,
        n_raters=found.n_raters,
        n_ratings=len(found.score),
        n_left_out=found.n_left_out,
        status=status,
        status_note=note,
        reference=reference,
    )


def _without_unused(rows: list[Estimate]) -> pd.DataFrame:
    return to_frame(rows, index="coefficient").drop(columns=["se", "n_clusters", "p_observed", "p_expected"])
