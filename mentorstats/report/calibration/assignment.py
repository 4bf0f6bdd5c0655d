"""Section: is assignment to raters related to candidate quality? Severity assumes that it is not."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.calibration.raters.assignment import LOW_POWER, Assignment
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report.columns import BOUNDS, carried, counted, group, statistic, text
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import estimate, number
from mentorstats.report.wording import listed, raters_of, sentence

ABOUT = partial(
    Section,
    key="assignment",
    name="assignment of candidates to raters",
    question="Is assignment to raters related to candidate quality?",
)
NEEDS = "ratings of candidates by two or more raters, with their lessons"


def section(found: Assignment, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.assignment_check`.
    """
    if found.roles.empty:
        nothing = "The ratings do not allow a model from which this could be estimated."
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs=NEEDS)
    minimum = policy.rule("minimum_group_size")
    return ABOUT(
        answer=_answer(found.roles, minimum),
        detail=_detail(found.roles, minimum),
        tables=(_roles(found.roles), _raters(found.raters)),
        findings=_findings(found.roles, minimum),
        method=(
            "Severity is estimated twice from one fit: with candidates as a random sample, and within "
            "candidates, which compares raters only with others who rated the same people. If candidates are "
            "assigned to raters as if at random both are unbiased and the first is more precise; their "
            "difference then has the variance of the second minus that of the first. The model is not fitted "
            "again; where candidates have few ratings, the limits of one rater's difference are slightly too "
            "narrow.",
            "The test of a role includes all its raters with two candidates or more, in the form of group "
            "means: does each rater's share of a candidate's ratings add to what is known of the candidate? "
            "It is a score test from the same fit. The figure given is the standard deviation between "
            "raters, corrected for error, of the change in severity when the group means are removed, in "
            "levels of an average candidate's score, with its Q-profile interval. The lower limit is above "
            "zero exactly when the test rejects, which it does for one role in twenty by chance. The "
            "coefficients of the group means estimate how far the candidates of different raters differ.",
        ),
        references=("hausman_1978", "mundlak_1978", "rao_1948", "viechtbauer_2007", "cochran_1954"),
        caution=(
            LOW_POWER,
            "A difference says nothing about a rater's skill. It is a reason to look at how placements are "
            "made.",
        ),
        verdict=_verdict(found),
    )


def _verdict(found: Assignment) -> Verdict:
    if not found.ignorable:
        return Verdict.NO
    told = [has_value(Status(status)) for status in found.roles["status"]]
    return Verdict.NOT_CLEAR if any(told) else Verdict.NOT_ASSESSED


def _answer(roles: pd.DataFrame, minimum: Rule) -> str:
    related, unknown, hidden, clear = [], [], [], []
    for row in roles.to_dict("records"):
        name = raters_of(str(row["rater_role"]))
        if not minimum.met(row["n_raters"]):
            hidden.append(name)
        elif row["status"] == Status.ASSIGNMENT_NOT_IGNORABLE:
            related.append(name)
        elif has_value(Status(row["status"])):
            clear.append(name)
        else:
            unknown.append(name)
    told = []
    if related:
        told.append(f"Yes, for {listed(related)}: adjusted scores and flags are withheld for them.")
    if clear:
        told.append(f"There is no evidence that it is for {listed(clear)}, but the test has little power.")
    if unknown:
        told.append(f"It cannot be tested for {listed(unknown)}.")
    if hidden:
        told.append(f"{sentence(listed(hidden))} are too few to show.")
    return " ".join(told)


def _detail(roles: pd.DataFrame, minimum: Rule) -> tuple[str, ...]:
    told = [
        f"After adjusting for caseload, the severity of {raters_of(str(row['rater_role']))} changes by a "
        f"standard deviation of {_size(row)}."
        for _, row in roles.iterrows()
        if minimum.met(row["n_raters"]) and not pd.isna(row["sd_level"])
    ]
    return (" ".join(told),) if told else ()


def _size(row: pd.Series) -> str:
    value, low, high = (float(row["sd_level" + end]) for end in ("", *BOUNDS))
    share = number(float(row["confidence"]), "share")
    return f"{estimate(value, low, high, 'distance')} levels ({share}\N{NO-BREAK SPACE}% interval)"


def _findings(roles: pd.DataFrame, minimum: Rule) -> tuple[Finding, ...]:
    related = roles[
        (roles["status"] == Status.ASSIGNMENT_NOT_IGNORABLE.value) & roles["n_raters"].map(minimum.met)
    ]
    return tuple(
        Finding(
            concern=Concern.NOT_COMPARABLE,
            what=f"Candidates were not assigned to {raters_of(str(row['rater_role']))} as if at random.",
            how_sure="After adjusting for caseload, severity changes by a standard deviation of "
            f"{_size(row)}.",
            action="Do not compare these raters or adjust their scores; look at how placements are "
            "made, and add lessons rated by a second rater.",
            concerns=raters_of(str(row["rater_role"])),
        )
        for _, row in related.iterrows()
    )


def _roles(roles: pd.DataFrame) -> Table:
    data = roles[["rater_role", "n_raters", "n_compared"]].copy()
    data = data.join(carried(roles, {"sd_level": "sd", "caseload_share": "share"}))
    confidence = 100 * float(roles["confidence"].iloc[0])
    return Table(
        key="assignment-roles",
        title="Change in severity after adjusting for caseload",
        data=data,
        columns=(
            group("rater_role", "Role"),
            counted("n_raters", "Raters", "raters"),
            counted("n_compared", "Raters compared", "number"),
            statistic("sd", "Change in severity (standard deviation, corrected for error)", "distance"),
            statistic("share", "Share of candidates' variance between raters", "share"),
        ),
        note=f"Intervals of {confidence:g} %, so that a lower limit above zero corresponds to the test.",
        references=("mundlak_1978",),
    )


def _raters(raters: pd.DataFrame) -> Table:
    data = raters[["rater", "rater_role", "n_candidates", "n_lessons"]]
    data = data.join(carried(raters, {"difference_level": "difference"})).reset_index(drop=True)
    return Table(
        key="assignment-raters",
        title="Change in severity after adjusting for caseload, by role and code",
        data=data,
        columns=(
            group("rater", "Rater"),
            text("rater_role", "Role"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Lessons", "lessons"),
            statistic("difference", "Change in severity", "levels"),
        ),
        note="Positive: the rater appears more lenient because of the candidates assigned.",
        references=("hausman_1978",),
        people=True,
    )
