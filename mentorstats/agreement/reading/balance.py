"""Are the double-scored lessons like the rest, and what weights make them so?"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]

NOT_RECORDED = "not recorded"
TRIM = 0.99  # custom [cole_hernan_2008]: weights beyond this quantile are cut to it

_FAR = 15.0  # log-odds: a fitted probability beyond 3 in 10 million is a sign of separation
_LEAST_DOUBLE = 2


@entry(named=True, keep_index=True)
def likeness(
    lessons: pd.DataFrame, columns: Sequence[str], *, weights: pd.Series | None = None
) -> pd.DataFrame:
    """Standardised differences of double-scored lessons and the rest.

    Parameters
    ----------
    lessons
        One row a lesson, with a yes/no column ``double_scored``, for example from `lesson_table`.
    columns
        What to compare them on. Numbers are compared by means; a lesson without the number is left out of
        it. Anything else is compared category by category, "not recorded" being one.
    weights
        `LessonWeights.weights`: then both sides are weighted, and a lesson without a weight is left out.

    Returns
    -------
    DataFrame
        Indexed by column and category (empty for numbers): ``mean_double_scored`` and
        ``mean_single_scored`` (shares for categories), ``value``, their difference over the root of the
        mean of both variances without weights [austin_2009], ``n_double_scored``, ``n_single_scored``,
        ``status``, ``status_note`` and ``reference``.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing; ``double_scored`` is not yes or no throughout.
    """
    double = _double(lessons, columns)
    given = np.ones(len(lessons)) if weights is None else _aligned(weights, lessons)
    rows, keys = [], []
    for column in columns:
        for category, values in _indicators(lessons[column]):
            keys.append((column, category))
            rows.append(_compared(values, double, given))
    index = pd.MultiIndex.from_tuples(keys, names=["column", "category"])
    return pd.DataFrame(rows, index=index)


@dataclass(frozen=True, slots=True)
class LessonWeights:
    """Weights that make double-scored lessons, and the rest, look like all lessons.

    Attributes
    ----------
    weights
        By observation, NaN where there is none. The share of the lesson's own side in all lessons over
        the probability of being on that side, cut at ``trim``.
    probability
        Fitted probability of being double-scored, by observation.
    n_lessons, n_double_scored
        Lessons given.
    n_not_represented
        Lessons in a category of which none is double-scored: the double-scored ones cannot speak for
        them, whatever the weights.
    n_trimmed
        Double-scored lessons whose weight was cut.
    largest_weight
        Of a double-scored lesson, before cutting.
    n_effective
        Of the double-scored lessons, how many equally weighted ones would be as sure [kish_1965].
    status, status_note
        ok, or why there are no weights.
    """

    weights: pd.Series
    probability: pd.Series
    n_lessons: int
    n_double_scored: int
    n_not_represented: int
    n_trimmed: int
    largest_weight: float
    n_effective: float
    status: Status = Status.OK
    status_note: str = ""

    def to_frame(self) -> pd.DataFrame:
        """One row: everything but the weights themselves."""
        names = (
            "n_lessons",
            "n_double_scored",
            "n_not_represented",
            "n_trimmed",
            "largest_weight",
            "n_effective",
        )
        row = {name: getattr(self, name) for name in names}
        row |= {"status": self.status.value, "status_note": self.status_note}
        return pd.DataFrame([row | {"reference": "cole_hernan_2008"}])


@entry(named=True, keep_index=True)
def inverse_probability_weights(
    lessons: pd.DataFrame, columns: Sequence[str], *, trim: float = TRIM
) -> LessonWeights:
    """Weights from a logistic model of being double-scored [cole_hernan_2008].

    Parameters
    ----------
    lessons, columns
        As in `likeness`. A missing number enters the model as the mean, beside a yes/no term that it is
        missing; a missing category is one of its own.
    trim
        Quantile of the double-scored lessons' weights at which they are cut; 1 cuts nothing.

    Returns
    -------
    LessonWeights
        Look at `likeness` with its weights, and at ``n_effective``, before using them. They mend what the
        columns record and nothing else, and intervals that use them take them as known, which for
        estimated probabilities is on the safe side as a rule.

    Raises
    ------
    ColumnError, ArgumentError
        As in `likeness`; ``trim`` is not a fraction above one half.
    """
    if not 0.5 < trim <= 1:
        raise ArgumentError(f"trim is {trim}", allowed="a fraction above 0.5, at most 1")
    double = _double(lessons, columns)
    refused = _one_sided(double)
    if refused is not None:
        return _without_weights(lessons, double, 0, *refused)
    never, always = _one_way(lessons, columns, double)
    modelled = ~never & ~always
    probability = np.where(always, 1.0, math.nan)
    if modelled.any() and double[modelled].any() and not double[modelled].all():
        fitted, status, note = _fit(_design(lessons[modelled], columns), double[modelled])
        if status is not Status.OK:
            return _without_weights(lessons, double, int(never.sum()), status, note)
        probability[modelled] = fitted
    else:
        probability[modelled] = double[modelled].mean() if modelled.any() else math.nan
    return _weights(lessons, double, never, probability, trim)


def _weights(
    lessons: pd.DataFrame, double: Flags, never: Flags, probability: Array, trim: float
) -> LessonWeights:
    share = float(double[~never].mean())
    own = np.where(double, probability, 1 - probability)
    raw = np.where(double, share, 1 - share) / own
    kept = raw.copy()
    for side in (double, ~double & ~never):
        kept[side] = _cut(raw[side], trim)
    of_double = raw[double]
    note = f"{int(never.sum())} lessons lie in categories without double-scored ones." if never.any() else ""
    return LessonWeights(
        weights=pd.Series(kept, index=lessons.index, name="weight"),
        probability=pd.Series(probability, index=lessons.index, name="probability"),
        n_lessons=len(lessons),
        n_double_scored=int(double.sum()),
        n_not_represented=int(never.sum()),
        n_trimmed=int(np.count_nonzero(of_double > kept[double])),
        largest_weight=float(of_double.max()),
        n_effective=effective_size(kept[double]),
        status_note=note,
    )


def _cut(weights: Array, trim: float) -> Array:
    """Weights no larger than their quantile at ``trim``."""
    return np.minimum(weights, np.quantile(weights, trim)) if len(weights) else weights


def effective_size(weights: Array) -> float:
    """Kish's effective number of weighted units: (sum w)^2 / sum w^2 [kish_1965]."""
    return float(weights.sum() ** 2 / (weights @ weights))


def _compared(values: Array, double: Flags, weights: Array) -> dict[str, object]:
    enters = np.isfinite(values) & np.isfinite(weights)
    sides = [enters & double, enters & ~double]
    counts = [int(side.sum()) for side in sides]
    row: dict[str, object] = {
        "mean_double_scored": math.nan,
        "mean_single_scored": math.nan,
        "value": math.nan,
        "n_double_scored": counts[0],
        "n_single_scored": counts[1],
        "status": Status.OK.value,
        "status_note": "",
        "reference": "austin_2009",
    }
    if not all(counts):
        missing = Status.NO_RECORDS if counts[0] else Status.NO_DOUBLE_SCORES
        return row | {"status": missing.value, "status_note": "One of the two sides holds no lesson."}
    means = [float(np.average(values[side], weights=weights[side])) for side in sides]
    spread = math.sqrt(sum(float(values[side].var()) for side in sides) / 2)
    row |= {"mean_double_scored": means[0], "mean_single_scored": means[1]}
    difference = means[0] - means[1]
    if spread == 0 and abs(difference) > 0:
        return row | {"status": Status.NO_SPREAD.value, "status_note": "Neither side varies."}
    return row | {"value": difference / spread if spread else 0.0}


def _indicators(column: pd.Series) -> Iterator[tuple[str, Array]]:
    """The numbers of a column, or yes/no for each of its categories."""
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        yield "", column.to_numpy(dtype=float, na_value=math.nan)
        return
    names = categories(column)
    for category in sorted(names.unique()):
        yield str(category), (names == category).to_numpy(dtype=float)


def categories(column: pd.Series) -> pd.Series:
    """The column as texts, "not recorded" where there is none."""
    return column.astype("object").where(column.notna(), NOT_RECORDED).astype("str")


def _one_way(lessons: pd.DataFrame, columns: Sequence[str], double: Flags) -> tuple[Flags, Flags]:
    """Lessons in a category of which none, or of which all, are double-scored."""
    never, always = np.zeros(len(lessons), dtype=bool), np.zeros(len(lessons), dtype=bool)
    for column in columns:
        for category, values in _indicators(lessons[column]):
            if not category:
                continue
            held = values > 0
            if not double[held].any():
                never |= held
            elif double[held].all():
                always |= held
    return never, always


def _design(lessons: pd.DataFrame, columns: Sequence[str]) -> Array:
    """Model columns: a constant, numbers in standard units, and categories but the first."""
    made = [np.ones(len(lessons))]
    for column in columns:
        terms = list(_indicators(lessons[column]))
        if terms and terms[0][0]:
            made += [values for _, values in terms[1:]]
            continue
        values = terms[0][1]
        missing = ~np.isfinite(values)
        if missing.all():
            continue
        spread = float(values[~missing].std())
        made.append(np.where(missing, 0.0, (values - values[~missing].mean()) / (spread or 1.0)))
        made += [missing.astype(float)] if missing.any() else []
    return np.column_stack(made)


def _fit(design: Array, double: Flags) -> tuple[Array, Status, str]:
    """Fitted probabilities, or why there are none."""
    import statsmodels.api as sm  # half a second, which only who asks for weights should wait

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what they say is looked at below
        fit = sm.GLM(double.astype(float), design, family=sm.families.Binomial()).fit(maxiter=100)
    fitted = np.asarray(fit.fittedvalues, dtype=float)
    if (np.abs(design @ np.asarray(fit.params)) > _FAR).any():
        return fitted, Status.SEPARATED, "The columns tell double-scored lessons without exception."
    if not fit.converged:
        return fitted, Status.NOT_CONVERGED, "The logistic model did not converge."
    return fitted, Status.OK, ""


def _one_sided(double: Flags) -> tuple[Status, str] | None:
    if double.sum() < _LEAST_DOUBLE:
        return Status.NO_DOUBLE_SCORES, "Fewer than two lessons are double-scored."
    return None


def _without_weights(
    lessons: pd.DataFrame, double: Flags, n_not_represented: int, status: Status, note: str
) -> LessonWeights:
    nothing = pd.Series(math.nan, index=lessons.index)
    return LessonWeights(
        weights=nothing.rename("weight"),
        probability=nothing.rename("probability"),
        n_lessons=len(lessons),
        n_double_scored=int(double.sum()),
        n_not_represented=n_not_represented,
        n_trimmed=0,
        largest_weight=math.nan,
        n_effective=math.nan,
        status=status,
        status_note=note,
    )


def _double(lessons: pd.DataFrame, columns: Sequence[str]) -> Flags:
    need_columns(lessons.columns, ["double_scored", *columns], where="lessons")
    if not columns:
        raise ArgumentError("no column to compare lessons on", remedy="Name one or more of the table.")
    given = lessons["double_scored"]
    if given.isna().any() or not given.isin([True, False]).all():
        raise ArgumentError(
            "a lesson is neither double-scored nor not", where="lessons, column 'double_scored'"
        )
    return given.to_numpy(dtype=bool)


def _aligned(weights: pd.Series, lessons: pd.DataFrame) -> Array:
    if not lessons.index.isin(weights.index).all() or weights.index.has_duplicates:
        raise ArgumentError(
            "the weights are not those of these lessons", remedy="Make them from the same table."
        )
    return weights.reindex(lessons.index).to_numpy(dtype=float)
