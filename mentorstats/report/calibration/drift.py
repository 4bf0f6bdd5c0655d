"""Section: whose standards moved over the weeks, or from cycle to cycle, differently from others'."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from mentorstats.calibration import Drift
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank, raters_of_enough

QUESTION = "Do some raters become stricter or more lenient over the weeks, against the others of their role?"
SPAN = {"week": "in ten weeks", "cycle": "from cycle to cycle"}
ABOVE = "Above zero is more lenient than the middle of the role as time goes on, below zero stricter."
PERIOD = {"week": "weeks", "cycle": "cycles"}


def section(
    weeks: Drift, policy: Policy, *, cycles: Drift | None = None, trend: pd.DataFrame | None = None
) -> Section:
    """Build the section.

    Parameters
    ----------
    weeks, cycles
        From `mentorstats.calibration.drift_between`, over weeks and over cycles.
    trend
        From `mentorstats.calibration.key_trend`, without groups; None without key-scored recordings.
    """
    if weeks.raters.empty:
        return Section(
            key="drift",
            question=QUESTION,
            answer="No ratings are in the records, so this cannot be told.",
            status=Status.NO_RECORDS,
        )
    minimum = policy.rule("minimum_group_size")
    tables = [_roles(weeks, "week")]
    if cycles is not None and cycles.raters["contrast"].notna().any():
        tables.append(_roles(cycles, "cycle"))
    tables = [blank(table, minimum) for table in tables]
    for role in weeks.roles["rater_role"]:
        raters = raters_of_enough(_raters(str(role), weeks, cycles), minimum)
        if len(raters.data):
            tables.append(raters)
        else:
            left_out = raters.note.removeprefix(ABOVE).strip()
            note = f"{wording.sentence(str(role))}s: {left_out}"
            tables[0] = replace(tables[0], note=f"{tables[0].note} {note}".strip())
    return Section(
        key="drift",
        question=QUESTION,
        answer=" ".join([*_answers(weeks.roles, minimum), _mean(trend, minimum)]),
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
            "A drift is a reason to look at the lessons and to talk. It is no ranking of raters and no sole "
            "basis for a decision about a person; the programme's own policy and local rules come first.",
            "A rater whose candidates happen to change differently looks like one who drifts. The model lets "
            "candidates differ in their change, but takes them to have come to raters as if at random.",
            "Power is low for small drift: that no difference was found does not say that there is none. In "
            "a study of 458 teachers raters' standards moved most in the first days, and the raters did not "
            "come together later.",
        ),
    )


def _answers(roles: pd.DataFrame, minimum: Rule) -> list[str]:
    return [_answer(row, minimum) for _, row in roles.iterrows()]


def _answer(row: pd.Series, minimum: Rule) -> str:
    role = f"{wording.sentence(str(row['rater_role']))}s"
    if not has_value(Status(row["status"])):
        note = str(row["status_note"])
        return f"{role}: differences in drift cannot be told. {note}".strip()
    n = int(row["n_raters"])
    if not minimum.met(n):
        return f"{role}: not shown, fewer than {minimum.value:g} raters."
    found = estimate(row["sd_level"], row["sd_level_low"], row["sd_level_high"], "distance")
    beyond = row["p"] < 1 - row["confidence"]
    verdict = (
        "they differ in their drift, beyond chance" if beyond else "no difference in drift beyond chance"
    )
    return (
        f"{role} ({count(n, 'rater')}): {verdict}. The standard deviation of their drifts in ten weeks is "
        f"{found} levels; in a rater with the usual number of lessons a drift of "
        f"{number(row['detectable'], 'distance')} levels would be found four times in five."
    )


def _mean(trend: pd.DataFrame | None, minimum: Rule) -> str:
    start = "How far all raters drift together cannot be seen in ratings of lessons"
    known = None if trend is None else trend[trend["value"].notna()]
    if known is None or known.empty:
        return f"{start}; key-scored recordings over the year would show it."
    row = known.iloc[-1]
    if not minimum.met(int(row["n_raters"])):
        return f"{start}; on key-scored recordings it is not shown, fewer than {minimum.value:g} raters."
    if math.isnan(row["low"]):
        return f"{start}, and too few raters scored recordings with a key on several days."
    found = estimate(row["value"], row["low"], row["high"], "levels")
    return f"{start}; on key-scored recordings it is {found} levels in ten weeks."


def _method(roles: pd.DataFrame) -> tuple[str, ...]:
    size = number(float(roles["confidence"].iloc[0]), "share")
    return (
        "Each rater's ratings get a slope over the weeks of the placement, counted from the middle of the "
        "rater's own, in the ordinal model of all ratings, where candidates differ in their change, lessons "
        "and raters in their level. All slopes enter by one step from the one fit, which was not made again. "
        "The mean of a role is taken out: ratings that fall because all raters become stricter look like "
        "those of candidates who improve less, so that the mean drift of raters cannot be told from the mean "
        f"change of candidates. Intervals cover {size} %.",
        "Against the middle of the role stands what the rater's own lessons say; shrunken stands the same "
        "drawn towards the middle, as far as the spread between raters and the rater's number of lessons "
        "warrant. How far raters differ is estimated by moments, its interval comes from Cochran's Q and may "
        "begin at zero. Levels are those of a middling candidate.",
        "Change over weeks is that within a cycle; from cycle to cycle is the change of a rater who served "
        "in several. A rater who rated in fewer than three weeks, or in one cycle, has no value.",
        "The drift that would be found four times in five is that of one test at the level of the interval; "
        "where many raters are tested it has to be larger.",
    )


def _roles(found: Drift, per: str) -> Table:
    data = found.roles.copy()
    data["role"] = [wording.sentence(f"{name}s") for name in data["rater_role"]]
    for name in ("n_lessons", "n_periods"):
        data[name] = data[name].round().astype("Int64")
    data["sd_level" + STATUS] = data["status"]
    data["detectable" + BOUNDS[0]] = data["detectable" + BOUNDS[1]] = math.nan
    data["detectable" + STATUS] = [Status.OK.value if has_value(Status(s)) else s for s in data["status"]]
    return Table(
        key=f"drift-roles-{per}",
        title=f"How far raters of a role differ in their drift {SPAN[per]}",
        data=data,
        columns=(
            group("role", "Role"),
            counted("n_raters", "Raters", "raters"),
            counted("n_lessons", "Lessons of a rater, middle", "lessons"),
            counted("n_periods", f"{wording.sentence(PERIOD[per])} of a rater, middle", "number"),
            statistic("sd_level", f"Standard deviation of drift {SPAN[per]}", "distance"),
            statistic("detectable", "Found four times in five", "distance"),
        ),
        references=("viechtbauer_2007",),
    )


def _raters(role: str, weeks: Drift, cycles: Drift | None) -> Table:
    data = _of_role(weeks, role)
    columns = {"contrast": "Drift in ten weeks against the middle", "shrunken": "The same, shrunken"}
    if cycles is not None:
        theirs = _of_role(cycles, role).set_index("rater").add_prefix("cycle_")
        data = data.join(theirs, on="rater")
        columns["cycle_contrast"] = "From cycle to cycle, against the middle"
    return Table(
        key=wording.key("drift-raters", role),
        title=f"{wording.sentence(role)}s, in the order of their codes",
        data=data,
        labels={"rater": "Rater", "n_lessons": "Lessons", "n_periods": "Weeks", **columns},
        units={"n_lessons": "lessons", "n_periods": "number", **dict.fromkeys(columns, "levels")},
        group_columns=("rater",),
        count_columns=("n_lessons", "n_periods"),
        statistic_columns=tuple(columns),
        note=ABOVE,
        references=("rao_1948",),
        folded=True,
    )


def _of_role(found: Drift, role: str) -> pd.DataFrame:
    rows = found.raters[found.raters["rater_role"] == role].reset_index(drop=True)
    data = rows[["rater", "n_candidates", "n_lessons", "n_periods"]].copy()
    for name, source in (("contrast", "contrast_level"), ("shrunken", "effect_level")):
        for bound in ("", *BOUNDS):
            data[name + bound] = rows[source + bound]
    data["shrunken" + STATUS] = rows["status"]
    fine = rows["contrast"].notna()
    data["contrast" + STATUS] = rows["status"].mask(fine, Status.OK.value)
    return data
