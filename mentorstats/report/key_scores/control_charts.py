"""Section: whether raters' accuracy against expert scores changes over time, one by one and together."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from mentorstats.drawings import run_chart
from mentorstats.estimate import Status
from mentorstats.key_scores.control_charts import FEWEST_DAYS, LIMITS, SMOOTHING, WIDTH, ControlCharts
from mentorstats.key_scores.weighted_means import average_run_length
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import STATUS, carried, counted, group, statistic, text
from mentorstats.report.model import Concern, Figure, Finding, Section, Table
from mentorstats.report.numbers import count, estimate, number

QUESTION = "Do raters stay as close to the key as they were?"
MOST_FIGURES = 6
MEASURES = {
    "bias": ("Difference of each rater from the expert score over time", "Mean difference", "levels"),
    "exact": ("Exact agreement of each rater with the expert score over time", "Exact agreement", "share"),
}
TERMS = {
    "within raters": "adjusted for raters",
    "within raters and recordings": "adjusted for raters and recordings",
}
ABOUT = partial(
    Section,
    key="key-drift",
    name="accuracy over time",
    question="Does raters' accuracy against expert scores change over time?",
)
NEEDS = "the table key_ratings: the same raters and a few recordings each month, in an order of their own"


def section(
    charts: ControlCharts | None,
    trend: pd.DataFrame | None,
    policy: Policy,
    breaks: pd.DataFrame | None = None,
) -> Section:
    """Build the section.

    Parameters
    ----------
    charts
        From `mentorstats.key_scores.control_charts` with its usual settings; None without recordings scored
        by experts.
    trend
        From `mentorstats.key_scores.key_trend`, without groups.
    breaks
        From `mentorstats.records.crosswalk.breaks`, of the recordings' own ratings.
    """
    if charts is None or trend is None or charts.runs.empty:
        nothing = (
            "Without expert scores, a drift that all raters share cannot be distinguished from a change in "
            "candidates."
        )
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs=NEEDS)
    signals = _signalling(charts)
    mean = _trend(trend)
    days = (_points(charts, signals),) if signals else ()
    return ABOUT(
        answer=f"{_answer(charts)} {_all_raters(mean, policy.rule('minimum_group_size'))}",
        tables=(mean, *(_runs(charts, measure) for measure in MEASURES), *days),
        figures=tuple(_figure(charts, rater) for rater in signals[:MOST_FIGURES]),
        findings=_findings(charts, signals),
        method=_method(),
        references=("shewhart_1931", "roberts_1959", "lucas_saccucci_1990", "liang_zeger_1986"),
        caution=(
            "A signal is a reason to look at the recordings of that day with the rater. Charts of many "
            "raters give some signals by chance alone.",
            *wording.breaks(breaks),
        ),
    )


def _signalling(charts: ControlCharts) -> list[str]:
    """Raters with a signal in the bias, in the order of their codes."""
    bias = charts.runs[charts.runs["measure"] == "bias"]
    return [str(name) for name in bias.loc[bias["first_signal"].notna(), "rater"]]


def _expected(charts: ControlCharts) -> str:
    charted = charts.runs[charts.runs["status"] == Status.OK.value]
    return number(float(charted["p_false_any"].sum()), "few")


def _answer(charts: ControlCharts) -> str:
    charted = charts.runs[charts.runs["status"] == Status.OK.value]
    if charted.empty:
        return (
            f"No rater scored recordings on {FEWEST_DAYS} days or more, so nobody can be followed over time."
        )
    signals = int(charted["first_signal"].notna().sum())
    return (
        f"{count(signals, 'chart')} of {len(charted):,} gave a signal; about {_expected(charts)} would be "
        "expected by chance."
    )


def _findings(charts: ControlCharts, signals: list[str]) -> tuple[Finding, ...]:
    if not signals:
        return ()
    raters = charts.runs["rater"].nunique()
    return (
        Finding(
            concern=Concern.RATERS_FLAGGED,
            what=f"The accuracy of {len(signals)} of {count(raters, 'rater')} changed over time.",
            how_sure=f"Over all charts about {_expected(charts)} signals would be expected by chance.",
            action="Go through the recordings of those days with the raters; the appendix has the charts.",
            concerns="raters with recordings scored by experts",
        ),
    )


def _all_raters(table: Table, minimum: Rule) -> str:
    known = table.data[table.data["trend"].notna()]
    start = "The mean drift of all raters"
    if known.empty:
        return f"{start} cannot be estimated from these recordings."
    row = known.iloc[-1]
    if not minimum.met(row["n_raters"]):
        return f"{start} is not shown, because too few raters scored recordings."
    if math.isnan(row["trend_low"]):
        return f"{start} has no interval: too few raters scored on several days."
    found = estimate(row["trend"], row["trend_low"], row["trend_high"], "levels")
    return f"{start} is {found} levels in ten weeks."


def _method() -> tuple[str, ...]:
    still = number(average_run_length(SMOOTHING, WIDTH), "number")
    return (
        "Each recording gives one value: the mean over its criteria of level minus expert level, and the "
        "share of exact agreement. Recordings of one day make one point. Each rater has two charts for each: "
        f"single days, with limits {LIMITS:g} standard errors from the rater's own mean, and an "
        f"exponentially weighted mean of all days so far (weight {SMOOTHING:g} on the newest) with limits of "
        f"{WIDTH:g} standard errors, which is sensitive to slow change. The standard error comes from how "
        "much recordings of one rater differ, pooled over raters; the criteria of one recording are a "
        "cluster.",
        "Steady change is best seen in the slope of a rater's days; its standard error has the same source.",
        f"The weighted mean of a rater who does not change leaves its limits about once in {still} days. The "
        "probability of a false signal in a run as long as the rater's is simulated from all raters' "
        "departures from their own means; a rater who varies more than the others has false signals more "
        "often.",
        "The charts show change, not bias: their centre is the rater's own mean over the whole time, so "
        "after a change earlier days may be outside as well as later ones. Mean drift is the slope of the "
        "difference from the expert score over time, adjusted for raters, with standard errors between "
        "raters. Where recordings came in a different order to different raters it is adjusted for "
        "recordings too; otherwise harder recordings later on look like drift.",
    )


def _trend(trend: pd.DataFrame) -> Table:
    data = trend.reset_index()
    data["how"] = data["term"].map(TERMS)
    named = data.rename(columns={"low": "value_low", "high": "value_high"})
    data = data.join(carried(named, {"value": "trend"}))
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
    named = runs.rename(columns={"low": "value_low", "high": "value_high"})
    data = data.join(carried(named, {"value": "slope"}))
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
        people=True,
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
        title="Days of the raters with a signal in their difference from the expert score",
        data=data,
        columns=(
            group("rater", "Rater"),
            group("day", "Day"),
            counted("n_recordings", "Recordings", "number"),
            statistic("value", "Difference from the expert score", "levels"),
            statistic("smoothed", "Weighted mean so far", "levels"),
            text("outside", "Limits"),
        ),
        note="In brackets the limits of the chart, not an interval.",
        references=("roberts_1959",),
        people=True,
    )


def _figure(charts: ControlCharts, rater: str) -> Figure:
    own = charts.points[(charts.points["rater"] == rater) & (charts.points["measure"] == "bias")]
    run = charts.runs[(charts.runs["rater"] == rater) & (charts.runs["measure"] == "bias")].iloc[0]
    first, last = (float(own["smoothed"].iloc[place]) for place in (0, -1))
    return Figure(
        key=wording.key("key-drift-chart", rater),
        title=f"Rater {rater}: difference from the expert score over time",
        draw=lambda axes, _: run_chart.over_time(axes, points=own, centre=float(run["centre"])),
        alt=(
            f"{count(len(own), 'day')} with recordings scored by experts. The weighted mean starts at "
            f"{number(first, 'levels')} and ends at {number(last, 'levels')} levels; the rater's own mean is "
            f"{number(float(run['centre']), 'levels')}. Signals: {_signals(run)}. Dots are days, filled "
            "outside the limits; the line is the weighted mean, dashed lines its limits, thin lines those of "
            "a day."
        ),
        table="key-drift-days",
    )
