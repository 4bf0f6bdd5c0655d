"""Tables of components, plans, criteria, change and links."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from mentorstats.estimate import Status
from mentorstats.report.model import BOUNDS, STATUS, WORDS, Table
from mentorstats.report.numbers import count, number

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.components.study import GStudy
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans

PLANS = "visit-plans"
MEANINGS = {
    frozenset({"candidate"}): "how far candidates differ: what a score is to tell",
    frozenset({"rater"}): "severity: some raters score everyone lower than others do",
    frozenset({"candidate", "rater"}): "a rater's view of one candidate",
    frozenset({"candidate", "observation"}): "one lesson of a candidate better than another",
    frozenset({"candidate", "rater", "observation"}): "the rest: one rater's view of one lesson, and chance",
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
    for column in ("share", "share_low", "share_high", "variance", "status"):
        data[column] = found[column].to_numpy()
    data["share_status"] = data["variance_status"] = data.pop("status")
    data["variance_low"], data["variance_high"] = found["low"].to_numpy(), found["high"].to_numpy()
    return Table(
        key="score-components",
        title="What the scores of single visits are made of",
        data=data,
        labels={"component": "Component", "share": "Share", "variance": "Variance", "meaning": "What it is"},
        units={"share": "share", "variance": "variance"},
        group_columns=("component",),
        statistic_columns=("share", "variance"),
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
        labels={"component": "Component", "df": "df", "ss": "Sum of squares", "ms": "Mean square"},
        units={"df": "number", "ss": "plain", "ms": "plain"},
        group_columns=("component",),
        statistic_columns=("df", "ss", "ms"),
        references=("brennan_2001",),
    )


def plans(found: VisitPlans) -> Table:
    """Plans with dependability, the same at worst, and cost; the cheapest that reaches the target marked."""
    shown = found.estimable
    data = shown[["n_raters", "n_visits", "cost"]].reset_index(drop=True)
    data["plan"] = [
        f"{count(int(v), 'visit')} by {count(int(r), 'rater')}"
        for r, v in zip(shown["n_raters"], shown["n_visits"], strict=True)
    ]
    for name in ("dependability", "generalizability", "sem"):
        data[name] = shown[name].to_numpy()
        for end in BOUNDS:
            data[name + end] = np.asarray(shown.get(name + end, np.nan))
        data[name + STATUS] = shown["status"].to_numpy()
    labels = {"plan": "Plan", "dependability": "Dependability"}
    worst = found.pessimistic.set_index(["n_raters", "n_visits"])["dependability"]
    if len(worst):
        places = pd.MultiIndex.from_frame(data[["n_raters", "n_visits"]])
        data["worst"] = worst.reindex(places).to_numpy()
        labels["worst"] = "At worst"
    labels |= {"generalizability": "Comparing candidates", "sem": "Standard error", "cost": "Cost"}
    statistics = tuple(name for name in labels if name != "plan")
    return Table(
        key=PLANS,
        title="Plans of visits",
        data=data,
        labels=labels,
        units={
            "dependability": "zero_one",
            "worst": "zero_one",
            "generalizability": "zero_one",
            "sem": "distance",
            "cost": "plain",
        },
        group_columns=("plan",),
        statistic_columns=statistics,
        note=f"{_behind(found.study)} {_plans_note(found)}",
        references=("brennan_2001", "weerahandi_1993"),
    )


def _plans_note(found: VisitPlans) -> str:
    said = (
        f"In brackets: {percent(found)} intervals. Comparing candidates: the same without severity as an "
        "error, which holds only where all candidates have the same raters. Cost is for one candidate, in "
        "the unit of the prices given."
    )
    if found.pessimistic.empty:
        return said
    return f"{said} At worst: {found.pessimistic['status_note'].iloc[0]}"


def _size(plans: VisitPlans) -> str:
    n_raters, each = plans.size
    return f"{count(n_raters * each, 'visit')} by {count(n_raters, 'rater')}"


def criteria(found: pd.DataFrame, plans: VisitPlans, titles: Mapping[str, str]) -> Table:
    """Dependability of each criterion reported singly under one plan."""
    data = found.reset_index()
    data["criterion" + WORDS] = data["criterion"].map(titles)
    data["dependability_status"] = data["share_status"] = data["status"]
    for name in ("share", "correlation"):
        for end in BOUNDS:
            data[name + end] = np.nan
    return Table(
        key="criteria-singly",
        title=f"Criteria reported singly, {_size(plans)}",
        data=data,
        labels={
            "criterion": "Criterion",
            "weight": "Weight",
            "n_ratings": "Ratings",
            "share": "Candidates' share of one rating",
            "dependability": "Dependability",
            "correlation": "Correlation with the others, error taken out",
        },
        units={
            "weight": "plain",
            "n_ratings": "ratings",
            "share": "share",
            "dependability": "zero_one",
            "correlation": "coefficient",
        },
        group_columns=("criterion",),
        count_columns=("n_ratings",),
        statistic_columns=("weight", "share", "dependability", "correlation"),
        note=f"In brackets: {percent(plans)} intervals. Correlations at the edge came out beyond 1.",
        references=("brennan_2001",),
    )


def change(found: HalvesChange) -> Table:
    """Reliability of change by number of raters."""
    shown = found.table[found.table["scenario"] == "as_estimated"].reset_index(drop=True)
    data = pd.DataFrame({"plan": [f"{count(int(n), 'rater')} in both halves" for n in shown["n_raters"]]})
    for name in ("generalizability", "dependability", "sem"):
        data[name] = shown[name]
        for end in BOUNDS:
            data[name + end] = shown.get(name + end, np.nan)
        data[name + STATUS] = shown["status"]
    visits = "no visits" if np.isnan(found.n_visits) else f"{found.n_visits:.1f} visits"
    return Table(
        key="change-plans",
        title="Reliability of change from the first to the second half of a placement",
        data=data,
        labels={
            "plan": "Raters",
            "generalizability": "Comparing changes",
            "dependability": "A change itself",
            "sem": "Standard error",
        },
        units={"generalizability": "zero_one", "dependability": "zero_one", "sem": "distance"},
        group_columns=("plan",),
        statistic_columns=("generalizability", "dependability", "sem"),
        note=f"{_behind(found.study)} Each rater makes as many visits in each half as now ({visits}, "
        "harmonic mean).",
        references=("cronbach_1972",),
    )


def links(found: Sequence[RoleLinks]) -> Table | None:
    """How many extra double-scorings by whom would link raters of one role; nothing where none is needed."""
    rows = [asked_for(one).assign(role=one.role) for one in found if len(one.table)]
    if not rows:
        return None
    data = pd.concat(rows, ignore_index=True)
    data["why"] = data["closes_ring"].map({False: "links", True: "holds without any one rater"})
    data["cost" + STATUS] = Status.OK.value
    return Table(
        key="links",
        title="Fewest extra double-scored lessons that would link raters now compared by assumption",
        data=data,
        labels={
            "role": "Role",
            "rater": "Rater who would come",
            "n_lessons": "Lessons",
            "joins": "Networks",
            "why": "What for",
            "cost": "Cost",
        },
        units={"n_lessons": "number", "cost": "plain"},
        group_columns=("role", "rater", "joins"),
        count_columns=("n_lessons",),
        statistic_columns=("cost",),
        note="Of each network the rater with most lessons, once. Other pairs of these networks do as well. "
        "A candidate whose lesson would do is in calibration.linking.role_links(…), not here.",
    )


def asked_for(one: RoleLinks) -> pd.DataFrame:
    """Double-scorings that a role is asked for, without the candidates: a row a rater and two networks."""
    pairs = zip(one.table["from_network"], one.table["to_network"], strict=True)
    named = one.table.assign(joins=[f"{first} and {second}" for first, second in pairs])
    of = named.groupby(["rater", "joins", "closes_ring"], sort=False, as_index=False)
    return of.agg(n_lessons=("cost", "size"), cost=("cost", "sum"))
