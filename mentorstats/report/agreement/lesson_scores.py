"""Section: how far apart the mentor's and the supervisor's scores of a lesson are."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NEEDS_PAIRS, NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate, number

NAMES = {
    "mean_difference": statistic("mean", "Mean difference", "levels"),
    "lower_limit": statistic("lower", "Lower limit of agreement", "levels"),
    "upper_limit": statistic("upper", "Upper limit of agreement", "levels"),
    "kendall_w": statistic("order", "Kendall's W", "zero_one"),
}
ABOUT = partial(
    Section,
    key="lesson-scores",
    name="scores of a lesson",
    question="How far apart are mentors' and supervisors' scores of a lesson?",
)


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.between_roles.lesson_agreement`."""
    if found.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    table = _totals(found)
    return ABOUT(
        answer=_answer(table.data, policy.rule("minimum_group_size")),
        tables=(table,),
        method=(
            "A score is the mean level, counted 1, 2, 3, …, over the criteria that both raters of a lesson "
            "rated. Limits of agreement are the mean difference and 1.96 standard deviations to either side: "
            "95 of 100 differences lie between them if they are normal. Intervals are between candidates, "
            "with Student's t.",
            "Kendall's W compares the order of the two scores of each lesson, corrected for ties: 1 where "
            "both roles order the lessons equally, about 0.5 where their orders are unrelated, 0 where they "
            "are opposite. It has no interval.",
        ),
        references=("bland_altman_1999", "kendall_smith_1939", "liang_zeger_1986"),
    )


def _totals(found: pd.DataFrame) -> Table:
    rows = []
    for rubric, version, part in versions(found.reset_index()):
        of = part.set_index("coefficient")
        row: dict[str, object] = {
            "rubric": rubric,
            "rubric_version": version,
            "version": wording.version(rubric, version),
            "n_units": of.loc["mean_difference", "n_units"],
            "n_clusters": of.loc["mean_difference", "n_clusters"],
        }
        for coefficient, column in NAMES.items():
            sources = zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True)
            row |= {column.name + end: of.loc[coefficient].get(source) for end, source in sources}
        rows.append(row)
    data = pd.DataFrame(rows).astype(dict.fromkeys(("n_units", "n_clusters"), "Int64"))
    return Table(
        key="lesson-scores-table",
        title="Mentor's score of a lesson minus supervisor's",
        data=data,
        columns=(
            group("version", "Rubric version"),
            counted("n_units", "Pairs of scores", "pairs"),
            counted("n_clusters", "Candidates", "people"),
            *NAMES.values(),
        ),
        references=("bland_altman_1999", "kendall_smith_1939"),
    )


def _answer(data: pd.DataFrame, minimum: Rule) -> str:
    rows = wording.newest_first(data[data["lower"].notna()], "n_units", minimum)
    shown = [row for row in rows.values() if minimum.met(row["n_clusters"])]
    if not shown:
        return "No rubric version has enough candidates with lessons scored by both roles."
    row = shown[0]
    mean = estimate(row["mean"], row["mean_low"], row["mean_high"], "levels")
    return (
        f"Under {row['version']}, the mentor's score of a lesson differs from the supervisor's by {mean} "
        f"levels on average. In 95 of 100 lessons the difference is between {number(row['lower'], 'levels')} "
        f"and {number(row['upper'], 'levels')} levels."
    )
