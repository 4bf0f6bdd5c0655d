"""Section: with whom to talk, and about what."""

from __future__ import annotations

import pandas as pd

from mentorstats.calibration.talks import Talks
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.small_groups import blank

QUESTION = "With which raters should somebody talk, and about what?"


def section(found: Talks, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.talks`.
    """
    families = found.families
    if not families["n_raters"].sum():
        answer = "No call is made on any rater: the tables above say why."
        return Section(key="talks", question=QUESTION, answer=answer, status=Status.NOT_IDENTIFIED)
    return Section(
        key="talks",
        question=QUESTION,
        answer=_answer(found),
        tables=(blank(_marks(found.marks), policy.rule("minimum_group_size")), _families(families)),
        method=(
            "A rater is marked for an effect where two things hold: the unshrunken difference from the "
            "raters of the role passes Benjamini and Hochberg's procedure among the raters of that role and "
            f"effect at q = {policy.value('calls_q'):g}, and its whole interval lies beyond the smallest "
            "effect of interest, which is the programme's to set. Marks by chance are those expected in "
            "each line if no rater differed at all.",
            "Effects overlap: a rater whose severity changes over the weeks also looks alike within lessons, "
            "and one who rates the criteria alike also spreads less. Look at severity and drift first.",
        ),
        references=("benjamini_hochberg_1995", "dempster_1959"),
        caution=(
            "A mark is a reason to look at ratings together and to talk. It is no finding about a person, no "
            "ranking, and no sole basis for a decision: the programme's own policy, local rules and the "
            "judgement of those licensed to make it come first. The rater may be the one who is right.",
            "That somebody is not marked does not mean that nothing is there: few ratings show little.",
        ),
    )


def _answer(found: Talks) -> str:
    chance = float(found.families["marks_by_chance"].sum())
    raters = found.marks[["rater", "rater_role"]].drop_duplicates()
    if raters.empty:
        return f"Nobody is marked on any effect; chance alone would make {chance:.1f} marks."
    marks = count(len(found.marks), "mark", "marks")
    people = count(len(raters), "rater", "raters")
    return (
        f"{marks} on {people}; chance alone would make {chance:.1f} marks if no rater differed in anything."
    )


def _marks(marks: pd.DataFrame) -> Table:
    return Table(
        key="talks-marks",
        title="Raters to talk with",
        data=marks,
        labels={
            "rater_role": "Role",
            "rater": "Rater",
            "n_candidates": "Candidates",
            "about": "Effect",
            "words": "In words: the rater …",
            "value": "Difference from the role",
        },
        units={"n_candidates": "people", "value": "difference"},
        group_columns=("rater_role", "rater", "about"),
        count_columns=("n_candidates",),
        statistic_columns=("value",),
        note="In order of code. The difference is in the unit of the effect, given in the next table.",
    )


def _families(families: pd.DataFrame) -> Table:
    units = {
        "severity": "levels",
        "drift over weeks": "levels in ten weeks",
        "central tendency": "1 less 1 over the stretch of cut-points",
        "range restriction": "ratio of spreads, less 1",
        "halo": "correlation within a lesson's form",
        "fit by information": "ratio to what is expected, less 1",
    }
    return Table(
        key="talks-families",
        title="Who was judged on what, and what chance would do",
        data=families.assign(unit=families["about"].map(units)),
        labels={
            "about": "Effect",
            "rater_role": "Role",
            "n_raters": "Raters judged",
            "n_no_call": "No call possible",
            "n_marked": "Marked",
            "marks_by_chance": "Marks by chance",
            "smallest": "Smallest effect of interest",
            "unit": "Unit",
        },
        units={
            "n_raters": "number",
            "n_no_call": "number",
            "n_marked": "number",
            "marks_by_chance": "ratio",
            "smallest": "ratio",
        },
        group_columns=("about", "rater_role", "unit"),
        count_columns=("n_raters", "n_no_call", "n_marked"),
        statistic_columns=("marks_by_chance", "smallest"),
    )
