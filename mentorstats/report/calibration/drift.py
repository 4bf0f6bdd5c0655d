"""Section: whether raters become stricter or more lenient over weeks or cycles, compared with their role."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from mentorstats.calibration import Drift
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import STATUS, carried, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate, number

SPAN = {"week": "in ten weeks", "cycle": "from cycle to cycle"}
PERIOD = {"week": "weeks", "cycle": "cycles"}
ABOUT = partial(
    Section,
    key="drift",
    name="drift over weeks and cycles",
    question="Do some raters become stricter or more lenient over time?",
)


def section(
    weeks: Drift,
    cycles: Drift | None,
    trend: pd.DataFrame | None,
    policy: Policy,
    breaks: pd.DataFrame | None = None,
) -> Section:
    """Build the section.

    Parameters
    ----------
    weeks, cycles
        From `mentorstats.calibration.drift_between`, over weeks and over cycles.
    trend
        From `mentorstats.key_scores.key_trend`, without groups; None without recordings scored by experts.
    breaks
        From `mentorstats.records.crosswalk.breaks`.
    """
    if weeks.raters.empty:
        nothing = "No ratings are in the records."
        return ABOUT(
            answer=nothing, status=Status.NO_RECORDS, needs="ratings with a rater, a level and a date"
        )
    minimum = policy.rule("minimum_group_size")
    tables = [_roles(weeks, "week")]
    if cycles is not None and cycles.raters["contrast"].notna().any():
        tables.append(_roles(cycles, "cycle"))
    tables += [_raters(str(role), weeks, cycles) for role in weeks.roles["rater_role"]]
    return ABOUT(
        answer=" ".join(_answer(row, minimum) for _, row in weeks.roles.iterrows()),
        detail=(*_sizes(weeks.roles, minimum), _mean(trend, minimum)),
        tables=tuple(tables),
        method=_method(weeks.roles),
        references=(
            "rao_1948",
            "paule_mandel_1982",
            "viechtbauer_2007",
            "cochran_1954",
            "casabianca_2015",
        ),
        caution=(
            "A rater whose candidates happen to change differently looks like one who drifts. The model lets "
            "candidates differ in their change but assumes that they were assigned to raters as if at "
            "random.",
            "Power for small drift is low, so finding no difference does not show that there is none. In a "
            "study of 458 teachers raters' standards changed most in the first days and did not converge "
            "later.",
            *wording.breaks(breaks),
        ),
    )


def _answer(row: pd.Series, minimum: Rule) -> str:
    role = wording.sentence(wording.raters_of(str(row["rater_role"])))
    if not has_value(Status(row["status"])):
        return f"For {role.lower()}, differences in drift cannot be estimated."
    if not minimum.met(int(row["n_raters"])):
        return f"{role} are too few to show."
    if row["p"] < 1 - row["confidence"]:
        found = estimate(row["sd_level"], row["sd_level_low"], row["sd_level_high"], "distance")
        return f"{role} differ in drift, by a standard deviation of {found} levels in ten weeks."
    return f"{role} show no clear differences in drift."


def _sizes(roles: pd.DataFrame, minimum: Rule) -> tuple[str, ...]:
    """What could have been found, a sentence a role; why not where it could not be estimated."""
    told = []
    for _, row in roles.iterrows():
        role = wording.raters_of(str(row["rater_role"]))
        if not has_value(Status(row["status"])):
            told.append(f"{wording.sentence(role)}: {row['status_note']}".strip().rstrip(":"))
        elif minimum.met(int(row["n_raters"])):
            told.append(
                f"For a typical one of the {role}, the smallest drift detectable with 80\N{NO-BREAK SPACE}% "
                f"power is {number(row['detectable'], 'distance')} levels in ten weeks."
            )
    return (" ".join(told),) if told else ()


def _mean(trend: pd.DataFrame | None, minimum: Rule) -> str:
    start = "A drift that all raters share cannot be seen in ratings of lessons"
    known = None if trend is None else trend[trend["value"].notna()]
    if known is None or known.empty:
        return f"{start}; recordings scored by experts over the year would show it."
    row = known.iloc[-1]
    if not minimum.met(int(row["n_raters"])) or math.isnan(row["low"]):
        return f"{start}, and too few raters scored recordings with expert scores on several days."
    found = estimate(row["value"], row["low"], row["high"], "levels")
    return f"{start}. On recordings with expert scores it is {found} levels in ten weeks."


def _method(roles: pd.DataFrame) -> tuple[str, ...]:
    size = number(float(roles["confidence"].iloc[0]), "share")
    return (
        "Each rater's ratings get a slope over the weeks of the placement, centred at the rater's own mean "
        "week, in the ordinal model of all ratings, in which candidates differ in change and lessons and "
        "raters in level. All slopes enter by one Newton step from the one fit; the model is not fitted "
        "again. The mean of a role is removed, because ratings that fall as all raters become stricter look "
        f"like those of candidates who improve less. Intervals cover {size}\N{NO-BREAK SPACE}%.",
        "The unshrunken drift is estimated from the rater's own lessons, as a difference from the mean of "
        "the role. The shrunken drift is closer to that mean, the more so the fewer the lessons and the "
        "smaller the variance between raters. That variance is estimated by moments; its interval comes from "
        "Cochran's Q and may begin at zero. Levels are those of an average candidate.",
        "Change over weeks is within a cycle; change from cycle to cycle is that of raters who served in "
        "several. A rater who rated in fewer than three weeks, or in one cycle, has no value.",
        "The smallest detectable drift is that of one test at the level of the interval; where many raters "
        "are tested it is larger.",
    )


def _roles(found: Drift, per: str) -> Table:
    data = found.roles.copy()
    data["role"] = [wording.sentence(wording.raters_of(str(name))) for name in data["rater_role"]]
    for name in ("n_lessons", "n_periods"):
        data[name] = data[name].round().astype("Int64")
    data["sd_level" + STATUS] = data["status"]
    data["detectable" + STATUS] = [Status.OK.value if has_value(Status(s)) else s for s in data["status"]]
    return Table(
        key=f"drift-roles-{per}",
        title=f"Differences in drift {SPAN[per]}, by role",
        data=data,
        columns=(
            group("role", "Role"),
            counted("n_raters", "Raters", "raters"),
            counted("n_lessons", "Median lessons of a rater", "lessons"),
            counted("n_periods", f"Median {PERIOD[per]} of a rater", "number"),
            statistic("sd_level", f"Standard deviation of drift {SPAN[per]}", "distance"),
            statistic("detectable", "Smallest drift detectable with 80 % power", "distance"),
        ),
        references=("viechtbauer_2007",),
    )


def _raters(role: str, weeks: Drift, cycles: Drift | None) -> Table:
    data = _of_role(weeks, role)
    columns = [
        statistic("contrast", "Drift in ten weeks, unshrunken", "levels"),
        statistic("shrunken", "Drift in ten weeks, shrunken", "levels"),
    ]
    if cycles is not None:
        theirs = _of_role(cycles, role).set_index("rater").add_prefix("cycle_")
        data = data.join(theirs, on="rater")
        columns.append(statistic("cycle_contrast", "From cycle to cycle, unshrunken", "levels"))
    return Table(
        key=wording.key("drift-raters", role),
        title=f"Drift of {wording.raters_of(role)}, in the order of their codes",
        data=data,
        columns=(
            group("rater", "Rater"),
            counted("n_lessons", "Lessons", "lessons"),
            counted("n_periods", "Weeks", "number"),
            *columns,
        ),
        note="Compared with the mean of the role. Above zero: more lenient as time goes on; below "
        "zero: stricter.",
        references=("rao_1948",),
        people=True,
    )


def _of_role(found: Drift, role: str) -> pd.DataFrame:
    rows = found.raters[found.raters["rater_role"] == role].reset_index(drop=True)
    known = rows["status"].mask(rows["contrast"].notna(), Status.OK.value)
    data = rows[["rater", "n_candidates", "n_lessons", "n_periods"]]
    shown = carried(
        rows.assign(contrast_level_status=known), {"contrast_level": "contrast", "effect_level": "shrunken"}
    )
    return data.join(shown)
