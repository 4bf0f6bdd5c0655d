"""Section: do mentors rate their own candidates higher than others would?"""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report.columns import carried, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate

ABOUT = partial(
    Section,
    key="own-mentor",
    name="mentors' ratings of their own candidates",
    question="Do mentors rate their own candidates higher than others would?",
)
NEEDS = "the mentor of each placement, and lessons rated by mentors of other candidates"


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.own_mentor_difference`.
    """
    first = found.iloc[0]
    if first["status"] == Status.NO_RECORDS:
        nothing = "No rating is by a candidate's own mentor, or the placements do not name the mentor."
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs=NEEDS)
    return ABOUT(
        answer=_answer(first, policy.rule("minimum_group_size")),
        tables=(_table(found),),
        method=(
            "One column is added to the base model by one Newton step: is the rater the candidate's own "
            "mentor? Severity, candidates, lessons, weeks and roles are held, so own mentors are compared "
            "with mentors who visit. The size is in levels of an average candidate's score. The difference "
            "between the roles is that of the base model and includes everything else in which the roles "
            "differ. Where mentors never visit others, being the own mentor cannot be distinguished from the "
            "role.",
        ),
        references=("rao_1948", "ho_kane_2013"),
        caution=(
            "School administrators rated their own teachers about .1 to .2 level higher than others did (Ho "
            "& Kane 2013); that mentors do the same is an assumption. An own mentor sees more lessons and "
            "knows the candidate, so a difference need not be an error. It describes mentors together, not "
            "one person.",
        ),
    )


def _answer(row: pd.Series, minimum: Rule) -> str:
    if not has_value(Status(row["status"])):
        return str(row["status_note"])
    if not minimum.met(row["n_both"]):
        return "Not shown, because too few mentors rated both their own and other candidates."
    size = estimate(row["value_level"], row["value_level_low"], row["value_level_high"], "levels")
    if row["value_level_low"] > 0:
        return f"Yes: mentors rate their own candidates {size} levels higher than visiting mentors would."
    if row["value_level_high"] < 0:
        return f"No: mentors rate their own candidates lower than visiting mentors would ({size} levels)."
    return f"There is no clear difference between own and visiting mentors ({size} levels)."


def _table(found: pd.DataFrame) -> Table:
    data = found[["comparison", "n_ratings", "n_others", "n_both"]].copy()
    latent = found.rename(columns={"low": "value_low", "high": "value_high"})
    data = data.join(carried(found, {"value_level": "value"})).join(carried(latent, {"value": "latent"}))
    return Table(
        key="own-mentor-differences",
        title="Own mentors and others",
        data=data,
        columns=(
            group("comparison", "Comparison"),
            counted("n_ratings", "Ratings of the first", "ratings"),
            counted("n_others", "Ratings of the others", "ratings"),
            counted("n_both", "Raters with both", "raters"),
            statistic("value", "Difference, in rubric levels", "levels"),
            statistic("latent", "Difference, in logits", "logits"),
        ),
        note="Positive: the first named rate higher.",
        references=("rao_1948",),
    )
