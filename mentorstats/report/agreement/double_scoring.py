"""Section: how much was double-scored, by cycle, site, month, role and rater."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.overview import DoubleScoring
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.model import BOUNDS, Section, Table, Verdict
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank

OF_RATERS = {
    "n_double_scored": ("lessons", "lessons", "Lessons rated twice"),
    "value": ("twice", "share", "Of the rater's own"),
    "n_partners": ("partners", "raters_met", "Partners"),
    "partner_share": ("with_one", "share", "With the most frequent partner"),
}


def section(found: DoubleScoring, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.overview.double_scores`."""
    total = found.total
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
        _table("double-by-cohort", "Lessons rated by both roles, by cycle", found.by_cohort, "Cycle"),
        _table("double-by-site", "Lessons rated by both roles, by site", found.by_site, "Site"),
        _table("double-by-role", "Lessons of each role that the other role rated too", found.by_role, "Role"),
        _over_raters(found.over_raters),
        _table("double-by-month", "Lessons rated by both roles, by month", found.by_month, "Month", True),
    ]
    shown = tuple(blank(table, minimum) for table in tables)
    return Section(
        key="double-scored",
        question="How much was double-scored?",
        answer=f"{answer} {_partners(shown[3].data)}".strip(),
        tables=shown,
        method=(
            "A lesson counts as double-scored where both roles gave a level to at least one criterion in "
            "common. The shares are full counts of the records, so they have no interval.",
            "A rater's partners are the raters of the other role who rated the same lessons. Where most such "
            "lessons are with one partner, agreement is that of two people, and says little of others.",
        ),
        verdict=verdict,
    )


def _partners(rows: pd.DataFrame) -> str:
    """One sentence on the rater in the middle of each role that is shown."""
    told = [
        f"a typical {str(row['role']).lower()} has {number(row['lessons'], 'lessons')} of them, "
        f"{number(row['with_one'], 'share')}\N{NO-BREAK SPACE}% with the same partner"
        for row in rows.to_dict(orient="records")
        if not pd.isna(row["lessons"]) and not pd.isna(row["with_one"])
    ]
    return wording.sentence(f"{wording.listed(told)}.") if told else ""


def _over_raters(found: pd.DataFrame) -> Table:
    """One row a role: the rater in the middle, and the middle half of raters."""
    rows: dict[str, dict[str, object]] = {}
    for of in found.reset_index().to_dict(orient="records"):
        role, name = str(of["rater_role"]), OF_RATERS[of["quantity"]][0]
        row = rows.setdefault(role, {"role": wording.sentence(role)})
        row |= {
            name: of["median"],
            name + BOUNDS[0]: of["lower_quartile"],
            name + BOUNDS[1]: of["upper_quartile"],
        }
        row["n_raters"] = max(int(of["n_raters"]), int(str(row.get("n_raters", 0))))
    names = [name for name, _, _ in OF_RATERS.values()]
    columns = ["role", "n_raters", *names, *(name + bound for name in names for bound in BOUNDS)]
    return Table(
        key="double-by-rater",
        title="Lessons rated by both roles, from rater to rater",
        data=pd.DataFrame(list(rows.values()), columns=columns),
        labels={
            "role": "Role",
            "n_raters": "Raters",
            **{name: label for name, _, label in OF_RATERS.values()},
        },
        units={"n_raters": "raters", **{name: unit for name, unit, _ in OF_RATERS.values()}},
        group_columns=("role",),
        count_columns=("n_raters",),
        statistic_columns=tuple(names),
        note="The median of raters, and in brackets the quartiles between which the middle half of them lie "
        "(no intervals). Partners are those of raters with at least one lesson that both roles rated.",
    )


def _table(key: str, title: str, counted: pd.DataFrame, label: str, folded: bool = False) -> Table:
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
        folded=folded,
        lines=() if raters else ((),),
    )
