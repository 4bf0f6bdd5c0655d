"""Ratings that have no level: how many each role and rater left, and for which reason."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.entry import entry
from mentorstats.errors import need_columns

COLUMNS = ("rater", "rater_role", "candidate", "level", "missing_reason")
UNKNOWN = "not_recorded"  # a rating without a level and without a reason
REASONS = ("not_observed", "not_applicable", "not_scored", "withheld", UNKNOWN)


@dataclass(frozen=True, slots=True)
class WithoutLevel:
    """Full counts of the records, so they have no interval.

    Attributes
    ----------
    roles
        A row a role: ``n_raters``, ``n_candidates``, ``n_ratings``, ``n_without_level``, ``share`` of the
        ratings without a level, and a count for each of `REASONS`.
    raters
        The same a rater and role, in the order of their codes, without ``n_raters``.
    """

    roles: pd.DataFrame
    raters: pd.DataFrame


@entry()
def without_level(long: pd.DataFrame) -> WithoutLevel:
    """Count ratings without a level by reason, role and rater.

    Parameters
    ----------
    long
        The long table (`Records.long`): every rating has a row, also without a level.

    Raises
    ------
    ColumnError
        A column is missing.
    """
    need_columns(long.columns, COLUMNS, where="long table")
    empty = long["level"].isna().to_numpy()
    reason = long["missing_reason"].astype("object").where(long["missing_reason"].isin(REASONS), UNKNOWN)
    counted = long[["rater", "rater_role", "candidate"]].assign(
        n_ratings=1,
        n_without_level=empty.astype("int64"),
        **{name: (empty & (reason == name).to_numpy()).astype("int64") for name in REASONS},
    )
    raters = _by(counted, ["rater_role", "rater"])
    roles = _by(counted, ["rater_role"])
    roles.insert(1, "n_raters", raters.groupby("rater_role")["rater"].size().to_numpy())
    return WithoutLevel(roles, raters)


def _by(counted: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    grouped = counted.astype(dict.fromkeys(keys, "str")).groupby(keys, observed=True)
    found = grouped[["n_ratings", "n_without_level", *REASONS]].sum()
    found.insert(0, "n_candidates", grouped["candidate"].nunique())
    found.insert(3, "share", found["n_without_level"] / found["n_ratings"])
    return found.reset_index()
