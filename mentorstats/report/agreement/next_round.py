"""Section: how many lessons to double-score next time."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.reading.next_round import ALL, CAREFUL, FLOOR, HALF_WIDTH, MIDDLE, POWER
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NEEDS_PAIRS, NO_PAIRS
from mentorstats.report.columns import STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

LESSONS = ("n_lessons_half_width", "n_lessons_floor")
ABOUT = partial(
    Section,
    key="next-round",
    name="double-scoring next time",
    question="How many lessons should be double-scored next time?",
)


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.next_round.needed`."""
    if found.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    width, floor, power = (policy.value(name) for name in (HALF_WIDTH, FLOOR, POWER))
    percent = f"{number(power, 'share')}\N{NO-BREAK SPACE}%"
    data = _data(found)
    return ABOUT(
        answer=_answer(data, width, policy.rule("minimum_group_size")),
        detail=_floor(data, floor, percent, policy.rule("minimum_group_size")),
        tables=(_table(data, width, floor, percent),),
        method=(
            "Computed from what was found this time: weighted kappa, how often each pair of levels was "
            "given, the number of pairs per candidate, and the intracluster correlation of disagreement "
            "within candidates. Candidates are assumed to have as many double-scored lessons next time. The "
            "correlation is estimated without an interval, so each row is followed by a cautious one with a "
            "higher correlation. “One criterion” is the one whose kappa is the median of its version.",
            f"The policy asks for an interval of at most ±{width:g}, and for a probability of {percent} that "
            f"the interval shows kappa above {floor:g}. Where kappa is not above that, no number of lessons "
            "can show it: agreement itself would have to improve.",
        ),
        references=("fleiss_cohen_everitt_1969", "kish_1965"),
        caution=("Other lessons or other raters may agree more or less than these did.",),
    )


def _data(found: pd.DataFrame) -> pd.DataFrame:
    data = found.reset_index()
    data["version"] = wording.versions_named(data)
    data["planned"] = data["planned_for"].map({MIDDLE: "One criterion", ALL: "All criteria together"})
    data["planned_words"] = data["criterion"]
    data["n_clusters"] = data["n_candidates"]
    for name in ("value", "half_width", "correlation"):
        data[name + STATUS] = data["status"]
    return data


def _table(data: pd.DataFrame, width: float, floor: float, percent: str) -> Table:
    return Table(
        key="next-round-table",
        title="Double-scored lessons needed",
        data=data,
        columns=(
            group("version", "Rubric version"),
            group("planned", "For kappa of"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Double-scored lessons this time", "lessons"),
            statistic("value", "Weighted kappa", "coefficient"),
            statistic("correlation", "Intracluster correlation of disagreement", "zero_one"),
            statistic("half_width", "Precision at the current number (±)", "half_width"),
            statistic("n_lessons_half_width", f"Lessons for ±{width:g}", "lessons"),
            statistic("n_lessons_floor", f"Lessons to show kappa above {floor:g} ({percent})", "lessons"),
        ),
        note=f"The second row of each pair is cautious: its correlation is {CAREFUL:.2f} higher than "
        "estimated.",
        references=("fleiss_cohen_everitt_1969",),
    )


def _median_criterion(data: pd.DataFrame, minimum: Rule) -> pd.DataFrame:
    """Rows of the median criterion that may be shown, newest version first, by version and scenario."""
    rows = data[
        (data["planned_for"] == MIDDLE) & data["value"].notna() & data["n_candidates"].map(minimum.met)
    ]
    if rows.empty:
        return rows.set_index(["version", "scenario"])
    order = [wording.version(*key) for key in wording.newest_first(rows, "n_lessons", minimum)]
    return rows.set_index(["version", "scenario"]).loc[order]


def _answer(data: pd.DataFrame, width: float, minimum: Rule) -> str:
    rows = _median_criterion(data, minimum)
    if rows.empty:
        return "No rubric version has enough candidates, or disagreements, to plan from."
    version = rows.index[0][0]
    row, cautious = (rows.loc[(version, name)] for name in ("as_estimated", "careful"))
    this_time = f"This time there were {count(int(row['n_lessons']), 'lesson')}."
    if pd.isna(row["n_lessons_half_width"]):
        return (
            f"Under {version}, an interval of ±{width:g} around kappa of one criterion is not reachable at "
            f"this level of agreement. {this_time}"
        )
    at_most = cautious["n_lessons_half_width"]
    safe = "" if pd.isna(at_most) else f", or {int(at_most):,} to be cautious"
    return (
        f"Under {version}, about {count(int(row['n_lessons_half_width']), 'lesson')}{safe}, would give an "
        f"interval of ±{width:g} around weighted kappa of one criterion. {this_time}"
    )


def _floor(data: pd.DataFrame, floor: float, percent: str, minimum: Rule) -> tuple[str, ...]:
    """What it would take to show kappa above the floor, a sentence a version."""
    rows = _median_criterion(data, minimum)
    told = []
    for version, scenario in rows.index:
        row = rows.loc[(version, scenario)]
        if scenario != "as_estimated":
            continue
        if row["value"] <= floor:
            told.append(
                f"Under {version}, weighted kappa as estimated is not above {floor:g}, so more lessons are "
                "unlikely to show that it is."
            )
        elif pd.isna(row["n_lessons_floor"]):
            told.append(
                f"Under {version}, showing kappa above {floor:g} is not reachable at this level of agreement."
            )
        else:
            told.append(
                f"Under {version}, showing kappa above {floor:g} with a probability of {percent} would take "
                f"about {count(int(row['n_lessons_floor']), 'lesson')}."
            )
    return (" ".join(told),) if told else ()
