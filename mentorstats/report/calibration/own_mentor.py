"""Section: do mentors rate their own candidates higher than others would?"""

from __future__ import annotations

import pandas as pd

from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate
from mentorstats.report.small_groups import blank

QUESTION = "Do mentors rate their own candidates higher than others would?"
NO_RECORDS = "No rating is by a candidate's own mentor, or the placements do not name the mentor."


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.own_mentor_difference`.
    """
    first = found.iloc[0]
    if first["status"] == Status.NO_RECORDS:
        return Section(key="own-mentor", question=QUESTION, answer=NO_RECORDS, status=Status.NO_RECORDS)
    table = blank(_table(found), policy.rule("minimum_group_size"))
    return Section(
        key="own-mentor",
        question=QUESTION,
        answer=_answer(first, str(table.data["value" + STATUS].iloc[0])),
        tables=(table,),
        method=(
            "One column beside the base fit, by one Newton step: is the rater the candidate's own mentor. "
            "The raters' own severity, candidates, lessons, weeks and roles are held, so that own mentors "
            "are compared with mentors who visit. In levels of a middling candidate's score. The difference "
            "between the roles is that of the base fit; it holds whatever else the roles differ in, and "
            "where mentors never visit, role and being the own mentor cannot be told apart.",
        ),
        references=("rao_1948", "ho_kane_2013"),
        caution=(
            "School administrators rated their own teachers about .1 to .2 level higher than others did "
            "(Ho & Kane 2013); that mentors do likewise is an assumption. An own mentor sees more lessons "
            "and knows the candidate: a difference is not of itself an error, and it is one of all mentors "
            "together, not of any person.",
        ),
    )


def _answer(row: pd.Series, shown: str) -> str:
    if shown == Status.TOO_FEW_TO_SHOW:
        return "Too few mentors rated both their own and others' candidates to show."
    if not has_value(Status(row["status"])):
        return str(row["status_note"])
    size = estimate(row["value_level"], row["value_level_low"], row["value_level_high"], "levels")
    return f"Own mentors rate {size} levels beside mentors who visit, other things equal."


def _table(found: pd.DataFrame) -> Table:
    data = found[["comparison", "n_ratings", "n_others", "n_both"]].copy()
    for end in ("", *BOUNDS):
        data["value" + end] = found["value_level" + end]
        data["latent" + end] = found["value" if not end else end[1:]]
    data["value" + STATUS] = data["latent" + STATUS] = found["status"]
    return Table(
        key="own-mentor-differences",
        title="Own mentors and others",
        data=data,
        columns=(
            group("comparison", "Comparison"),
            counted("n_ratings", "Ratings of the first", "ratings"),
            counted("n_others", "Ratings of the others", "ratings"),
            counted("n_both", "Raters with both", "raters"),
            statistic("value", "Shift on the level scale", "levels"),
            statistic("latent", "Shift on the latent scale", "logits"),
        ),
        note="Positive: the first named rate higher.",
        references=("rao_1948",),
    )
