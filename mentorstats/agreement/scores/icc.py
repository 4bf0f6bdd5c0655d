"""How much of a score is the unit, when the same raters scored every unit? Six intraclass correlations.

The mean squares of a two-way layout without replication give all six forms, in the notation of
[mcgraw_wong_1996]: ``1`` one-way, ``A`` absolute agreement, ``C`` consistency, of one rating or of the
mean of all k.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement.scores import scores as scoring
from mentorstats.agreement.scores.scores import Columns, Scores
from mentorstats.entry import entry
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]

FEW_UNITS = 5  # as for members of a grouping: with fewer, a variance between them is hardly known

_ZERO = 1e-12  # share of the total sum of squares that rounding leaves of a sum that is zero
_MODELS = {
    "1": "one-way random: each unit may have raters of its own",
    "a": "two-way: raters are a sample of raters",
    "c": "two-way: the same raters for all units",
}
_TYPES = {
    "1": "absolute agreement",
    "a": "absolute agreement: raters' severity counts as error",
    "c": "consistency: raters' severity does not count",
}
_REFERENCES = {"1": "shrout_fleiss_1979", "a": "mcgraw_wong_1996", "c": "shrout_fleiss_1979"}


@entry(named=True)
def icc(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Intraclass correlations of complete data: every rater scored every unit.

    Parameters
    ----------
    ratings
        One row a rating; any order.
    unit, rater
        Column, or several, that name what was scored and who scored it.
    level
        Column of scores. Numbers are used as they are. A row whose score, unit or rater is missing is
        left out and counted; what remains has to be complete.
    levels
        Every declared level, lowest first, where the scores are labels and the column is not an
        ordered categorical. Labels count 1, 2, ….
    confidence
        Nominal coverage, a fraction.

    Returns
    -------
    DataFrame
        Indexed by coefficient, ``icc_1_1``, ``icc_a_1``, ``icc_c_1`` of one rating and ``icc_1_k``,
        ``icc_a_k``, ``icc_c_k`` of the mean of all k: value, low, high, confidence,
        interval_method, f, df1, df2, p (that units do not differ, against ms_within for the one-way
        forms and the residual for the others), sem (standard error of measurement), observed_sd (of
        single ratings, or of the units' means), n_units, n_raters, n_ratings, n_left_out, model,
        type, definition, status, status_note, reference.

        A negative value is shown as it is, with status ``boundary``; the form for means is NaN where
        the mean squares put it outside its range. Two units have no interval.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; scores are labels without an order; a unit was not scored by all; a rater
        scored a unit twice.

    Notes
    -----
    Points, F and limits of the one-way and consistency forms: [shrout_fleiss_1979], exact for normal
    scores (``f_exact``). Limits of ``icc_a_1``: [mcgraw_wong_1996], Table 7, with Satterthwaite's
    degrees of freedom (``f_satterthwaite``). Limits of ``icc_a_k`` are those of ``icc_a_1`` carried
    over by the formula of Spearman and Brown (``f_satterthwaite_spearman_brown``), as
    pingouin has them; with degrees of freedom of their own they would differ.
    """
    found = scoring.read(ratings, unit=unit, rater=rater, level=level, levels=levels)
    scoring.refuse_incomplete(
        ratings, found, remedy="Use icc_incomplete, which needs no complete data, or leave those units out."
    )
    return _frame(found, confidence)


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Mean squares of n units by k raters, one score a cell.

    Attributes
    ----------
    units, raters, residual, within
        Between units (n - 1), between raters (k - 1), what is left ((n - 1)(k - 1)), and within units
        (n(k - 1)); an exact zero where rounding alone is left.
    """

    units: float
    raters: float
    residual: float
    within: float
    n: int
    k: int


def mean_squares(grid: Array) -> MeanSquares:
    """Mean squares of a complete grid (n, k), n and k two or more, without NaN."""
    n, k = grid.shape
    centred = grid - grid.mean()
    of_unit, of_rater = centred.mean(axis=1), centred.mean(axis=0)
    left = centred - of_unit[:, None] - of_rater
    sums = np.array([k * of_unit @ of_unit, n * of_rater @ of_rater, np.vdot(left, left)])
    rounding = 4 * n * k * (np.abs(grid).max() * np.finfo(float).eps) ** 2
    units, raters, residual = np.where(sums <= max(_ZERO * sums.sum(), rounding), 0.0, sums)
    return MeanSquares(
        units / (n - 1),
        raters / (k - 1),
        residual / ((n - 1) * (k - 1)),
        (raters + residual) / (n * (k - 1)),
        n,
        k,
    )


def spearman_brown(single: float, k: float) -> float:
    """Coefficient of the mean of k ratings from that of one; NaN where that has none."""
    below = 1 + (k - 1) * single
    return k * single / below if below > _ZERO else math.nan


# The three single-rating forms ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Form:
    """One single-rating form: value, limits, test, error variance, and the mean square it is tested by."""

    value: float
    low: float
    high: float
    f: float
    df2: float
    error: float
    against: float
    method: str


def _one_error(between: float, error: float, n: int, k: int, df2: int, confidence: float) -> _Form:
    """Form whose error is one mean square [shrout_fleiss_1979]; exact for normal scores."""
    below = between + (k - 1) * error
    value = (between - error) / below if below else math.nan
    f = between / error if error else math.nan
    tail = (1 + confidence) / 2
    low, high = (
        (ratio - 1) / (ratio + k - 1)
        for ratio in (f / stats.f.ppf(tail, n - 1, df2), f * stats.f.ppf(tail, df2, n - 1))
    )
    return _Form(value, low, high, f, df2, error, error, "f_exact")


def _agreement(ms: MeanSquares, confidence: float) -> _Form:
    """ICC(A,1) with the limits of [mcgraw_wong_1996], Table 7; degrees of freedom by Satterthwaite."""
    n, k = ms.n, ms.k
    below = ms.units + (k - 1) * ms.residual + k * (ms.raters - ms.residual) / n
    value = (ms.units - ms.residual) / below if below > 0 else math.nan
    if value < -1 / (k - 1):
        value = math.nan
    f = ms.units / ms.residual if ms.residual else math.nan
    severity = max((ms.raters - ms.residual) / n, 0.0)
    low, high = _agreement_limits(ms, value, confidence)
    error = severity + ms.residual
    return _Form(value, low, high, f, (n - 1) * (k - 1), error, ms.residual, "f_satterthwaite")


def _agreement_limits(ms: MeanSquares, value: float, confidence: float) -> tuple[float, float]:
    n, k = ms.n, ms.k
    if not value < 1:
        return math.nan, math.nan
    a, b = k * value / (n * (1 - value)), 1 + k * value * (n - 1) / (n * (1 - value))
    spread = (a * ms.raters) ** 2 / (k - 1) + (b * ms.residual) ** 2 / ((n - 1) * (k - 1))
    whole = a * ms.raters + b * ms.residual
    if not (spread > 0 and whole > 0):
        return math.nan, math.nan
    df = whole**2 / spread
    tail = (1 + confidence) / 2
    upper, lower = stats.f.ppf(tail, n - 1, df), stats.f.ppf(tail, df, n - 1)
    rest = k * ms.raters + (k * n - k - n) * ms.residual
    low = n * (ms.units - upper * ms.residual) / (upper * rest + n * ms.units)
    high = n * (lower * ms.units - ms.residual) / (rest + n * lower * ms.units)
    return float(low), float(high)


# Rows with their status -----------------------------------------------------------------------------


def _frame(found: Scores, confidence: float) -> pd.DataFrame:
    names = [f"icc_{form}_{size}" for size in ("1", "k") for form in ("1", "a", "c")]
    bare = Estimate(
        name="",
        n_units=found.n_units,
        n_raters=found.n_raters,
        n_ratings=len(found.score),
        n_left_out=found.n_left_out,
    )
    refused = _refusal(found)
    rows, more = [], []
    if refused is not None:
        for name in names:
            rows.append(replace(bare, name=name, status=refused[0], status_note=refused[1]))
            more.append({"observed_sd": math.nan, "sem": math.nan} | _test(None, 0))
    else:
        ms = mean_squares(found.grid())
        forms = _forms(ms, confidence)
        deviations = {"1": float(found.score.std(ddof=1)), "k": math.sqrt(ms.units / ms.k)}
        for name in names:
            form, size = name.split("_")[1:]
            made = _row(bare, name, forms[form], ms, confidence)
            rows.append(made)
            error = math.sqrt(forms[form].error / (ms.k if size == "k" else 1))
            more.append({"observed_sd": deviations[size], "sem": error} | _test(forms[form], ms.n - 1))
    table = to_frame(rows, index="coefficient").drop(columns=["se", "n_clusters", "p_observed", "p_expected"])
    table["reference"] = [_REFERENCES[name.split("_")[1]] for name in names]
    for column in ("f", "df1", "df2", "p", "sem", "observed_sd"):
        table[column] = np.array([row[column] for row in more], dtype=float)
    table["model"] = [_MODELS[name.split("_")[1]] for name in names]
    table["type"] = [_TYPES[name.split("_")[1]] for name in names]
    table["definition"] = [_definition(name, found.n_raters) for name in names]
    return table


def _definition(name: str, k: int) -> str:
    return "one rating" if name.endswith("_1") else f"mean of {k} ratings"


def _forms(ms: MeanSquares, confidence: float) -> dict[str, _Form]:
    n, k = ms.n, ms.k
    return {
        "1": _one_error(ms.units, ms.within, n, k, n * (k - 1), confidence),
        "a": _agreement(ms, confidence),
        "c": _one_error(ms.units, ms.residual, n, k, (n - 1) * (k - 1), confidence),
    }


def _test(form: _Form | None, df1: int) -> dict[str, float]:
    if form is None or math.isnan(form.f):
        return dict.fromkeys(("f", "df1", "df2", "p"), math.nan)
    return {"f": form.f, "df1": df1, "df2": form.df2, "p": float(stats.f.sf(form.f, df1, form.df2))}


def _refusal(found: Scores) -> tuple[Status, str] | None:
    """Why there is no coefficient at all, if there is none."""
    refused = scoring.refusal(found)
    if refused is not None:
        return refused
    ms = mean_squares(found.grid())
    if not ms.units and not ms.within:
        return Status.NO_SPREAD, "Every score is the same; nothing varies."
    if not ms.units and not ms.residual:
        return Status.NO_SPREAD, "The raters differ by a constant and the units do not differ at all."
    return None


def _row(bare: Estimate, name: str, form: _Form, ms: MeanSquares, confidence: float) -> Estimate:
    size = ms.k if name.endswith("_k") else 1
    value = spearman_brown(form.value, size)
    status, note = _status(form, ms, value)
    limits = [spearman_brown(limit, size) for limit in (form.low, form.high)]
    refused = status in (Status.NO_DISAGREEMENT, Status.TOO_FEW_CLUSTERS) or not ms.units
    shown = not refused and not any(math.isnan(number) for number in (*limits, value))
    method = f"{form.method}_spearman_brown" if size > 1 and form.method != "f_exact" else form.method
    return replace(
        bare,
        name=name,
        value=value,
        low=limits[0] if shown else math.nan,
        high=limits[1] if shown else math.nan,
        confidence=confidence if shown else math.nan,
        interval_method=method if shown else "none",
        status=status,
        status_note=note,
    )


def _status(form: _Form, ms: MeanSquares, value: float) -> tuple[Status, str]:
    if form.value == 1:
        return Status.NO_DISAGREEMENT, "No disagreement of this kind was seen, so there is no interval."
    if ms.units < form.against:
        note = "Units differ less than chance would make them: the estimate of their variance is negative."
        return Status.BOUNDARY, note + (" The mean squares give no value here." if math.isnan(value) else "")
    if ms.n < 3:
        return Status.TOO_FEW_CLUSTERS, "Two units tell nothing of how units vary; there is no interval."
    if ms.n < FEW_UNITS:
        return Status.FEW_LEVELS, f"{ms.n} units: the variance between them is known very poorly."
    return Status.OK, ""
