"""Section: how much was double-scored, by cycle, site and role."""

from __future__ import annotations

import pandas as pd

from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.model import Section, Table, Verdict
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank


def section(
    total: pd.DataFrame, by_cohort: pd.DataFrame, by_site: pd.DataFrame, by_role: pd.DataFrame, policy: Policy
) -> Section:
    """Build the section from the tables of `mentorstats.agreement.overview.double_scoring`."""
    lessons = int(total["n_lessons"].sum())
    both = int(total["n_double_scored"].sum())
    share_rule, number_rule = policy.rule("double_scored_share"), policy.rule("double_scored_lessons")
    share = both / lessons if lessons else 0.0
    enough = share_rule.met(share) and number_rule.met(both)
    answer = (
        f"A mentor and a supervisor both rated {both:,} of {count(lessons, 'lesson')} "
        f"({number(share, 'share')}\N{NO-BREAK SPACE}%); the policy asks for at least "
        f"{number(share_rule.value, 'share')}\N{NO-BREAK SPACE}% and {number_rule.value:,.0f} lessons."
    )
    minimum = policy.rule("minimum_group_size")
    verdict = Verdict.MET if enough else Verdict.NOT_MET
    if not share_rule.met(share):
        answer += " The share is too small."
    if not number_rule.met(both):
        answer += " There are too few such lessons."
    people = int(total["n_candidates"].sum())
    if people and not minimum.met(people):
        answer = f"Not shown: the lessons are those of fewer than {minimum.value:g} candidates."
        verdict = Verdict.TOO_FEW
    tables = [
        _table("double-by-cohort", "Lessons rated by both roles, by cycle", by_cohort, "Cycle"),
        _table("double-by-site", "Lessons rated by both roles, by site", by_site, "Site"),
        _table("double-by-role", "Lessons of each role that the other role rated too", by_role, "Role"),
    ]
    return Section(
        key="double-scored",
        question="How much was double-scored?",
        answer=answer,
        tables=tuple(blank(table, minimum) for table in tables),
        method=(
            "A lesson counts as double-scored where both roles gave a level to at least one criterion in "
            "common. The shares are full counts of the records, so they have no interval.",
        ),
        verdict=verdict,
    )


def _table(key: str, title: str, counted: pd.DataFrame, label: str) -> Table:
    data = counted.rename_axis("group").reset_index()
    data["group"] = data["group"].map(lambda name: wording.sentence(str(name)), na_action="ignore")
    raters = {"n_raters": "Raters"} if "n_raters" in data else {}
    return Table(
        key=key,
        title=title,
        data=data,
        labels={
            "group": label,
            **raters,
            "n_candidates": "Candidates",
            "n_lessons": "Rated",
            "n_double_scored": "Rated by both",
            "value": "Share",
        },
        units={
            "n_raters": "raters",
            "n_candidates": "people",
            "n_lessons": "lessons",
            "n_double_scored": "lessons",
            "value": "share",
        },
        group_columns=("group",),
        count_columns=(*raters, "n_candidates", "n_lessons", "n_double_scored"),
        statistic_columns=("value",),
    )
