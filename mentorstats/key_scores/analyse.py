"""Everything that is asked about accuracy against expert scores, in one run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.key_scores.certification import Certification, certificates, certify
from mentorstats.key_scores.control_charts import ControlCharts, control_charts
from mentorstats.key_scores.operating import operating_characteristic
from mentorstats.key_scores.trend import key_trend
from mentorstats.policy import Policy
from mentorstats.progress import stage

_SIMULATED = 100  # raters a row, enough for a whole per cent or two


@dataclass(frozen=True)
class Survey:
    """Everything about accuracy; each part is documented at the function that makes it.

    ``certified``, ``chances``, ``charts`` and ``trend`` are None without recordings scored by experts.
    ``day`` is the one on which certifications are looked at.
    """

    certified: Certification | None
    chances: pd.DataFrame | None
    charts: ControlCharts | None
    trend: pd.DataFrame | None
    standing: pd.DataFrame
    day: datetime.date | None


def survey(
    long: pd.DataFrame,
    key_ratings: pd.DataFrame | None,
    policy: Policy,
    *,
    raters: pd.DataFrame | None = None,
    on: datetime.date | None = None,
    seed: int = 0,
) -> Survey:
    """Ask everything about accuracy against expert scores.

    Parameters
    ----------
    long, key_ratings, raters
        Tables of the records; the last two may be missing or empty.
    policy
        Thresholds: ``confidence``, and those of `certification_rules`.
    on
        Day on which certifications are looked at; the last one with a rating, unless said.
    seed
        Of simulated raters and charts.
    """
    confidence = policy.value("confidence")
    day = on or last_day(long)
    keyed = pd.DataFrame() if key_ratings is None else key_ratings
    with stage("accuracy against expert scores"):
        certified, chances = certify_records(keyed, policy, confidence=confidence, seed=seed)
        charts = None if keyed.empty else control_charts(keyed, confidence=confidence, seed=seed)
        trend = None if keyed.empty else key_trend(keyed, confidence=confidence)
    return Survey(
        certified=certified,
        chances=chances,
        charts=charts,
        trend=trend,
        standing=standing(raters, long, on=day),
        day=day,
    )


def certify_records(
    key_ratings: pd.DataFrame, rules: Policy, *, confidence: float, seed: int
) -> tuple[Certification | None, pd.DataFrame | None]:
    """Certify the raters of the table ``key_ratings``, and say what the rules do to known raters.

    Of a recording that a rater scored again only the first scoring counts.

    Returns
    -------
    tuple
        What `certify` found, and `operating_characteristic` for the usual number of recordings and
        criteria; twice None without rows.
    """
    if key_ratings.empty:
        return None, None
    found = certify(
        key_ratings,
        criterion=[*VERSION, "criterion"],
        date="date",
        repeats="leave_out",
        rules=rules,
        confidence=confidence,
    )
    recordings = int(found.verdicts["n_recordings"].median())
    criteria = int(key_ratings.groupby("recording")["criterion"].nunique().median())
    shares = key_ratings["key_level"].value_counts(normalize=True, sort=False)
    chances = operating_characteristic(
        rules,
        max(recordings, 1),
        criteria,
        key_shares=shares.to_numpy(dtype=float),
        replicates=_SIMULATED,
        confidence=confidence,
        seed=seed,
    )
    return found, chances


def last_day(long: pd.DataFrame) -> datetime.date | None:
    """Last day on which a lesson with a level was rated, or None where no day is recorded."""
    days = pd.to_datetime(long.loc[long["level"].notna(), "date"]).dropna()
    return days.max().date() if len(days) else None


def standing(register: pd.DataFrame | None, long: pd.DataFrame, *, on: datetime.date | None) -> pd.DataFrame:
    """How the certificates of those who gave a level stand on a day.

    Parameters
    ----------
    register
        The table ``raters``.
    long
        The long table.
    on
        The day.

    Returns
    -------
    DataFrame
        As from `certificates`, with ``rater_role`` as in the ratings; no rows without register or day.
    """
    if register is None or register.empty or on is None:
        return pd.DataFrame()
    gave = long[long["level"].notna() & long["rater"].notna()]
    roles = gave.groupby("rater", observed=True)["rater_role"].first()
    found = certificates(register, on=on, raters=list(roles.index))
    return found.assign(rater_role=roles.reindex(found.index))
