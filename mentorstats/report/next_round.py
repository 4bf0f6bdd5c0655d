"""Section: how many lessons to double-score next time."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.next_round import ALL, FLOOR, HALF_WIDTH, MIDDLE, POWER
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.model import BOUNDS, STATUS, Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.role_agreement import NO_PAIRS
from mentorstats.report.small_groups import blank
from mentorstats.report.spread import versions

QUESTION = "How many lessons should be double-scored next time?"
SCENARIOS = {"as_estimated": "as estimated", "careful": "0.10 higher, to be safe"}


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.next_round.needed`."""
    if found.empty:
        return Section(key="next-round", question=QUESTION, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    width, floor, power = (policy.value(name) for name in (HALF_WIDTH, FLOOR, POWER))
    percent = f"{number(power, 'share')}\N{NO-BREAK SPACE}%"
    table = blank(_table(found, width, floor, percent), policy.rule("minimum_group_size"))
    return Section(
        key="next-round",
        question=QUESTION,
        answer=_answer(table.data, width, floor, percent),
        tables=(table,),
        method=(
            "Reckoned from what was found this time: weighted kappa, how often each pair of levels was "
            "given, the pairs of ratings of a candidate, and how alike the pairs of one candidate are in "
            "disagreeing (their intracluster correlation). It is taken that a candidate has as many "
            "double-scored lessons next time, and the interval is the one used here. The correlation is "
            "estimated without an interval, so each line has a second one with a higher value. “One "
            "criterion” is the one whose kappa lies in the middle of its version.",
            f"The policy asks for an interval of at most ±{width:g}, and for a probability of {percent} that "
            f"the interval shows kappa above {floor:g}. Where kappa is not above that, no number of "
            "lessons can show it: agreement itself would have to rise.",
        ),
        references=("fleiss_cohen_everitt_1969", "kish_1965"),
        caution=("A plan is as good as its guesses: other lessons or other raters may agree otherwise.",),
    )


def _table(found: pd.DataFrame, width: float, floor: float, percent: str) -> Table:
    data = found.reset_index()
    data["version"] = [
        wording.version(rubric, version)
        for rubric, version in zip(data["rubric"], data["rubric_version"], strict=True)
    ]
    data["planned"] = data["planned_for"].map({MIDDLE: "One criterion", ALL: "All criteria together"})
    data["planned_words"] = data["criterion"]
    data["correlation_is"] = data["scenario"].map(SCENARIOS)
    data["value" + STATUS] = data["half_width" + STATUS] = data["status"]
    data["correlation" + STATUS] = data["status"]
    for name in ("value", "half_width", "correlation"):
        data[[name + bound for bound in BOUNDS]] = float("nan")
    for name in ("n_lessons_half_width", "n_lessons_floor"):
        data[name] = ["none is enough" if pd.isna(n) else f"{n:,}" for n in data[name]]
    return Table(
        key="next-round-table",
        title="Double-scored lessons needed",
        data=data,
        labels={
            "version": "Rubric version",
            "planned": "For kappa of",
            "n_candidates": "Candidates",
            "n_lessons": "Lessons this time",
            "value": "Weighted kappa",
            "correlation_is": "Correlation of disagreement",
            "correlation": "Taken as",
            "half_width": "Half-width to expect of as many",
            "n_lessons_half_width": f"Lessons for ±{width:g}",
            "n_lessons_floor": f"Lessons to show kappa above {floor:g} ({percent})",
        },
        units={
            "n_candidates": "people",
            "n_lessons": "lessons",
            "value": "coefficient",
            "correlation": "unit_interval",
            "half_width": "half_width",
        },
        group_columns=("version", "planned"),
        count_columns=("n_candidates", "n_lessons"),
        statistic_columns=("value", "correlation", "half_width"),
        references=("fleiss_cohen_everitt_1969",),
    )


def _answer(data: pd.DataFrame, width: float, floor: float, percent: str) -> str:
    told = []
    for rubric, version, rows in versions(data):
        of = rows[(rows["planned_for"] == MIDDLE) & rows["value"].notna()].set_index("scenario")
        if of.empty:
            continue
        row, careful = (of.loc[name].to_dict() for name in SCENARIOS)
        enough, safe = row["n_lessons_half_width"], careful["n_lessons_half_width"]
        if enough == "none is enough":
            said = "no number of lessons is enough"
        else:
            said = f"about {enough} ({safe} to be safe; this time {count(int(row['n_lessons']), 'lesson')})"
        if row["value"] <= floor:
            above = f"kappa is not above {floor:g}, so more lessons cannot show that it is"
        else:
            above = f"to show it above {floor:g} with a probability of {percent}, {row['n_lessons_floor']}"
        told.append(f"Under {wording.version(rubric, version)} {said}; {above}.")
    if not told:
        return "No version has enough candidates, or disagreements, to plan from."
    return f"For an interval of ±{width:g} around weighted kappa of one criterion: {' '.join(told)}"
