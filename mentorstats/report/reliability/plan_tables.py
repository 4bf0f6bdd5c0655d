"""Tables of components, plans, criteria, change and links."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from mentorstats.estimate import Status
from mentorstats.report.columns import STATUS, WORDS, carried, counted, group, statistic, text
from mentorstats.report.model import Table
from mentorstats.report.numbers import count, number

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.components.study import GStudy
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans

PLANS, MAIN_PLANS = "visit-plans", "visit-plans-near"
MOST_PLANS = 6  # of a page
MEANINGS = {
    frozenset({"candidate"}): "how far candidates differ, which a score is meant to measure",
    frozenset({"rater"}): "severity: some raters score all candidates lower than others do",
    frozenset({"candidate", "rater"}): "a rater's view of one candidate",
    frozenset({"candidate", "observation"}): "differences between a candidate's lessons",
    frozenset({"candidate", "rater", "observation"}): "residual: one rater's view of one lesson, and chance",
}


def percent(plans: VisitPlans) -> str:
    """Coverage of the intervals in words."""
    return f"{number(plans.study.confidence, 'share')}\N{NO-BREAK SPACE}%"


def _behind(study: GStudy) -> str:
    """What the numbers of a table rest on."""
    return f"From {count(study.n_ratings, 'score')}."


def components(plans: VisitPlans) -> Table:
    """Component, share with interval, variance, one line of meaning."""
    found = plans.study.components
    design, told = plans.study.design, plans.study.told
    meaning = {
        name: MEANINGS.get(several[-1] if several[-1] == design.whole else several[0], "")
        for name, several in zip(plans.study.component_names, told.effects, strict=True)
    }
    data = pd.DataFrame({"component": found.index, "meaning": [meaning.get(n, "") for n in found.index]})
    rows = found.rename(columns={"low": "variance_low", "high": "variance_high"}).reset_index(drop=True)
    data = data.join(carried(rows, {"share": "share", "variance": "variance"}))
    return Table(
        key="score-components",
        title="Variance components of the score of one visit",
        data=data,
        columns=(
            group("component", "Component"),
            statistic("share", "Share", "share"),
            statistic("variance", "Variance", "variance"),
            text("meaning", "Meaning"),
        ),
        note=f"{_behind(plans.study)} In brackets: {percent(plans)} intervals. × is crossing: "
        f"{plans.study.design.text}.",
        references=("brennan_2001",),
    )


def squares(plans: VisitPlans) -> Table | None:
    """Degrees of freedom and mean squares; nothing where components are not from mean squares."""
    found = plans.study.mean_squares
    if found.empty:
        return None
    data = found.rename_axis("component").reset_index()
    return Table(
        key="score-mean-squares",
        title="Mean squares behind the components",
        data=data,
        columns=(
            group("component", "Component"),
            statistic("df", "df", "number"),
            statistic("ss", "Sum of squares", "plain"),
            statistic("ms", "Mean square", "plain"),
        ),
        references=("brennan_2001",),
    )


def plans(found: VisitPlans) -> Table:
    """Plans with dependability, the same under a cautious assumption, and cost."""
    shown = found.estimable.reset_index(drop=True)
    data = shown[["n_raters", "n_visits", "cost"]].assign(plan=[_plan(row) for _, row in shown.iterrows()])
    data = data.join(carried(shown, {name: name for name in ("dependability", "generalizability", "sem")}))
    worst = found.pessimistic.set_index(["n_raters", "n_visits"])["dependability"]
    if len(worst):
        data["worst"] = worst.reindex(pd.MultiIndex.from_frame(data[["n_raters", "n_visits"]])).to_numpy()
    cautious = (statistic("worst", "Dependability, cautious", "zero_one"),) if len(worst) else ()
    return Table(
        key=PLANS,
        title="Plans of visits",
        data=data,
        columns=(
            group("plan", "Plan"),
            statistic("dependability", "Dependability", "zero_one"),
            *cautious,
            statistic("generalizability", "Generalizability (comparing candidates)", "zero_one"),
            statistic("sem", "Standard error of measurement", "distance"),
            statistic("cost", "Cost", "plain"),
        ),
        note=f"{_behind(found.study)} {_plans_note(found)}",
        references=("brennan_2001", "weerahandi_1993"),
    )


def main_plans(found: VisitPlans) -> Table:
    """The current plan and those a director would choose between: at most six, and only what decides."""
    full = plans(found)
    data = full.data
    chosen = found.chosen[found.chosen["scenario"] == "as_estimated"]
    cut = float(chosen.iloc[0]["cost"]) if len(chosen) else float(data["cost"].max())
    near = (data["cost"] - cut).abs().sort_values(kind="stable").index[:MOST_PLANS]
    wanted = ("plan", "dependability", "sem", "cost")
    return Table(
        key=MAIN_PLANS,
        title="Plans about as costly as the cheapest that reaches the target",
        data=data.loc[sorted(near)].reset_index(drop=True),
        columns=tuple(column for column in full.columns if column.name in wanted),
        note="Cost is for one candidate, in the unit of the prices given.",
    )


def _plan(row: pd.Series) -> str:
    return f"{count(int(row['n_visits']), 'visit')} by {count(int(row['n_raters']), 'rater')}"


def _plans_note(found: VisitPlans) -> str:
    said = (
        f"In brackets: {percent(found)} intervals. Generalizability does not count severity as error, which "
        "is right only where all candidates have the same raters. Cost is for one candidate, in the unit of "
        "the prices given."
    )
    if found.pessimistic.empty:
        return said
    return f"{said} Cautious: {found.pessimistic['status_note'].iloc[0]}"


def _size(plans: VisitPlans) -> str:
    n_raters, each = plans.size
    return f"{count(n_raters * each, 'visit')} by {count(n_raters, 'rater')}"


def criteria(found: pd.DataFrame, plans: VisitPlans, titles: Mapping[str, str]) -> Table:
    """Dependability of each criterion reported separately under one plan."""
    data = found.reset_index()
    data["criterion" + WORDS] = data["criterion"].map(titles)
    data["dependability_status"] = data["share_status"] = data["status"]
    return Table(
        key="criteria-separately",
        title=f"Criteria reported separately, {_size(plans)}",
        data=data,
        columns=(
            group("criterion", "Criterion"),
            statistic("weight", "Weight", "plain"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("share", "Candidates' share of one rating", "share"),
            statistic("dependability", "Dependability", "zero_one"),
            statistic(
                "correlation", "Correlation with the others, corrected for measurement error", "coefficient"
            ),
        ),
        note=f"In brackets: {percent(plans)} intervals. A correlation of 1 was estimated at 1 or beyond.",
        references=("brennan_2001",),
    )


def change(found: HalvesChange) -> Table:
    """Reliability of change by number of raters."""
    shown = found.table[found.table["scenario"] == "as_estimated"].reset_index(drop=True)
    data = pd.DataFrame({"plan": [f"{count(int(n), 'rater')} in both halves" for n in shown["n_raters"]]})
    data = data.join(carried(shown, {name: name for name in ("generalizability", "dependability", "sem")}))
    visits = "no visits" if np.isnan(found.n_visits) else f"{found.n_visits:.1f} visits"
    return Table(
        key="change-plans",
        title="Reliability of change from the first to the second half of a placement",
        data=data,
        columns=(
            group("plan", "Raters"),
            statistic("generalizability", "Differences between candidates", "zero_one"),
            statistic("dependability", "Size of a change", "zero_one"),
            statistic("sem", "Standard error of measurement", "distance"),
        ),
        note=f"{_behind(found.study)} Each rater makes as many visits in each half as now ({visits}, "
        "harmonic mean).",
        references=("cronbach_1972",),
    )


def links(found: Sequence[RoleLinks]) -> Table | None:
    """Extra double-scored lessons that would connect raters of one role, by the rater who would come."""
    rows = [asked_for(one).assign(role=one.role) for one in found if len(one.table)]
    if not rows:
        return None
    data = pd.concat(rows, ignore_index=True)
    data["why"] = data["closes_ring"].map({False: "connects", True: "back-up link"})
    data["cost" + STATUS] = Status.OK.value
    return Table(
        key="links",
        title="Fewest extra double-scored lessons that would connect separate networks",
        data=data,
        columns=(
            group("role", "Role"),
            group("rater", "Rater who would visit"),
            text("joins", "Networks"),
            text("why", "Purpose"),
            counted("n_lessons", "Lessons", "lessons"),
            statistic("cost", "Cost", "plain"),
        ),
        note="For each network the rater with most lessons, who would rate one lesson of a candidate "
        "of the other network. Other pairs of these networks serve as well.",
        people=True,
    )


def asked_for(one: RoleLinks) -> pd.DataFrame:
    """Double-scorings that a role is asked for, without the candidates: a row a rater and two networks."""
    pairs = zip(one.table["from_network"], one.table["to_network"], strict=True)
    named = one.table.assign(joins=[f"{first} and {second}" for first, second in pairs])
    of = named.groupby(["rater", "joins", "closes_ring"], sort=False, as_index=False)
    return of.agg(n_lessons=("cost", "size"), cost=("cost", "sum"))
