"""Sentences about plans of visits, for terminal and page alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.report.numbers import bounds, count, estimate, number

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans


def advice(found: VisitPlans) -> str:
    """One sentence on the cheapest plan that reaches the target, and what more would buy."""
    wanted = number(found.target, "zero_one")
    chosen = found.chosen[found.chosen["scenario"] == "as_estimated"]
    if chosen.empty:
        row = found.estimable.sort_values("dependability").iloc[-1]
        said = f"No plan in the table reaches {wanted}. The best: {plan(row)}"
    else:
        row = chosen.iloc[0]
        said = f"The cheapest plan whose estimate reaches {wanted}: {plan(row)}"
    gain = found.trade(int(row["n_raters"]), int(row["n_visits"]))
    if gain is None:
        return f"{said}.{_unsure(found)}"
    more = "more" if gain.rater > gain.visits else "less"
    by_rater, by_visits = (number(value, "gain") for value in (gain.rater, gain.visits))
    return (
        f"{said}; one more rater for the same visits buys {more} than two more visits ({by_rater} against "
        f"{by_visits}).{_unsure(found)}"
    )


def _unsure(found: VisitPlans) -> str:
    """What the choice would be if an error that was taken at zero were as large as its interval allows."""
    if found.pessimistic.empty:
        return ""
    worse = found.chosen[found.chosen["scenario"] == "pessimistic"]
    then = plan(worse.iloc[0]) if len(worse) else "no plan in the table"
    return f" If what was taken at zero is as large as its interval allows, it is {then}."


def plan(row: pd.Series) -> str:
    """Size and dependability of a plan."""
    value = number(row["dependability"], "zero_one")
    between = bounds(row["dependability_low"], row["dependability_high"], "zero_one")
    size = f"{count(int(row['n_visits']), 'visit')} by {count(int(row['n_raters']), 'rater')}"
    return f"{size}: {value} {between}"


def linkage(one: RoleLinks) -> str:
    """Whether raters of a role can be compared, and what would link those who cannot."""
    who = count(one.n_raters, "other rater" if one.role == "other" else one.role)
    alone = one.n_networks_within > one.n_networks
    if one.n_networks == 1:
        through = " and the other roles that rate these" if alone else ""
        return f"{who}: one network; all can be compared through candidates they share{through}."
    without = f" ({one.n_networks_within} without raters of other roles)" if alone else ""
    apart = (
        f"{who} in {one.n_networks} separate networks{without}, compared with each other by assumption only"
    )
    if one.own:
        return f"{apart}. Their candidates are their own; links of other roles would link them too."
    ring = "one more would hold them together without any one rater"
    joining = f"{count(one.n_joining, 'extra double-scored lesson')} would link them; {ring}"
    return f"{apart}. {joining}:"


def one_lesson(found: VisitPlans) -> str:
    """How well one double-scored lesson tells two raters' severity apart."""
    error = found.one_lesson_error
    if not error > 0:
        return ""
    return (
        f"Through one lesson the difference between two raters is known with a standard error of "
        f"{number(error, 'distance')} levels; four lessons halve it."
    )


def candidate_share(found: VisitPlans) -> str:
    """How much of one score is the candidate."""
    rows = found.study.components
    if "candidate" not in rows.index or pd.isna(rows["share"]["candidate"]):
        return ""
    value, low, high = (float(rows[name]["candidate"]) for name in ("share", "share_low", "share_high"))
    share, n = estimate(value, low, high, "share"), count(found.study.n_ratings, "score")
    return f"of the variance of the score of one visit {share} is the candidate ({n})."


def change(found: HalvesChange) -> str:
    """Whether a change between the halves of a placement can be told."""
    row = found.table.iloc[0]
    if pd.isna(row["generalizability"]):
        return f"Whether candidates change differently cannot be told: {row['status_note']}"
    value = estimate(
        row["generalizability"], row["generalizability_low"], row["generalizability_high"], "zero_one"
    )
    by = count(int(row["n_raters"]), "rater")
    return f"Reliability of a candidate's change beside the others, seen by {by} in both halves: {value}."
