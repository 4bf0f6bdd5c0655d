"""How many lessons were double-scored, by cycle, site, month, role and rater."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement.counts.double_scores import by_rater, over_raters
from mentorstats.agreement.counts.flow import checks
from mentorstats.agreement.counts.pairing import ROLES
from mentorstats.printed import Shown


def lessons(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """One row a lesson with a rating of either role: who rated it, and whether both did.

    Returns
    -------
    DataFrame
        Indexed by observation: candidate, cohort, site, one yes/no column a role, and
        ``double_scored``, where both roles rated at least one criterion in common.
    """
    yes_no = checks(long, roles=roles)
    enters = yes_no["has_level"] & yes_no["of_either_role"]
    rated = long[enters].assign(double_scored=yes_no["other_role_too"])
    rated = rated.assign(**{role: rated["rater_role"] == role for role in roles})
    grouped = rated.groupby("observation", observed=True, dropna=False)
    firsts = grouped[["candidate", "cohort", "site"]].first()
    return firsts.join(grouped[[*roles, "double_scored"]].any())


def double_scoring(rated: pd.DataFrame, *, by: str | None = None) -> pd.DataFrame:
    """Count the lessons that both roles rated.

    Parameters
    ----------
    rated
        From `lessons`.
    by
        A column of it; without it, one row ``all``.

    Returns
    -------
    DataFrame
        Indexed by the group: ``n_lessons``, ``n_double_scored``, ``n_candidates``, and ``value``,
        the share of lessons that are double-scored (a full count, so without interval).
    """
    of = rated[by] if by is not None else pd.Series("all", index=rated.index, name="group")
    grouped = rated.groupby(of, observed=True, dropna=False)
    counted = grouped.agg(
        n_lessons=("double_scored", "size"),
        n_double_scored=("double_scored", "sum"),
        n_candidates=("candidate", "nunique"),
    )
    return counted.assign(value=counted["n_double_scored"] / counted["n_lessons"])


@dataclass(frozen=True, eq=False, repr=False)
class DoubleScoring(Shown):
    """Counts of double-scored lessons.

    Attributes
    ----------
    total, by_cohort, by_site, by_month, by_role
        From `double_scoring` and `double_scoring_by_role`; ``by_month`` is indexed by months like
        2026-03.
    over_raters
        From `double_scores.over_raters`.
    """

    about_people = True

    total: pd.DataFrame
    by_cohort: pd.DataFrame
    by_site: pd.DataFrame
    by_month: pd.DataFrame
    by_role: pd.DataFrame
    over_raters: pd.DataFrame


def double_scores(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> DoubleScoring:
    """Count double-scored lessons in every way that the report tells."""
    rated = lessons(long, roles=roles)
    days = long.groupby("observation", observed=True)["date"].first()
    months = pd.to_datetime(days).dt.strftime("%Y-%m").rename("month")
    return DoubleScoring(
        double_scoring(rated),
        double_scoring(rated, by="cohort"),
        double_scoring(rated, by="site"),
        double_scoring(rated.join(months), by="month"),
        double_scoring_by_role(long, roles=roles),
        over_raters(by_rater(long, roles=roles)),
    )


def double_scoring_by_role(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """Count as `double_scoring`, of the lessons that each role rated.

    Returns
    -------
    DataFrame
        Indexed by role, with ``n_raters`` (raters of that role who gave a level) in front.
    """
    rated = lessons(long, roles=roles)
    gave = long[long["level"].notna()]
    n_raters = gave.groupby("rater_role", observed=True)["rater"].nunique().reindex(roles, fill_value=0)
    parts = [double_scoring(rated[rated[role]]) for role in roles]
    counted = pd.concat(parts, keys=roles, names=["rater_role"]).droplevel(1)
    return n_raters.rename("n_raters").to_frame().join(counted)
