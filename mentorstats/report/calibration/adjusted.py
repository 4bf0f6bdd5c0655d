"""Section: what candidates' scores would be with a middling rater."""

from __future__ import annotations

import math
from datetime import date

import pandas as pd

from mentorstats.calibration.raters.adjusted import Adjusted
from mentorstats.calibration.raters.assignment import LOW_POWER
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import STATUS
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank

QUESTION = "How would scores look if a middling rater had come?"
NO_RECORDS = "No candidate has ratings from which this could be told."
CUT = "candidate_cut"


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
        return Section(key="adjusted-scores", question=QUESTION, answer=NO_RECORDS, status=Status.NO_RECORDS)
    status = Status(found.summary["status"].iloc[0])
    if not has_value(status):
        why = found.summary["status_note"].iloc[0]
        more = f" {LOW_POWER}" if status is Status.ASSIGNMENT_NOT_IGNORABLE else ""
        return Section(
            key="adjusted-scores", question=QUESTION, answer=f"Withheld. {why}{more}", status=status
        )
    table = blank(_table(found.summary), policy.rule("minimum_group_size"))
    return Section(
        key="adjusted-scores",
        question=QUESTION,
        answer=_answer(found.summary, table.data),
        tables=(table,),
        method=(
            "Expected with a middling rater: the mean level, counted 1, 2, 3, …, that the base fit expects "
            "of a candidate over all criteria of the version, each counted alike, at the mean week, in the "
            "candidate's own cycle; raters' effects are zero, the middle of their role, roles are averaged "
            "as often as they rated in the programme, and lessons are averaged over. Candidates' effects are "
            "shrunken, so with few ratings scores lie nearer to the cycle's mean: that alone moves some "
            "across a cut. The standard error is that of all effects and fixed terms together (delta "
            "method). What raters did is the expected mean of the ratings that a candidate got, less what "
            "middling raters would have given.",
        ),
        references=("henderson_1975",),
        caution=(
            "For monitoring only: an adjusted score never replaces a recorded one. It rests on candidates "
            "having come to raters as if at random, on severity being the same for all candidates, and, "
            "between separate networks, on raters being alike on average. It is no sole basis for a "
            "decision about a person; the programme's policy and local rules decide.",
        ),
    )


def _answer(summary: pd.DataFrame, shown: pd.DataFrame) -> str:
    told = []
    for (_, row), visible in zip(summary.iterrows(), shown["correlation" + STATUS], strict=True):
        if visible == Status.TOO_FEW_TO_SHOW or pd.isna(row["correlation"]):
            continue
        name = wording.version(str(row["rubric"]), str(row["rubric_version"]))
        text = (
            f"{name}: who came moved a candidate's mean by {number(row['shift_sd'], 'distance')} levels "
            f"(root mean square), beside a standard error of {number(row['sem'], 'distance')}; recorded and "
            f"adjusted scores correlate {number(row['correlation'], 'coefficient')}"
        )
        if not pd.isna(row["n_changed"]):
            text += (
                f", and of {count(int(row['n_candidates']), 'decision')} at {number(row['cut'], 'plain')}, "
                f"{int(row['n_changed'])} would change"
            )
        told.append(text)
    return (
        " ".join(f"{wording.sentence(text)}." for text in told) or "No version has enough candidates to say."
    )


def _table(summary: pd.DataFrame) -> Table:
    data = summary[["n_candidates", "n_ratings"]].copy()
    names = [str(rubric) for rubric in summary["rubric"]]
    numbers = [str(version) for version in summary["rubric_version"]]
    data["version"] = [wording.version(*pair) for pair in zip(names, numbers, strict=True)]
    labels = {
        "version": "Rubric",
        "n_candidates": "Candidates",
        "n_ratings": "Ratings",
        "shift_sd": "What raters did, root mean square",
        "sem": "Standard error of the adjusted score",
        "correlation": "Correlation with the recorded score",
    }
    units = {
        "n_candidates": "people",
        "n_ratings": "ratings",
        "shift_sd": "distance",
        "sem": "distance",
        "correlation": "coefficient",
    }
    if summary["n_changed"].notna().any():
        labels |= {
            "n_changed": "Decisions that would change",
            "n_changed_by_raters": "Of raters alone, without shrinkage",
            "n_within_sem": "Within a standard error of the cut",
        }
        units |= dict.fromkeys(("n_changed", "n_changed_by_raters", "n_within_sem"), "number")
    results = tuple(name for name in labels if name not in ("version", "n_candidates", "n_ratings"))
    for name in results:
        data[name] = summary[name].astype("float64")
        data[name + STATUS] = summary["status"]
    return Table(
        key="adjusted-scores-versions",
        title="Scores expected with a middling rater, beside those recorded",
        data=data,
        labels=labels,
        units=units,
        group_columns=("version",),
        count_columns=("n_candidates", "n_ratings"),
        statistic_columns=results,
        note="Each candidate's own score and interval are in calibration.adjusted_scores(…).scores.",
        references=("henderson_1975",),
    )
