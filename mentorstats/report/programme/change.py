"""Section: how rated levels change over the placement, and for how many candidates beyond error."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.axes import Axes

from mentorstats.drawings.band import curve_with_band
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.programme.change import Change
from mentorstats.report import wording
from mentorstats.report.columns import STATUS, counted, group, statistic, text
from mentorstats.report.model import Figure, Section, Table
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.programme.cohorts import linked_versions

PERCENT = "\N{NO-BREAK SPACE}%"
ABOUT = partial(
    Section,
    key="change",
    name="change in rated level",
    question="How do rated levels change over the placement?",
)


def section(found: Change, policy: Policy, breaks: pd.DataFrame | None = None) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.programme.rated_change`.
    breaks
        From `mentorstats.records.crosswalk.breaks`.
    """
    row, minimum = found.total.iloc[0], policy.rule("minimum_group_size")
    if not has_value(Status(row["status"])):
        return ABOUT(
            answer=f"Change cannot be estimated. {row['status_note']}".strip(),
            status=Status(row["status"]),
            needs="lessons in several weeks, with the first day of each placement",
        )
    if not minimum.met(int(row["n_candidates"])):
        few = f"Not shown, because there are fewer than {minimum.value:g} candidates."
        return ABOUT(answer=few, status=Status.TOO_FEW_TO_SHOW)
    return ABOUT(
        answer=_answer(found),
        detail=tuple(_detail(found, minimum.value)),
        main=("change-moments", "change-curve"),
        tables=(_moments(found), _weeks(found), _criteria(found), _candidates(found)),
        figures=(
            Figure(
                key="change-curve",
                title="Expected level over the weeks of the placement",
                draw=_draw,
                alt="A curve of the expected level by week of the placement, with a band for its interval. "
                "The table of weeks has the same numbers.",
                table="change-weeks",
            ),
        ),
        method=_method(policy),
        references=("jacobson_truax_1991", "holm_1979", "tierney_kadane_1986"),
        caution=(
            "Raters may drift too. If all of them became more lenient over the weeks, rated levels would "
            "rise without any change in teaching. Only lessons scored again by experts would show that.",
            "Candidates who start low tend to be rated closer to the mean later, and candidates near the "
            "highest level have little room above them. Both make changes of single candidates look smaller "
            "or larger than they are.",
            *linked_versions(breaks),
        ),
    )


def _answer(found: Change) -> str:
    row = found.total.iloc[0]
    moved = estimate(row["value"], row["low"], row["high"], "levels")
    start, end = (_at(found, name) for name in ("start", "end"))
    reach = [f"{number(one['reach'], 'share')}{PERCENT}" for one in (start, end)]
    return (
        f"From week {start['week']} to week {end['week']}, the expected level changed by {moved} levels. "
        f"The probability of a rating at the target level or above was {reach[0]} at first and {reach[1]} "
        "at the end."
    )


def _at(found: Change, moment: str) -> pd.Series:
    return found.curve[found.curve["moment"] == moment].iloc[0]


def _detail(found: Change, minimum: float) -> list[str]:
    said = []
    slopes, reliable = found.slopes.iloc[0], found.reliable.iloc[0]
    if slopes["status"] == Status.OK:
        said.append(
            "Between candidates, the change from start to end has a standard deviation of "
            f"{number(slopes['sd'], 'distance')} levels. One candidate's change is estimated with a "
            f"reliability of {number(slopes['reliability'], 'zero_one')}, where 1 would be without error."
        )
    elif slopes["status"] == Status.BOUNDARY:
        said.append("The records show no difference between candidates in how much they change.")
    n = int(reliable["n_candidates"])
    if reliable["status"] == Status.OK and n >= minimum:
        up, down = int(reliable["n_up"]), int(reliable["n_down"])
        said.append(
            f"{count(n, 'candidate')} {'was' if n == 1 else 'were'} rated in the first and the last third. "
            f"The rise is beyond its error for {up or 'none'} of them, the fall for {down or 'none'}. "
            "If nobody had changed, "
            f"about {number(reliable['n_expected'], 'few')} of each would be expected."
        )
    return said


def _moments(found: Change) -> Table:
    names = {"start": "Start", "middle": "Middle", "end": "End"}
    rows = found.curve[found.curve["moment"] != ""]
    data = rows.assign(at=rows["moment"].map(names))
    return Table(
        key="change-moments",
        title="Expected level and probability of the target, at three moments",
        data=data.reset_index(drop=True),
        columns=(
            group("at", "Moment"),
            counted("week", "Week"),
            statistic("value", "Expected level", "distance"),
            statistic("reach", "Probability of the target level or above", "share"),
        ),
    )


def _weeks(found: Change) -> Table:
    return Table(
        key="change-weeks",
        title="Expected level and probability of the target, by week",
        data=found.curve,
        columns=(
            counted("week", "Week"),
            statistic("value", "Expected level", "distance"),
            statistic("reach", "Probability of the target level or above", "share"),
        ),
    )


def _draw(axes: Axes, data: pd.DataFrame) -> None:
    curve_with_band(axes, data, x="week", xlabel="week of the placement", ylabel="expected level")


def _criteria(found: Change) -> Table:
    data = found.criteria.reset_index().rename(columns={"low": "value_low", "high": "value_high"})
    data["version"] = wording.versions_named(data)
    for name in ("start", "end", "value", "p_adjusted"):
        data[name + STATUS] = data["status"]
    return Table(
        key="change-criteria",
        title="Change in rated level from start to end, by criterion",
        data=data,
        columns=(
            group("criterion", "Criterion"),
            text("version", "Rubric"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("start", "Level at the start", "distance"),
            statistic("end", "Level at the end", "distance"),
            statistic("value", "Change", "levels"),
            statistic("p_adjusted", "p, adjusted for all", "p_value"),
        ),
        references=("holm_1979",),
    )


def _candidates(found: Change) -> Table:
    data = found.reliable.assign(what="First to last third of the weeks")
    for name in ("n_up", "n_down"):
        data[name] = data[name].astype("Int64")
    for name in ("n_expected", "sem"):
        data[name + STATUS] = data["status"]
    return Table(
        key="change-candidates",
        title="Candidates whose rated level changed by more than its error",
        data=data,
        columns=(
            group("what", "Change"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_up", "Rise beyond error"),
            counted("n_down", "Fall beyond error"),
            statistic("n_expected", "Expected of each if nobody changed", "few"),
            statistic("sem", "Median standard error of a change", "distance"),
        ),
        note="The error includes that of lessons and raters.",
        references=("jacobson_truax_1991",),
    )


def _method(policy: Policy) -> tuple[str, ...]:
    return (
        "The model is that of the comparison of cycles and sites: candidates differ in level and in change "
        "over weeks, each criterion has its own change, and raters and lessons differ. Start and end are the "
        "weeks below and above which one lesson in twenty lies, so that no week is beyond the records.",
        f"The target is level {policy.value('target_rank'):g}, counted from the lowest. Expected levels and "
        "probabilities are averaged over candidates, lessons, raters and criteria. Change is linear over "
        "weeks on the scale of the model.",
        "The reliability of change is one minus the mean error variance of the candidates' estimated changes "
        "over the variance of true changes. It has no interval.",
        "A candidate's mean level in the last third is compared with that in the first third. Its standard "
        "error adds up the variances of raters, lessons, raters' criteria and single ratings; a rater who "
        "came early and late cancels. A change beyond the interval about zero counts as beyond error.",
    )
