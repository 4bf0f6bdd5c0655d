"""Section: with whom to talk, and about what."""

from __future__ import annotations

import pandas as pd

from mentorstats.calibration.follow_up import Talks
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate

UNITS = {
    "severity": "levels",
    "drift over weeks": "levels in ten weeks",
    "central tendency": "share of the way to the middle",
    "range restriction": "ratio of spreads, less 1",
    "halo": "correlation within a lesson's form",
    "fit by information": "ratio to what is expected, less 1",
}
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
        tables=(_marks(found, policy.rule("minimum_group_size")), _families(families)),
        method=(
            "A rater is marked for an effect where two things hold: the unshrunken difference from the "
            "raters of the role passes Benjamini and Hochberg's procedure among the raters of that role and "
            f"effect at q = {policy.value('calls_q'):g}, and its whole interval lies beyond the smallest "
            "effect of interest, which is the programme's to set. Marks by chance are those expected in "
            "each line if no rater differed at all.",
            f"A rater is judged who rated at least {policy.value('calls_candidates'):g} candidates and "
            f"{policy.value('calls_lessons'):g} lessons; both numbers are conventions. Others are counted "
            "and not named.",
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
    effects = found.marks["about"].value_counts(sort=False)
    about = ", ".join(f"{effect} {n}" for effect, n in effects.items())
    return (
        f"{marks} on {people} ({about}); chance alone would make {chance:.1f} marks if no rater differed in "
        "anything."
    )


def _marks(found: Talks, minimum: Rule) -> Table:
    """Marks of raters of enough candidates; how many others are marked, without codes."""
    marks = found.marks
    enough = marks["n_candidates"].map(minimum.met).to_numpy(dtype=bool)
    data = marks[enough].reset_index(drop=True)
    data["size"] = [
        estimate(row["value"], row["low"], row["high"], "difference") for row in data.to_dict("records")
    ]
    data["unit"] = data["about"].map(UNITS)
    return Table(
        key="talks-marks",
        title="Raters to talk with",
        data=data,
        labels={
            "rater_role": "Role",
            "rater": "Rater",
            "n_candidates": "Candidates",
            "about": "Effect",
            "words": "In words: the rater …",
            "size": "Difference from the role, not shrunken",
            "unit": "Unit",
        },
        units={"n_candidates": "people"},
        group_columns=("rater_role", "rater", "about", "words", "size", "unit"),
        count_columns=("n_candidates",),
        note=f"In order of role and code. {_unlisted(marks[~enough], minimum)}".strip(),
    )


def _unlisted(few: pd.DataFrame, minimum: Rule) -> str:
    if few.empty:
        return ""
    told = [f"{about}: {len(rows)}" for about, rows in few.groupby("about", sort=False)]
    people = few[["rater", "rater_role"]].drop_duplicates()
    return (
        f"Marked too, but not listed: {count(len(people), 'rater')} of fewer than {minimum.value:g} "
        f"candidates ({', '.join(told)})."
    )


def _families(families: pd.DataFrame) -> Table:
    return Table(
        key="talks-families",
        title="Who was judged on what, and what chance would do",
        data=families.assign(unit=families["about"].map(UNITS)),
        labels={
            "about": "Effect",
            "rater_role": "Role",
            "n_raters": "Raters judged",
            "n_no_call": "Not assessed",
            "n_too_few": "of these too few to assess",
            "n_marked": "Marked",
            "marks_by_chance": "Marks by chance",
            "smallest": "Smallest effect of interest",
            "unit": "Unit",
        },
        units={
            "n_raters": "number",
            "n_no_call": "number",
            "n_too_few": "number",
            "n_marked": "number",
            "marks_by_chance": "ratio",
            "smallest": "ratio",
        },
        group_columns=("about", "rater_role", "unit"),
        count_columns=("n_raters", "n_no_call", "n_too_few", "n_marked"),
        statistic_columns=("marks_by_chance", "smallest"),
    )
