"""Which lessons were scored twice, by whom, with whom, where and when?

The counts are those of the records in full, so they have no interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from mentorstats.agreement.counts.pairing import ROLES, SHARED, UNIT, double_scored
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns

ON_ONE = ["rubric", "rubric_version", "criterion", "rater_role"]  # ranks are compared within these


@entry()
def lesson_table(
    long: pd.DataFrame, *, roles: tuple[str, str] | None = ROLES, more: pd.DataFrame | None = None
) -> pd.DataFrame:
    """One row a lesson that was rated, and whether it was scored twice.

    Parameters
    ----------
    long
        The long table (`Records.long`).
    roles
        As in `double_scored`; None counts any two raters.
    more
        Further columns by lesson, for example the visit mode: one row an ``observation``.

    Returns
    -------
    DataFrame
        Indexed by observation: what its rows share (candidate, cohort, site, week, …), ``month`` like
        2026-03, ``double_scored``, ``n_raters``, the columns of ``more``, and ``level_mentor`` and so on,
        a column a role: how far its ratings of the lesson lie above its mean for the same criterion under
        the same version, on average, in ranks. A role that did not rate the lesson has none, so that
        lessons are compared in the eyes of the same role.
    """
    rated = _rated(long, roles)
    grouped = rated.groupby("observation", observed=True)
    table = grouped[[name for name in SHARED if name in rated.columns]].first()
    if "date" in table.columns:
        table["month"] = pd.to_datetime(table["date"]).dt.strftime("%Y-%m")
    pairs = double_scored(long, roles=roles)
    table["double_scored"] = table.index.isin(pairs["observation"])
    table["n_raters"] = grouped["rater"].nunique()
    ranks = rated["rank"].astype(float)
    keys = [rated[name] for name in ON_ONE]
    above = ranks - ranks.groupby(keys, observed=True, dropna=False).transform("mean")
    for role in sorted(rated["rater_role"].astype("str").unique()):
        of_role = above[rated["rater_role"] == role]
        table[f"level_{role}"] = of_role.groupby(rated["observation"], observed=True).mean()
    return table if more is None else _joined(table, more)


@entry()
def by_rater(long: pd.DataFrame, *, roles: tuple[str, str] | None = ROLES) -> pd.DataFrame:
    """Double-scored lessons of each rater, and with whom most of them were.

    Returns
    -------
    DataFrame
        Indexed by rater: ``rater_role`` (the first recorded), ``n_candidates``, ``n_lessons``,
        ``n_double_scored``, ``value`` (their share), and from `partners` ``n_partners``, ``partner`` and
        ``partner_share``, missing where no lesson was scored twice.
    """
    rated = _rated(long, roles)
    pairs = double_scored(long, roles=roles)
    twice = pd.MultiIndex.from_frame(_meetings(pairs)[["rater", "observation"]])
    lessons = rated.assign(rater=rated["rater"].astype("str")).drop_duplicates(["rater", "observation"])
    lessons = lessons.assign(twice=pd.MultiIndex.from_frame(lessons[["rater", "observation"]]).isin(twice))
    counted = lessons.groupby("rater", observed=True).agg(
        rater_role=("rater_role", "first"),
        n_candidates=("candidate", "nunique"),
        n_lessons=("twice", "size"),
        n_double_scored=("twice", "sum"),
    )
    counted["value"] = counted["n_double_scored"] / counted["n_lessons"]
    found = counted.join(partners(pairs)[["n_partners", "partner", "partner_share"]])
    return found.astype({"n_partners": "Int64"})


_OF_RATERS = ("n_double_scored", "value", "n_partners", "partner_share")


def over_raters(of_raters: pd.DataFrame) -> pd.DataFrame:
    """Say how double-scored lessons and partners spread over the raters of each role.

    Parameters
    ----------
    of_raters
        From `by_rater`.

    Returns
    -------
    DataFrame
        Indexed by rater_role and quantity (``n_double_scored``, ``value``, ``n_partners`` and
        ``partner_share`` of `by_rater`; the last two of raters with a double-scored lesson):
        ``n_raters``, ``lower_quartile``, ``median``, ``upper_quartile`` and ``share_with_one``, the share
        of raters with a single partner, in the row ``n_partners`` only.
    """
    parts = {}
    for role, rows in of_raters.groupby("rater_role", observed=True, sort=True):
        for quantity in _OF_RATERS:
            given = rows[quantity].dropna().astype(float)
            low, middle, high = given.quantile([0.25, 0.5, 0.75]) if len(given) else (math.nan,) * 3
            alone = float((given == 1).mean()) if quantity == "n_partners" and len(given) else math.nan
            parts[(str(role), quantity)] = (len(given), low, middle, high, alone)
    columns = ["n_raters", "lower_quartile", "median", "upper_quartile", "share_with_one"]
    index = pd.MultiIndex.from_tuples(list(parts), names=["rater_role", "quantity"])
    return pd.DataFrame(list(parts.values()), index=index if parts else None, columns=columns)


@entry()
def partners(pairs: pd.DataFrame) -> pd.DataFrame:
    """Say with whom each rater's double-scored lessons were.

    Where nearly all are with one partner, agreement is that of two people, and tells little of others.

    Parameters
    ----------
    pairs
        From `double_scored`, or a selection of its rows.

    Returns
    -------
    DataFrame
        Indexed by rater: ``n_double_scored`` lessons, ``n_partners``, ``partner``, the most frequent one
        (of several alike the first by name), and ``partner_share``, the share of the lessons with it.
    """
    met = _meetings(pairs)
    lessons = met.groupby("rater")["observation"].nunique().rename("n_double_scored")
    together = met.groupby(["rater", "partner"]).size().rename("n").reset_index()
    ordered = together.sort_values(["rater", "n", "partner"], ascending=[True, False, True])
    most = ordered.groupby("rater").agg(
        n_partners=("partner", "size"), partner=("partner", "first"), n=("n", "first")
    )
    found = lessons.to_frame().join(most)
    return found.assign(partner_share=found["n"] / found["n_double_scored"]).drop(columns="n")


def _rated(long: pd.DataFrame, roles: tuple[str, str] | None) -> pd.DataFrame:
    """Ratings that could enter a comparison."""
    need_columns(
        long.columns, [*UNIT, "rater", "rater_role", "candidate", "level", "rank"], where="long table"
    )
    known = long[[*UNIT, "rater", "level", "rank"]].notna().all(axis=1)
    return long[known if roles is None else known & long["rater_role"].isin(roles)]


def _meetings(pairs: pd.DataFrame) -> pd.DataFrame:
    """One row a lesson, rater and partner."""
    need_columns(pairs.columns, ["observation", "rater_first", "rater_second"], where="pairs")
    sides: Sequence[tuple[str, str]] = (("rater_first", "rater_second"), ("rater_second", "rater_first"))
    both = [
        pd.DataFrame(
            {
                "observation": pairs["observation"],
                "rater": pairs[own].astype("str"),
                "partner": pairs[other].astype("str"),
            }
        )
        for own, other in sides
    ]
    return pd.concat(both, ignore_index=True).drop_duplicates(ignore_index=True)


def _joined(table: pd.DataFrame, more: pd.DataFrame) -> pd.DataFrame:
    need_columns(more.columns, ["observation"], where="more")
    if more["observation"].duplicated().any():
        raise ArgumentError(
            "a lesson stands twice",
            where="more",
            remedy="Give one row an observation, like the observations.",
        )
    added = more.set_index("observation")
    return table.join(added[[name for name in added.columns if name not in table.columns]])
