"""Section: which few records more would answer what these could not."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.report.columns import STATUS, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.programme.cohorts import NAMES

WHAT = {
    "link": "Lessons rated by a rater of another {single}",
    "candidates": "More candidates in each {single}, on the way to deciding on one difference",
    "lessons": "More lessons of each candidate",
    "late": "Lessons late in the placement, one for each placement without",
    "rechecks": "Scores of expert-scored lessons, two a year by each rater",
}
MEASURE = {
    "link": "Half-width of the interval of a {single}, levels",
    "candidates": "Half-width of the interval of the difference, levels",
    "lessons": "Reliability of a candidate's change, 0 to 1",
    "late": "Share of completed placements with a late lesson",
    "rechecks": "Bound on a drift that all raters share; known once they are there",
}
ABOUT = partial(
    Section,
    key="next-records",
    name="what to record next",
    question="Which records would answer what these could not?",
)


def section(found: pd.DataFrame) -> Section:
    """Build the section from `mentorstats.programme.what_next`."""
    if found.empty:
        return ABOUT(answer="Nothing is left open that a few records more would answer.")
    words = [dict(zip(("single", "several"), NAMES.get(by, ("", "")), strict=True)) for by in found["by"]]
    data = found.assign(
        what=[WHAT[about].format(**told) for about, told in zip(found["about"], words, strict=True)],
        measure=[MEASURE[about].format(**told) for about, told in zip(found["about"], words, strict=True)],
    )
    data["then" + STATUS] = data["status"]
    data["now" + STATUS] = data["status"]
    return ABOUT(
        answer=f"{count(len(found), 'kind')} of records would answer more. The table says how many of each "
        "are needed, and what they would change.",
        main=("records-wanted",),
        tables=(
            Table(
                key="records-wanted",
                title="The smallest change in records for each open question",
                data=data,
                columns=(
                    group("what", "Records"),
                    counted("n", "How many"),
                    text("measure", "What would change"),
                    statistic("now", "Now", "square"),
                    statistic("then", "Expected then", "square"),
                ),
            ),
        ),
        method=(
            "Two lessons join a group with another one and keep them joined if one is lost. Half-widths fall "
            "with the root of the number of candidates, if candidates vary as now; the difference itself is "
            "taken to stay where it is. The reliability with twice as many lessons is Spearman and Brown's.",
        ),
        references=("spearman_1910", "brown_1910"),
    )
