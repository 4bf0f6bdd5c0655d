"""Section: how many lessons to double-score next time."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.reading.next_round import ALL, CAREFUL, FLOOR, HALF_WIDTH, MIDDLE, POWER
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank

QUESTION = "How many lessons should be double-scored next time?"
NONE = "none is enough"
SCENARIOS = ("as_estimated", "careful")


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
    data["value" + STATUS] = data["half_width" + STATUS] = data["status"]
    data["correlation" + STATUS] = data["status"]
    for name in ("value", "half_width", "correlation"):
        data[[name + bound for bound in BOUNDS]] = float("nan")
    for name in ("n_lessons_half_width", "n_lessons_floor"):
        data[name] = [NONE if pd.isna(n) else f"{n:,}" for n in data[name]]
    return Table(
        key="next-round-table",
        title="Double-scored lessons needed",
        data=data,
        columns=(
            group("version", "Rubric version"),
            group("planned", "For kappa of"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Lessons this time", "lessons"),
            statistic("value", "Weighted kappa", "coefficient"),
            statistic("correlation", "Correlation of disagreement", "zero_one"),
            statistic("half_width", "Half-width with as many", "half_width"),
            text("n_lessons_half_width", f"Lessons for ±{width:g}"),
            text("n_lessons_floor", f"Lessons to show kappa above {floor:g} ({percent})"),
        ),
        note=f"The second line of each pair takes the correlation {CAREFUL:.2f} higher than estimated, to be safe.",
        references=("fleiss_cohen_everitt_1969",),
    )


def _answer(data: pd.DataFrame, width: float, floor: float, percent: str) -> str:
    widths, floors, below = [], [], []
    for rubric, version, rows in versions(data):
        of = rows[(rows["planned_for"] == MIDDLE) & rows["value"].notna()].set_index("scenario")
        if of.empty:
            continue
        row, careful = (of.loc[name].to_dict() for name in SCENARIOS)
        under = f"under {wording.version(rubric, version)}"
        this_time = f"this time {count(int(row['n_lessons']), 'lesson')}"
        if row["n_lessons_half_width"] == NONE:
            widths.append(f"more than can be had {under}")
        else:
            safe = f"{careful['n_lessons_half_width']} to be safe; {this_time}"
            widths.append(f"about {row['n_lessons_half_width']} {under} ({safe})")
        if row["value"] > floor:
            floors.append(f"about {row['n_lessons_floor']} {under}")
        else:
            below.append(under)
    if not widths:
        return "No version has enough candidates, or disagreements, to plan from."
    told = [
        f"Double-scored lessons for an interval of ±{width:g} around weighted kappa of one criterion: "
        f"{wording.listed(widths)}."
    ]
    if floors:
        told.append(
            f"To show kappa above {floor:g} with a probability of {percent}: {wording.listed(floors)}."
        )
    if below:
        told.append(
            f"{wording.sentence(wording.listed(below))} kappa as estimated is not above {floor:g}, so more "
            "lessons will hardly show that it is."
        )
    return " ".join(told)
