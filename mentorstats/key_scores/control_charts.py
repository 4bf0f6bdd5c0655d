"""Does a rater's distance from the key stay what it was, recording by recording?

Per rater two charts over time, of the bias and of the share of exact ratings: each day against limits for
one day [shewhart_1931], and a weighted mean of all days so far [roberts_1959], which sees slow change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.key_scores.recordings import MEASURES, TEN_WEEKS, recordings
from mentorstats.key_scores.weighted_means import check, weighted_errors, weighted_means
from mentorstats.printed import Shown

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LIMITS = 3.0  # standard errors of a day's mean
SMOOTHING, WIDTH = 0.2, 2.962  # weight of the newest day, and limits in errors of the weighted mean
FEWEST_DAYS = 6  # common practice, no source: with fewer there is no telling change from chance
FEWEST_BETWEEN = 10  # common practice, no source: degrees of freedom of the variance that limits rest on
_RANGE = {"bias": (-math.inf, math.inf), "exact": (0.0, 1.0)}
_REFERENCE = "roberts_1959"
_SLOPE = ("value", "se", "low", "high", "p")


@dataclass(frozen=True, slots=True, repr=False)
class ControlCharts(Shown):
    """Charts of all raters.

    Attributes
    ----------
    points
        One row a rater, measure and day: rater, measure (bias, exact), date, n_recordings, n_ratings,
        value (mean over the day's recordings), low, high, signal (value outside), smoothed,
        smoothed_low, smoothed_high, smoothed_signal.
    runs
        One row a rater and measure: rater, measure, n_recordings, n_points (days), centre (the rater's
        mean), n_signals, n_smoothed_signals, first_signal (day, of either chart), p_false and
        p_false_smoothed (probability of a signal anywhere in such a run without change), p_false_any
        (in either chart); value, se, low, high, p (the rater's own slope, in levels or shares in ten weeks),
        confidence, interval_method, status, status_note, reference.
    spread
        One row a measure: measure, sd (between recordings of a rater), df, n_raters, n_recordings,
        n_left_out, status, status_note.
    """

    about_people = True

    points: pd.DataFrame
    runs: pd.DataFrame
    spread: pd.DataFrame


@entry()
def control_charts(
    key_ratings: pd.DataFrame,
    *,
    levels: Sequence[object] | None = None,
    smoothing: float = SMOOTHING,
    width: float = WIDTH,
    limits: float = LIMITS,
    confidence: float = 0.95,
    replicates: int = 2000,
    seed: int = 0,
) -> ControlCharts:
    """Chart each rater's key-scored recordings over the days on which they were scored.

    Parameters
    ----------
    key_ratings
        The table ``key_ratings`` (`key_recordings.COLUMNS`). Recordings of one day have no order and
        make one point.
    levels
        Every declared level, lowest first; required unless both level columns are ordered categoricals.
    smoothing
        Weight of the newest day in the weighted mean, above 0 to 1.
    width, limits
        Limits in standard errors: of the weighted mean, and of a day's mean.
    confidence
        Coverage of the intervals of slopes.
    replicates, seed
        Of the simulated runs.

    Returns
    -------
    ControlCharts
        A rater with fewer than `FEWEST_DAYS` days has points but no limits.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        As `key_recordings.recordings`; a setting is out of its range.

    Notes
    -----
    The centre is the rater's own mean over the whole run: the charts tell change, not bias. Limits rest on
    the variance between recordings within raters, pooled over raters: criteria of one recording go together
    and are one value. For a day of n recordings its error is σ/√n; that of the weighted mean follows from
    v_t = λ²σ²/n_t + (1 − λ)²v_{t−1}, which allows for the first days and for days of different size.
    λ = .2 with 2.962 errors is a pair that [lucas_saccucci_1990] tabulate: in the long run a false signal in
    500 days on average, about 42 days to see a lasting shift of half an error and 11 to see a whole one.

    Steady change is found best by the slope of the rater's days, whose error rests on the same variance.

    The probability of a false signal is simulated: runs with the rater's days and numbers of recordings,
    each recording drawn from all raters' departures from their own means, put about the mean of the run as
    in the chart. It is what one rater's chart does; many raters' charts give false signals the more often,
    and so do those of raters who vary more than the others, because limits are the same for all.
    """
    check(smoothing, width)
    check(smoothing, limits)
    if replicates < 1:
        raise ArgumentError(f"replicates {replicates!r}", allowed="1 or more")
    scored = recordings(key_ratings, levels=levels)
    rng = np.random.default_rng(seed)
    points, runs, spread = [], [], []
    for measure in MEASURES:
        values = scored.rows[measure].to_numpy(dtype=np.float64)
        sd, df, pool = _between(values, scored.rows["rater"])
        chart = _Chart(measure, sd, smoothing, width, limits, _few(sd, df))
        spread.append(_spread_row(chart, df, scored.rows, scored.n_left_out))
        chances: dict[tuple[int, ...], tuple[float, float, float]] = {}
        for rater, rows in scored.rows.groupby("rater", observed=True, sort=True):
            days = _days(rows, measure)
            drawn = chart.drawn(days)
            size = tuple(int(n) for n in days["n_recordings"])
            if not drawn.refused and size not in chances:
                chances[size] = chart.chances(np.array(size), pool, replicates, rng)
            points.append(drawn.points.assign(rater=str(rater)))
            run = _run_row(str(rater), drawn, chances.get(size))
            runs.append(run | _slope(drawn, sd, df, confidence))
    return ControlCharts(_points(points), _runs(runs), pd.DataFrame(spread))


def _between(values: Floats, rater: pd.Series) -> tuple[float, int, Floats]:
    """Standard deviation between recordings within raters, its df, and the departures on that scale."""
    number, _ = pd.factorize(rater)
    count = np.bincount(number)
    departures = values - (np.bincount(number, values) / np.maximum(count, 1))[number]
    df = int(len(values) - len(count))
    if df < 1:
        return math.nan, df, np.zeros(0)
    several = count[number] > 1
    widened = departures[several] * np.sqrt(count[number] / np.maximum(count[number] - 1, 1))[several]
    return math.sqrt(float(departures @ departures) / df), df, widened


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One rater's chart of one measure."""

    points: pd.DataFrame
    centre: float
    status: Status
    note: str

    @property
    def refused(self) -> bool:
        return self.status is not Status.OK


@dataclass(frozen=True, slots=True)
class _Chart:
    """How one measure is charted."""

    measure: str
    sd: float
    smoothing: float
    width: float
    limits: float
    refused: tuple[Status, str] | None

    def drawn(self, days: pd.DataFrame) -> _Drawn:
        n = days["n_recordings"].to_numpy(dtype=np.int64)
        value = days["value"].to_numpy(dtype=np.float64)
        centre = float(np.average(value, weights=n))
        status, note = self.refused or (Status.OK, "")
        if len(n) < FEWEST_DAYS:
            status = Status.TOO_FEW_CLUSTERS
            note = f"Scored on {len(n)} days; limits need {FEWEST_DAYS}."
        points = days.assign(measure=self.measure, smoothed=weighted_means(value, centre, self.smoothing))
        error, smooth_error = self.sd / np.sqrt(n), weighted_errors(n, self.sd, self.smoothing)
        for prefix, half in (("", self.limits * error), ("smoothed_", self.width * smooth_error)):
            half = half if status is Status.OK else np.full(len(n), math.nan)
            points[prefix + "low"] = np.maximum(centre - half, _RANGE[self.measure][0])
            points[prefix + "high"] = np.minimum(centre + half, _RANGE[self.measure][1])
            drawn = points["value" if not prefix else "smoothed"]
            points[prefix + "signal"] = (drawn < points[prefix + "low"]) | (drawn > points[prefix + "high"])
        return _Drawn(points, centre, status, note)

    def chances(
        self, n: Ints, pool: Floats, replicates: int, rng: np.random.Generator
    ) -> tuple[float, float, float]:
        """Share of simulated runs without change that signal: by single days, smoothed, either."""
        day = np.repeat(np.arange(len(n)), n)
        draws = rng.choice(pool, (replicates, len(day)))
        draws = draws - draws.mean(axis=1, keepdims=True)
        starts = np.concatenate([[0], np.cumsum(n)[:-1]])
        means = np.add.reduceat(draws, starts, axis=1) / n
        outside = (np.abs(means) > self.limits * self.sd / np.sqrt(n)).any(axis=1)
        half = self.width * weighted_errors(n, self.sd, self.smoothing)
        slow = (np.abs(weighted_means(means, 0.0, self.smoothing)) > half).any(axis=1)
        return float(outside.mean()), float(slow.mean()), float((outside | slow).mean())


def _few(sd: float, df: int) -> tuple[Status, str] | None:
    if df < FEWEST_BETWEEN:
        return Status.TOO_FEW_CLUSTERS, "Too few recordings to know how much they vary within raters."
    if sd == 0:
        return Status.NO_SPREAD, "No rater's recordings differ."
    return None


def _days(rows: pd.DataFrame, measure: str) -> pd.DataFrame:
    """One row a day: how many recordings, and the mean over them."""
    return rows.groupby("date", as_index=False, sort=True).agg(
        n_recordings=("recording", "size"), n_ratings=("n_ratings", "sum"), value=(measure, "mean")
    )


# Tables --------------------------------------------------------------------------------------------


def _run_row(rater: str, drawn: _Drawn, chances: tuple[float, float, float] | None) -> dict[str, object]:
    points = drawn.points
    outside = points["signal"] | points["smoothed_signal"]
    p_false, p_smoothed, p_any = chances or (math.nan, math.nan, math.nan)
    return {
        "rater": rater,
        "measure": points["measure"].iloc[0],
        "n_recordings": int(points["n_recordings"].sum()),
        "n_points": len(points),
        "centre": drawn.centre,
        "n_signals": int(points["signal"].sum()),
        "n_smoothed_signals": int(points["smoothed_signal"].sum()),
        "first_signal": points.loc[outside, "date"].min() if outside.any() else pd.NaT,
        "p_false": p_false,
        "p_false_smoothed": p_smoothed,
        "p_false_any": p_any,
        "status": drawn.status.value,
        "status_note": drawn.note,
    }


def _slope(drawn: _Drawn, sd: float, df: int, confidence: float) -> dict[str, object]:
    """The rater's own change in ten weeks, its error from the variance of all raters."""
    none: dict[str, object] = dict.fromkeys(_SLOPE, math.nan)
    none |= {"confidence": confidence, "interval_method": "none"}
    if drawn.refused:
        return none
    points = drawn.points
    n = points["n_recordings"].to_numpy(dtype=np.float64)
    time = (points["date"] - points["date"].min()).dt.total_seconds().to_numpy() / TEN_WEEKS
    about = time - np.average(time, weights=n)
    total = float(n @ about**2)
    value, se = float(n @ (about * points["value"].to_numpy())) / total, sd / math.sqrt(total)
    half = float(stats.t.ppf((1 + confidence) / 2, df)) * se
    p = 2 * float(stats.t.sf(abs(value) / se, df))
    found = zip(_SLOPE, (value, se, value - half, value + half, p), strict=True)
    return none | dict(found) | {"interval_method": "pooled_t"}


def _spread_row(chart: _Chart, df: int, rows: pd.DataFrame, n_left_out: int) -> dict[str, object]:
    status, note = chart.refused or (Status.OK, "")
    return {
        "measure": chart.measure,
        "sd": chart.sd if status is Status.OK else math.nan,
        "df": df,
        "n_raters": rows["rater"].nunique(),
        "n_recordings": len(rows),
        "n_left_out": n_left_out,
        "status": status.value,
        "status_note": note,
    }


_POINTS = (
    "rater", "measure", "date", "n_recordings", "n_ratings", "value", "low", "high", "signal",
    "smoothed", "smoothed_low", "smoothed_high", "smoothed_signal",
)  # fmt: skip
_RUNS = (
    "rater", "measure", "n_recordings", "n_points", "centre", "n_signals", "n_smoothed_signals",
    "first_signal", "p_false", "p_false_smoothed", "p_false_any", *_SLOPE, "confidence", "interval_method",
    "status", "status_note", "reference",
)  # fmt: skip


def _points(parts: list[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat(parts, ignore_index=True)[list(_POINTS)] if parts else pd.DataFrame(columns=_POINTS)


def _runs(rows: list[dict[str, object]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows).assign(reference=_REFERENCE) if rows else pd.DataFrame(columns=_RUNS)
    return frame[list(_RUNS)].sort_values(["rater", "measure"], kind="stable", ignore_index=True)
