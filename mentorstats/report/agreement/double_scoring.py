"""Section: how much was double-scored, by cycle, site, month, role and rater."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.counts.double_scoring import DoubleScoring
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, counted, group, statistic
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, number

OF_RATERS = {
    "n_double_scored": statistic("lessons", "Double-scored lessons", "lessons"),
    "value": statistic("twice", "Share of the rater's own lessons", "share"),
    "n_partners": statistic("partners", "Partners", "raters_met"),
    "partner_share": statistic("with_one", "Share with the most frequent partner", "share"),
}
ABOUT = partial(
    Section,
    key="double-scored",
    name="amount of double-scoring",
    question="How many lessons were double-scored?",
)


def section(found: DoubleScoring, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.counts.double_scoring.double_scores`."""
    total = found.total
    lessons, both = (int(total[name].sum()) for name in ("n_lessons", "n_double_scored"))
    people, minimum = int(total["n_candidates"].sum()), policy.rule("minimum_group_size")
    if people and not minimum.met(people):
        few = f"Not shown, because the lessons are those of fewer than {minimum.value:g} candidates."
        return ABOUT(answer=few, verdict=Verdict.NOT_ASSESSED)
    share_rule, number_rule = policy.rule("double_scored_share"), policy.rule("double_scored_lessons")
    share = both / lessons if lessons else 0.0
    enough = share_rule.met(share) and number_rule.met(both)
    answer = (
        f"A mentor and a supervisor both rated {both:,} of {count(lessons, 'lesson')} "
        f"({number(share, 'share')}\N{NO-BREAK SPACE}%). The policy asks for at least "
        f"{number(share_rule.value, 'share')}\N{NO-BREAK SPACE}% and {number_rule.value:,.0f} lessons."
    )
    over_raters = _over_raters(found.over_raters)
    return ABOUT(
        answer=answer,
        detail=_partners(over_raters.data, minimum.value),
        main=("double-by-role",),
        tables=(
            _table(
                "double-by-role", "Lessons of each role that the other role rated too", found.by_role, "Role"
            ),
            _table("double-by-cohort", "Lessons rated by both roles, by cycle", found.by_cohort, "Cycle"),
            _table("double-by-site", "Lessons rated by both roles, by site", found.by_site, "Site"),
            over_raters,
            _table("double-by-month", "Lessons rated by both roles, by month", found.by_month, "Month"),
        ),
        findings=() if enough else (_too_few(answer, both, number_rule.value),),
        method=(
            "A lesson counts as double-scored where both roles gave a level to at least one criterion in "
            "common. The shares are full counts of the records, so they have no interval.",
            "A rater's partners are the raters of the other role who rated the same lessons. Where most of "
            "these lessons are with one partner, agreement describes two people and says little of others.",
        ),
        verdict=Verdict.MET if enough else Verdict.NOT_MET,
    )


def _too_few(counted: str, both: int, asked: float) -> Finding:
    return Finding(
        concern=Concern.RECORDS_UNUSABLE if both == 0 else Concern.AGREEMENT,
        what="Too few lessons were double-scored to know how closely raters agree.",
        how_sure=counted,
        action=f"Plan at least {asked:,.0f} lessons that a mentor and a supervisor rate independently, "
        "spread over sites and raters.",
        concerns="all raters",
    )


def _partners(rows: pd.DataFrame, minimum: float) -> tuple[str, ...]:
    """One sentence on the rater in the middle of each role that may be shown."""
    told = [
        f"A typical {str(row['role']).lower()} has {count(int(row['lessons']), 'double-scored lesson')}, "
        f"{number(row['with_one'], 'share')}\N{NO-BREAK SPACE}% of them with the same partner."
        for row in rows.to_dict(orient="records")
        if row["n_raters"] >= minimum and not pd.isna(row["lessons"]) and not pd.isna(row["with_one"])
    ]
    return (" ".join(told),) if told else ()


def _over_raters(found: pd.DataFrame) -> Table:
    """One row a role: the rater in the middle, and the middle half of raters."""
    rows: dict[str, dict[str, object]] = {}
    for of in found.reset_index().to_dict(orient="records"):
        role, name = str(of["rater_role"]), OF_RATERS[of["quantity"]].name
        row = rows.setdefault(role, {"role": wording.sentence(role)})
        row |= {
            name: of["median"],
            name + BOUNDS[0]: of["lower_quartile"],
            name + BOUNDS[1]: of["upper_quartile"],
        }
        row["n_raters"] = max(int(of["n_raters"]), int(str(row.get("n_raters", 0))))
    names = [column.name for column in OF_RATERS.values()]
    columns = ["role", "n_raters", *names, *(name + bound for name in names for bound in BOUNDS)]
    return Table(
        key="double-by-rater",
        title="Lessons rated by both roles, from rater to rater",
        data=pd.DataFrame(list(rows.values()), columns=columns),
        columns=(group("role", "Role"), counted("n_raters", "Raters", "raters"), *OF_RATERS.values()),
        note="The median of raters; in brackets the quartiles, between which the middle half of raters "
        "lie (not an interval). Partners are counted for raters with at least one double-scored lesson.",
    )


def _table(key: str, title: str, counts: pd.DataFrame, label: str) -> Table:
    data = counts.rename_axis("group").reset_index()
    data["group"] = data["group"].map(str, na_action="ignore")
    raters = (counted("n_raters", "Raters", "raters"),) if "n_raters" in data else ()
    return Table(
        key=key,
        title=title,
        data=data,
        columns=(
            group("group", label),
            *raters,
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Rated", "lessons"),
            counted("n_double_scored", "Rated by both", "lessons"),
            statistic("value", "Share", "share"),
        ),
        lines=() if raters else ((),),
    )
