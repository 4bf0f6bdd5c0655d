"""Section: have candidates come to raters as if at random, as severity needs?"""

from __future__ import annotations

import pandas as pd

from mentorstats.calibration.raters.assignment import LOW_POWER, Assignment
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic, text
from mentorstats.report.model import Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank
from mentorstats.report.wording import listed, sentence

QUESTION = "Did candidates come to raters as if at random?"
NO_RECORDS = (
    "There is no fit of the ratings to tell this from; it needs raters, candidates and lessons with ratings."
)


def section(found: Assignment, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.assignment_check`.
    """
    if found.roles.empty:
        return Section(key="assignment", question=QUESTION, answer=NO_RECORDS, status=Status.NO_RECORDS)
    minimum = policy.rule("minimum_group_size")
    roles = blank(_roles(found.roles), minimum)
    shown = found.raters[found.raters["n_candidates"].map(minimum.met)]
    tables = [roles]
    if len(shown):
        tables.append(_raters(shown, len(found.raters) - len(shown), minimum.value))
    return Section(
        key="assignment",
        question=QUESTION,
        answer=_answer(found.roles, roles.data),
        tables=tuple(tables),
        method=(
            "Severity is estimated twice from one fit: with candidates as a random sample, whoever rates "
            "them, and within candidates, comparing raters only with others who rated the same people. If "
            "candidates come to raters as if at random both are right, and the first is the surer; their "
            "difference then has the variance of the second less that of the first. The fit was not made "
            "again; where candidates have few ratings, limits of one rater's difference are a little too "
            "narrow.",
            "The test of a role asks the same of all its raters with two candidates or more, by the group "
            "means' form: whether each rater's share of a candidate's ratings adds to what is known of the "
            "candidate, a score test from the same fit. Its number is the standard deviation between raters, "
            "beyond error, of what severity moves by when the group means are taken out, in levels of a "
            "middling candidate's score, with the interval of the Q-profile. The lower limit is above zero "
            "exactly when the test rejects, meant for one role in twenty by chance alone. The group means' "
            "coefficients tell how far the candidates of different raters differ.",
        ),
        references=("hausman_1978", "mundlak_1978", "rao_1948", "viechtbauer_2007", "cochran_1954"),
        caution=(
            LOW_POWER,
            "A difference is a reason to look at how placements are made and to talk. It says nothing about "
            "a rater's skill, is no ranking, and is no sole basis for a decision about a person.",
        ),
        verdict=_verdict(found),
    )


def _verdict(found: Assignment) -> Verdict:
    if not found.ignorable:
        return Verdict.NO
    told = [has_value(Status(status)) for status in found.roles["status"]]
    return Verdict.NOT_CLEAR if any(told) else Verdict.NOT_ASSESSED


def _answer(roles: pd.DataFrame, shown: pd.DataFrame) -> str:
    told = []
    for (_, row), visible in zip(roles.iterrows(), shown["sd" + STATUS], strict=True):
        name = f"{row['rater_role']}s"
        if visible == Status.TOO_FEW_TO_SHOW:
            told.append(f"{name} are too few to show")
        elif row["status"] == Status.ASSIGNMENT_NOT_IGNORABLE:
            told.append(
                f"for {name} it matters who got which candidates: severity moves by a standard deviation of "
                f"{_size(row)}, and adjusted scores and marks of {name} are withheld"
            )
        elif has_value(Status(row["status"])):
            told.append(f"for {name} nothing says that it matters (severity moves by {_size(row)})")
        else:
            told.append(f"for {name} it cannot be checked")
    return f"{sentence(listed(told))}. {LOW_POWER}"


def _size(row: pd.Series) -> str:
    value, low, high = (float(row["sd_level" + end]) for end in ("", *BOUNDS))
    share = number(float(row["confidence"]), "share")
    return f"{estimate(value, low, high, 'distance')} levels, interval of {share} %"


def _roles(roles: pd.DataFrame) -> Table:
    data = roles[["rater_role", "n_raters", "n_compared"]].copy()
    for name, source in (
        ("sd", "sd_level"),
        ("share", "caseload_share"),
    ):
        data[name] = roles[source]
        data[name + STATUS] = roles["status"]
    for end in BOUNDS:
        data["sd" + end] = roles["sd_level" + end]
    confidence = 100 * float(roles["confidence"].iloc[0])
    return Table(
        key="assignment-roles",
        title="What severity moves by when what candidates are like is taken out",
        data=data,
        columns=(
            group("rater_role", "Role"),
            counted("n_raters", "Raters", "raters"),
            counted("n_compared", "Of them compared", "number"),
            statistic("sd", "Move of severity, standard deviation beyond error", "distance"),
            statistic("share", "Candidates' variance between raters", "share"),
        ),
        note=f"Intervals of {confidence:g} %, so that the lower limit goes with the test.",
        references=("mundlak_1978",),
    )


def _raters(raters: pd.DataFrame, left_out: int, smallest: float) -> Table:
    data = raters[["rater", "rater_role", "n_candidates", "n_lessons"]].reset_index(drop=True)
    for end in ("", *BOUNDS):
        data["difference" + end] = raters["difference_level" + end].to_numpy()
    data["difference" + STATUS] = raters["status"].to_numpy()
    note = "Positive: seems the more lenient for the candidates who came."
    if left_out:
        note += f" {count(left_out, 'rater')} with fewer than {smallest:g} candidates not listed."
    return Table(
        key="assignment-raters",
        title="Raters, by role and in the order of their codes",
        data=data,
        columns=(
            group("rater", "Rater"),
            text("rater_role", "Role"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Lessons", "lessons"),
            statistic("difference", "What the candidates who came add to the rater's severity", "levels"),
        ),
        note=note,
        references=("hausman_1978",),
    )
