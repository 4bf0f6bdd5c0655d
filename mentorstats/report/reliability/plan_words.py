"""Sentences about plans of visits, for terminal and page alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.report.numbers import count, estimate, number

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans


def advice(found: VisitPlans) -> str:
    """The cheapest plan that reaches the target, in one sentence."""
    wanted = number(found.target, "zero_one")
    chosen = found.chosen[found.chosen["scenario"] == "as_estimated"]
    if chosen.empty:
        row = found.estimable.sort_values("dependability").iloc[-1]
        return f"No plan in the table reaches a dependability of {wanted}; the best is {plan(row)}."
    return f"The cheapest plan with an estimated dependability of {wanted} or more is {plan(chosen.iloc[0])}."


def more(found: VisitPlans) -> str:
    """What one more rater or two more visits would add, and the choice under a cautious assumption."""
    chosen = found.chosen[found.chosen["scenario"] == "as_estimated"]
    row = found.estimable.sort_values("dependability").iloc[-1] if chosen.empty else chosen.iloc[0]
    gain = found.trade(int(row["n_raters"]), int(row["n_visits"]))
    if gain is None:
        return _unsure(found).strip()
    by_rater, by_visits = (number(value, "gain") for value in (gain.rater, gain.visits))
    if gain.rater > gain.visits:
        said = (
            f"Adding a rater improves dependability more than adding two visits ({by_rater} and {by_visits})."
        )
    else:
        said = (
            f"Adding two visits improves dependability at least as much as adding a rater ({by_visits} and "
            f"{by_rater})."
        )
    return f"{said}{_unsure(found)}"


def _unsure(found: VisitPlans) -> str:
    """What the choice would be if a variance estimated as zero were as large as its interval allows."""
    if found.pessimistic.empty:
        return ""
    worse = found.chosen[found.chosen["scenario"] == "pessimistic"]
    start = " If variances estimated as zero are as large as their intervals allow"
    if worse.empty:
        return f"{start}, no plan in the table is enough."
    return f"{start}, the plan is {plan(worse.iloc[0])}."


def plan(row: pd.Series) -> str:
    """Size and dependability of a plan."""
    size = f"{count(int(row['n_visits']), 'visit')} by {count(int(row['n_raters']), 'rater')}"
    return f"{size} ({value(row)})"


def value(row: pd.Series) -> str:
    """Dependability of a plan with its interval."""
    return estimate(row["dependability"], row["dependability_low"], row["dependability_high"], "zero_one")


def linkage(one: RoleLinks) -> str:
    """Whether raters of a role can be compared with each other, and what would connect those who cannot."""
    who = count(one.n_raters, "other rater" if one.role == "other" else one.role)
    alone = one.n_networks_within > one.n_networks
    if one.n_networks == 1:
        through = " and through the other roles that rated these" if alone else ""
        return f"{who} can be compared with each other through candidates they share{through}."
    without = f" ({one.n_networks_within} without raters of other roles)" if alone else ""
    apart = (
        f"{who} are in {one.n_networks} separate networks{without}; comparing them assumes comparable "
        "caseloads"
    )
    if one.own:
        return (
            f"{apart}. They rate only candidates of their own; shared lessons of other roles would connect "
            "them."
        )
    n = one.n_joining
    joining = f"{count(n, 'extra double-scored lesson')} {'is' if n == 1 else 'are'} enough to connect them"
    return f"{apart}. {joining}; one more makes the connection robust to losing one rater."


def one_lesson(found: VisitPlans) -> str:
    """How precisely one double-scored lesson compares the severity of two raters."""
    error = found.one_lesson_error
    if not error > 0:
        return ""
    return (
        "Through one lesson, the difference between two raters has a standard error of "
        f"{number(error, 'distance')} levels; four lessons halve it."
    )


def candidate_share(found: VisitPlans) -> str:
    """How much of the score of one visit is the candidate."""
    rows = found.study.components
    if "candidate" not in rows.index or pd.isna(rows["share"]["candidate"]):
        return ""
    share, low, high = (float(rows[name]["candidate"]) for name in ("share", "share_low", "share_high"))
    return f"{estimate(share, low, high, 'share')} of the variance of one visit's score is the candidate."


def change(found: HalvesChange) -> str:
    """Whether differences between candidates in change can be measured."""
    row = found.table.iloc[0]
    if pd.isna(row["generalizability"]):
        return f"Whether candidates change differently cannot be estimated. {row['status_note']}"
    found_value = estimate(
        row["generalizability"], row["generalizability_low"], row["generalizability_high"], "zero_one"
    )
    by = count(int(row["n_raters"]), "rater")
    return (
        f"The reliability of differences between candidates in change, with {by} in both halves, is "
        f"{found_value}."
    )
