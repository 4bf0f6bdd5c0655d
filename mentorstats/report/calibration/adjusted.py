"""Section: what candidates' scores would be with a rater of average severity."""

from __future__ import annotations

import math
from datetime import date
from functools import partial

import pandas as pd

from mentorstats.calibration.raters.adjusted import Adjusted
from mentorstats.calibration.raters.assignment import LOW_POWER
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import carried, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

CUT = "candidate_cut"
RESULTS = (
    statistic("shift_sd", "Effect of raters (root mean square)", "distance"),
    statistic("sem", "Standard error of the adjusted score", "distance"),
    statistic("correlation", "Correlation with the recorded score", "coefficient"),
)
DECISIONS = (
    statistic("n_changed", "Decisions that would differ", "number"),
    statistic("n_changed_by_raters", "Due to raters alone, without shrinkage", "number"),
    statistic("n_within_sem", "Within a standard error of the cut", "number"),
)
ABOUT = partial(
    Section,
    key="adjusted-scores",
    name="scores adjusted for severity",
    question="What would scores be with a rater of average severity?",
)


def cut(policy: Policy) -> float | None:
    """The programme's cut for a candidate's mean score in ranks; None unless its policy sets one."""
    today = date.today()
    rules = [rule for rule in policy.rules if rule.id == CUT and rule.in_force(today)]
    if not rules or all(math.isnan(rule.value) for rule in rules):
        return None
    return policy.value(CUT)


def section(found: Adjusted, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.adjusted_scores`.
    """
    if found.summary.empty:
        nothing = "No candidate has ratings from which this could be estimated."
        return ABOUT(
            answer=nothing, status=Status.NO_RECORDS, needs="ratings of candidates with a rater and a level"
        )
    status = Status(found.summary["status"].iloc[0])
    if not has_value(status):
        why = str(found.summary["status_note"].iloc[0])
        more = (LOW_POWER,) if status is Status.ASSIGNMENT_NOT_IGNORABLE else ()
        return ABOUT(answer=f"Withheld. {why}", detail=more, status=status)
    told = _sentences(found.summary, policy.rule("minimum_group_size"))
    return ABOUT(
        answer=told[0] if told else "No rubric version has enough candidates to say.",
        detail=tuple(told[1:]),
        tables=(_table(found.summary),),
        method=(
            "The adjusted score is the mean level, counted 1, 2, 3, …, that the base model expects of a "
            "candidate over all criteria of the version with equal weight, at the mean week, in the "
            "candidate's own cycle. Raters' effects are zero, the mean of their role; roles are averaged as "
            "often as they rated in the programme, and lessons are averaged over. Candidates' effects are "
            "shrunken, so scores based on few ratings are closer to the cycle's mean; that alone moves some "
            "across a cut score. The standard error is that of all effects and fixed terms together (delta "
            "method). The effect of raters is the expected mean of the ratings that a candidate received "
            "minus what raters of average severity would have given.",
        ),
        references=("henderson_1975",),
        caution=(
            "An adjusted score never replaces a recorded one. It assumes that candidates were assigned to "
            "raters as if at random, that severity is the same for all candidates and, between separate "
            "networks, that raters are equally severe on average.",
        ),
    )


def _sentences(summary: pd.DataFrame, minimum: Rule) -> list[str]:
    """What raters did to scores, two sentences a version, newest first."""
    rows = summary[summary["correlation"].notna()].assign(n_clusters=summary["n_candidates"])
    told = []
    for (rubric, number_), row in wording.newest_first(rows, "n_ratings", minimum).items():
        if not minimum.met(row["n_candidates"]):
            continue
        text = (
            f"Under {wording.version(rubric, number_)}, raters moved a candidate's mean by "
            f"{number(row['shift_sd'], 'distance')} levels (root mean square); its standard error is "
            f"{number(row['sem'], 'distance')}."
        )
        if not pd.isna(row["n_changed"]):
            text += (
                f" At a cut of {number(row['cut'], 'plain')}, {int(row['n_changed'])} of "
                f"{count(int(row['n_candidates']), 'decision')} would differ."
            )
        told.append(text)
    return told


def _table(summary: pd.DataFrame) -> Table:
    columns = RESULTS + (DECISIONS if summary["n_changed"].notna().any() else ())
    data = summary[["n_candidates", "n_ratings"]].assign(version=wording.versions_named(summary))
    data = data.join(carried(summary, {column.name: column.name for column in columns}))
    return Table(
        key="adjusted-scores-versions",
        title="Scores expected with a rater of average severity, compared with those recorded",
        data=data,
        columns=(
            group("version", "Rubric version"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_ratings", "Ratings", "ratings"),
            *columns,
        ),
        note="In Python, calibration.adjusted_scores(…).scores has each candidate's score and interval.",
        references=("henderson_1975",),
    )
