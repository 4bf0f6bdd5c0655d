"""Section: whether raters stay as far from the key as they were, each alone and all together."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from mentorstats.calibration import ControlCharts, average_run_length
from mentorstats.estimate import Status
from mentorstats.key_scores.control_charts import FEWEST_DAYS, LIMITS, SMOOTHING, WIDTH
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic, text
from mentorstats.report.figures import run_chart
from mentorstats.report.model import Figure, Section, Table
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank

QUESTION = "Do raters stay as close to the key as they were?"
MOST_FIGURES = 6
MEASURES = {
    "bias": ("Distance of each rater from the key over time", "Above the key, on average", "levels"),
    "exact": ("Share of each rater's ratings at the key level over time", "Same level as the key", "share"),
}
TERMS = {
    "within raters": "each rater apart",
    "within raters and recordings": "each rater and each recording apart",
}
NO_RECORDS = (
    "Nobody's ratings of key-scored recordings are in the records. Without them the mean drift of all raters "
    "cannot be told from the mean change of candidates. The table key_ratings would fill this section: the "
    "same raters, a few recordings each month, in an order of their own."
)


def section(charts: ControlCharts | None, trend: pd.DataFrame | None, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    charts
        From `mentorstats.calibration.control_charts` with its usual settings; None without key-scored
        recordings.
    trend
        From `mentorstats.calibration.key_trend`, without groups.
    """
    if charts is None or trend is None or charts.runs.empty:
        return Section(key="key-drift", question=QUESTION, answer=NO_RECORDS, status=Status.NO_RECORDS)
    minimum = policy.rule("minimum_group_size")
    signals = _signalling(charts)
    tables = [blank(_trend(trend), minimum), *(_runs(charts, measure) for measure in MEASURES)]
    if signals:
        tables.append(_points(charts, signals))
    return Section(
        key="key-drift",
        question=QUESTION,
        answer=f"{_answer(charts)} {_all_raters(tables[0])}",
        tables=tuple(tables),
        figures=tuple(_figure(charts, rater) for rater in signals[:MOST_FIGURES]),
        method=_method(),
        references=("shewhart_1931", "roberts_1959", "lucas_saccucci_1990", "liang_zeger_1986"),
        caution=(
            "A signal is a reason to look at the recordings of that day and to talk. Charts of many raters "
            "give some signals by chance alone; how many is said above. It is no ranking of raters and no "
            "sole basis for a decision about a person.",
            "The key is itself a judgement of experts, and a recording is not a lesson in a school that the "
            "rater knows.",
        ),
    )


def _signalling(charts: ControlCharts) -> list[str]:
    """Raters with a signal in the bias, in the order of their codes."""
    bias = charts.runs[charts.runs["measure"] == "bias"]
    return [str(name) for name in bias.loc[bias["first_signal"].notna(), "rater"]]


def _answer(charts: ControlCharts) -> str:
    runs = charts.runs
    raters = runs["rater"].nunique()
    charted = runs[runs["status"] == Status.OK.value]
    who = f"Of {count(raters, 'rater')} with key-scored recordings"
    if charted.empty:
        return f"{who}, none scored on {FEWEST_DAYS} days or more, so that none can be followed over time."
    signals = int(charted["first_signal"].notna().sum())
    return (
        f"{who}, {charted['rater'].nunique()} scored on {FEWEST_DAYS} days or more. Of their "
        f"{count(len(charted), 'chart')} {signals} gave a signal; "
        f"{number(float(charted['p_false_any'].sum()), 'distance')} would be expected by chance alone."
    )


def _all_raters(table: Table) -> str:
    known = table.data[table.data["trend"].notna()]
    start = "The mean drift of all raters"
    if (table.data["trend" + STATUS] == Status.TOO_FEW_TO_SHOW.value).any():
        return f"{start} is not shown, because too few scored recordings."
    if known.empty:
        return f"{start} cannot be told from these recordings."
    row = known.iloc[-1]
    if math.isnan(row["trend_low"]):
        return f"{start} has no interval: too few raters scored on several days."
    found = estimate(row["trend"], row["trend_low"], row["trend_high"], "levels")
    return f"{start} is {found} levels in ten weeks."


def _method() -> tuple[str, ...]:
    still = number(average_run_length(SMOOTHING, WIDTH), "number")
    return (
        "One value a recording: the mean over its criteria of level less key level, and the share at the key "
        "level. Recordings of one day make one point. Each rater has two charts for each: days alone, with "
        f"limits {LIMITS:g} errors from the rater's own mean, and a weighted mean of all days so far (weight "
        f"{SMOOTHING:g} on the newest) with limits {WIDTH:g} of its errors away, which sees slow change. The "
        "error comes from how much recordings of one rater differ, over all raters; criteria of one "
        "recording go together.",
        "Steady change is best seen by the slope of a rater's days; its error comes from the same spread.",
        "The weighted mean of a rater who does not change leaves its limits once in "
        f"{still} days in the long run. The probability of a false signal in a run as long as the rater's is "
        "simulated, from all raters' departures from their own means; a rater who varies more than the "
        "others has false signals more often.",
        "The charts show change, not bias: their middle is the rater's own mean over the whole time, so that "
        "after a change earlier days may lie outside as well as later ones. Mean drift is the slope of "
        "the distance from the key over time, every rater having a level of its own, with errors between "
        "raters. Where recordings came in a different order to different raters, every recording has a level "
        "of its own too; otherwise harder recordings later on look like drift.",
    )


def _trend(trend: pd.DataFrame) -> Table:
    data = trend.reset_index()
    data["how"] = data["term"].map(TERMS)
    for suffix, source in zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True):
        data["trend" + suffix] = data[source]
    return Table(
        key="key-drift-mean",
        title="Mean drift of all raters on key-scored recordings",
        data=data,
        columns=(
            group("how", "Slope over time"),
            counted("n_raters", "Raters", "raters"),
            counted("n_units", "Recordings scored", "number"),
            statistic("trend", "In ten weeks", "levels"),
        ),
        note="Below zero: raters become stricter.",
        references=("liang_zeger_1986",),
    )


def _runs(charts: ControlCharts, measure: str) -> Table:
    runs = charts.runs[charts.runs["measure"] == measure].reset_index(drop=True)
    data = runs[["rater", "n_recordings", "n_points"]].copy()
    data["mean"] = runs["centre"]
    for suffix, source in zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True):
        data["slope" + suffix] = runs[source]
    data["signals"] = [_signals(row) for _, row in runs.iterrows()]
    data["chance"] = runs["p_false_any"]
    data["chance" + STATUS] = runs["status"]
    title, mean, unit = MEASURES[measure]
    return Table(
        key=f"key-drift-{measure}",
        title=title,
        data=data,
        columns=(
            group("rater", "Rater"),
            counted("n_recordings", "Recordings", "number"),
            counted("n_points", "Days", "number"),
            statistic("mean", mean, unit),
            statistic("slope", "Change in ten weeks", "points" if unit == "share" else unit),
            text("signals", "Signals"),
            statistic("chance", "Chance of a false signal", "share"),
        ),
        references=("roberts_1959", "shewhart_1931"),
    )


def _signals(row: pd.Series) -> str:
    if row["status"] != Status.OK.value:
        return "not charted"
    if pd.isna(row["first_signal"]):
        return "none"
    days, smoothed = int(row["n_signals"]), int(row["n_smoothed_signals"])
    told = [f"{count(days, 'day')} alone"] * bool(days) + [
        f"weighted mean on {count(smoothed, 'day')}"
    ] * bool(smoothed)
    return f"{wording.listed(told)}, first {row['first_signal'].date().isoformat()}"


def _points(charts: ControlCharts, raters: list[str]) -> Table:
    points = charts.points
    chosen = points[points["rater"].isin(raters) & (points["measure"] == "bias")].reset_index(drop=True)
    data = chosen[["rater", "n_recordings"]].copy()
    data["day"] = [day.date().isoformat() for day in chosen["date"]]
    for name in ("value", "smoothed"):
        data[name] = chosen[name]
        for limit in ("low", "high"):
            data[f"{name}_{limit}"] = chosen[limit if name == "value" else f"smoothed_{limit}"]
    outside = chosen["signal"] | chosen["smoothed_signal"]
    data["outside"] = outside.map({True: "outside", False: ""})
    return Table(
        key="key-drift-days",
        title="Days of the raters with a signal in their distance from the key",
        data=data,
        columns=(
            group("rater", "Rater"),
            group("day", "Day"),
            counted("n_recordings", "Recordings", "number"),
            statistic("value", "Above the key", "levels"),
            statistic("smoothed", "Weighted mean so far", "levels"),
            text("outside", "Limits"),
        ),
        note="In brackets the limits, not an interval.",
        references=("roberts_1959",),
    )


def _figure(charts: ControlCharts, rater: str) -> Figure:
    own = charts.points[(charts.points["rater"] == rater) & (charts.points["measure"] == "bias")]
    run = charts.runs[(charts.runs["rater"] == rater) & (charts.runs["measure"] == "bias")].iloc[0]
    first, last = (float(own["smoothed"].iloc[place]) for place in (0, -1))
    return Figure(
        key=wording.key("key-drift-chart", rater),
        title=f"Rater {rater}: distance from the key over time",
        draw=partial(run_chart.over_time, points=own, centre=float(run["centre"])),
        alt=(
            f"{count(len(own), 'day')} with key-scored recordings. The weighted mean goes from "
            f"{number(first, 'levels')} to {number(last, 'levels')} levels above the key, about the rater's "
            f"own mean of {number(float(run['centre']), 'levels')}; signals: {_signals(run)}. Dots are days, "
            "filled where a limit is passed; the line is the weighted mean, dashed its limits, thin those of "
            "a day."
        ),
        table="key-drift-days",
    )
