"""Did visits and conferences keep to the programme's rules, and how far apart did they lie?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.policy import Policy, Rule
from mentorstats.programme.exact_shares import exact_shares

MODELLED = "mentor_teaches"
ANY_ROLE = "any"
OF_PLACEMENT = ("candidate", "site", "start", "end", "status")
_OF_LESSON = (
    "observation", "placement", "date", "minutes", "purpose", "visit_mode", "pre_conference", "debrief_date",
    "debrief_minutes",
)  # fmt: skip
RULES = (
    "visit_minutes",
    "visit_pre_conference",
    "visit_debriefed",
    "visit_debrief_days",
    "first_visit",
    "visits_each_half",
    "visits_in_person",
    "visit_gap_days",
)
SPANS = ("minutes", "debrief_minutes", "debrief_days", "first_day", "gap_days")
SPAN_COLUMNS = (
    "n_candidates",
    "n_units",
    "lower_quartile",
    "median",
    "upper_quartile",
    "ninth_decile",
    "largest",
)


@dataclass(frozen=True, slots=True)
class Conferences:
    """Visits held to the rules of the policy.

    Attributes
    ----------
    role
        Whose lessons count as visits: those that a rater of this role rated, or ``any`` observed one.
    n_visits
        How many there are.
    by_rule, by_site
        Share within each rule, over all and by site (index rule, and site); columns of `exact_shares`.
    spans
        One row a length of time (`SPANS`): quartiles, the value that nine in ten lie at or below, and the
        largest, in minutes or days.
    """

    role: str
    n_visits: int
    by_rule: pd.DataFrame
    by_site: pd.DataFrame
    spans: pd.DataFrame


def visits_within_rules(
    observations: pd.DataFrame, placements: pd.DataFrame, ratings: pd.DataFrame | None, policy: Policy
) -> Conferences:
    """Hold each visit, and each placement's visits together, to the rules of the policy.

    Parameters
    ----------
    observations, placements, ratings
        Tables of the data dictionary. Lessons that the mentor taught are no visits. Without ratings every
        other observed lesson is one.
    policy
        Its rows `RULES` and ``visit_role``.

    Notes
    -----
    Rules for a whole placement (the first visit, visits in each half and in person) are asked of placements
    that ran their course: with a start and an end, and completed where a status is recorded. A debrief
    counts as held where its day is recorded; where the day of no debrief is, nothing is known of any.
    """
    visits, role = _visits(observations, placements, ratings, policy.choice("visit_role"))
    confidence = policy.value("confidence")
    placed = _over(placements)
    cases = pd.concat(
        [*_of_visits(visits, policy), *_of_placements(visits, placed, policy)], ignore_index=True
    )
    cases["rule"] = pd.Categorical(cases["rule"], RULES, ordered=True)
    return Conferences(
        role=role,
        n_visits=len(visits),
        by_rule=_plain(exact_shares(cases, ["rule"], confidence=confidence)),
        by_site=_plain(exact_shares(cases, ["rule", "site"], confidence=confidence)),
        spans=_spans(visits),
    )


def dated_lessons(observations: pd.DataFrame, placements: pd.DataFrame) -> pd.DataFrame:
    """Lessons with candidate, site, start and end of their placement, typed; columns that lack are empty."""
    lessons = observations.reindex(columns=list(_OF_LESSON))
    joined = lessons.merge(
        placements.reindex(columns=["placement", *OF_PLACEMENT]), on="placement", how="left"
    )
    for name in ("date", "debrief_date", "start", "end"):
        joined[name] = pd.to_datetime(joined[name])
    for name in ("minutes", "debrief_minutes"):
        joined[name] = joined[name].astype("Float64")
    joined["pre_conference"] = joined["pre_conference"].astype("boolean")
    return joined


def _visits(
    observations: pd.DataFrame, placements: pd.DataFrame, ratings: pd.DataFrame | None, role: str
) -> tuple[pd.DataFrame, str]:
    lessons = dated_lessons(observations, placements)
    visits = lessons[lessons["purpose"].astype("str") != MODELLED]
    if ratings is None or role == ANY_ROLE:
        return visits.reset_index(drop=True), ANY_ROLE
    rated = ratings.loc[ratings["rater_role"] == role, "observation"]
    return visits[visits["observation"].isin(rated)].reset_index(drop=True), role


def _over(placements: pd.DataFrame) -> pd.DataFrame:
    """Placements that ran their course."""
    placed = placements.reindex(columns=["placement", *OF_PLACEMENT])
    placed = placed.assign(start=pd.to_datetime(placed["start"]), end=pd.to_datetime(placed["end"]))
    whole = placed["status"].isna() | (placed["status"] == "completed")
    return placed[whole & (placed["end"] > placed["start"])]


def _of_visits(visits: pd.DataFrame, policy: Policy) -> Iterator[pd.DataFrame]:
    yield _case(visits, "visit_minutes", _met(policy.rule("visit_minutes"), visits["minutes"]))
    if policy.choice("visit_pre_conference") == "asked":
        yield _case(visits, "visit_pre_conference", visits["pre_conference"])
    held = visits["debrief_date"].notna().astype("boolean")
    yield _case(visits, "visit_debriefed", held if held.any() else held.mask(~held))
    lag = (visits["debrief_date"] - visits["date"]).dt.days
    yield _case(visits, "visit_debrief_days", _met(policy.rule("visit_debrief_days"), lag))
    gaps = gap_days(visits)
    yield _case(visits.loc[gaps.index], "visit_gap_days", _met(policy.rule("visit_gap_days"), gaps))


def gap_days(visits: pd.DataFrame) -> pd.Series:
    """Days since the visit before in the same placement, one a visit that has one before it."""
    dated = visits[visits["date"].notna()].sort_values(["placement", "date"], kind="stable")
    gaps: pd.Series = dated.groupby("placement")["date"].diff().dt.days.dropna()
    return gaps


def _of_placements(visits: pd.DataFrame, placed: pd.DataFrame, policy: Policy) -> Iterator[pd.DataFrame]:
    inside = visits[["placement", "date", "visit_mode", "start", "end"]].dropna(subset=["date"])
    elapsed = (inside["date"] - inside["start"]) / (inside["end"] - inside["start"])
    counted = pd.DataFrame(
        {
            "placement": inside["placement"],
            "elapsed": elapsed,
            "first": (elapsed < 0.5).astype(np.int64),
            "second": (elapsed >= 0.5).astype(np.int64),
            "in_person": (inside["visit_mode"] == "in_person").astype(np.int64),
        }
    )
    groups = counted.groupby("placement")
    totals = groups[["first", "second", "in_person"]].sum().reindex(placed["placement"]).fillna(0)
    earliest = groups["elapsed"].min().reindex(placed["placement"])
    none = ~placed["placement"].isin(visits["placement"]).to_numpy()  # nobody came: the rule is missed
    first = _met(policy.rule("first_visit"), earliest).mask(none, False)
    yield _case(placed, "first_visit", first)
    halves = _met(policy.rule("visits_each_half"), totals[["first", "second"]].min(axis=1))
    yield _case(placed, "visits_each_half", halves)
    in_person = totals["in_person"] if visits["visit_mode"].notna().any() else totals["in_person"] * np.nan
    in_person = _met(policy.rule("visits_in_person"), in_person)
    yield _case(placed, "visits_in_person", in_person)


def _case(rows: pd.DataFrame, rule: str, kept: pd.Series) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "rule": rule,
            "kept": kept.astype("boolean").array,
            "candidate": rows["candidate"].astype("str").where(rows["candidate"].notna()).array,
            "site": rows["site"].astype("str").where(rows["site"].notna()).array,
        }
    )


def _met(rule: Rule, values: pd.Series) -> pd.Series:
    """Whether each value stands to the threshold as the rule asks; missing stays missing."""
    judged = {value: rule.met(float(value)) for value in values.dropna().unique()}
    return values.map(judged).astype("boolean")


def _plain(found: pd.DataFrame) -> pd.DataFrame:
    out = found.reset_index()
    return out.assign(rule=out["rule"].astype("str"))


def _spans(visits: pd.DataFrame) -> pd.DataFrame:
    first = visits.groupby("placement").agg(
        date=("date", "min"), start=("start", "first"), candidate=("candidate", "first")
    )
    gaps = gap_days(visits)
    values = {
        "minutes": (visits["minutes"], visits["candidate"]),
        "debrief_minutes": (visits["debrief_minutes"], visits["candidate"]),
        "debrief_days": ((visits["debrief_date"] - visits["date"]).dt.days, visits["candidate"]),
        "first_day": ((first["date"] - first["start"]).dt.days, first["candidate"]),
        "gap_days": (gaps, visits.loc[gaps.index, "candidate"]),
    }
    rows = {name: _quantiles(*values[name]) for name in SPANS}
    found = pd.DataFrame.from_dict(rows, orient="index", columns=list(SPAN_COLUMNS))
    return found.astype({"n_candidates": int, "n_units": int}).rename_axis("quantity")


def _quantiles(values: pd.Series, candidate: pd.Series) -> list[float]:
    known = values.dropna()
    if known.empty:
        return [0.0, 0.0, *[np.nan] * 5]
    quantiles = np.quantile(known.to_numpy(dtype=float), [0.25, 0.5, 0.75, 0.9, 1.0])
    return [float(candidate[known.index].nunique()), float(len(known)), *quantiles.tolist()]
