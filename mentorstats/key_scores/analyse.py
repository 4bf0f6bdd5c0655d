"""Everything that is asked about accuracy against expert scores, in one run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.entry import entry
from mentorstats.key_scores.certification import Certification, certificates, certify
from mentorstats.key_scores.control_charts import ControlCharts, control_charts
from mentorstats.key_scores.operating import operating_characteristic
from mentorstats.key_scores.trend import key_trend
from mentorstats.policy import Policy
from mentorstats.printed import Printed, Shown, counts
from mentorstats.progress import stage

RECORDINGS = "certification_recordings"
_SIMULATED = 100  # raters a row, enough for a whole per cent or two


@dataclass(frozen=True, eq=False, repr=False)
class Survey(Shown):
    """Everything about accuracy, each part computed when it is first asked for.

    ``certified``, ``charts`` and ``trend`` are None without recordings scored by experts. ``day`` is the one
    on which certifications are looked at.
    """

    long: pd.DataFrame
    key_ratings: pd.DataFrame
    policy: Policy
    raters: pd.DataFrame | None = None
    on: datetime.date | None = None
    seed: int = 0

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Accuracy against expert scores, each part computed when asked for",
            facts=(
                counts(((len(self.key_ratings), "key-scored rating"), (len(self.long), "lesson rating"))),
            ),
            ask=(".certified", ".chances", ".charts", ".trend", "ms.cite(survey)"),
            people=True,
        )

    @property
    def confidence(self) -> float:
        """Coverage of intervals."""
        return self.policy.value("confidence")

    @cached_property
    def certified(self) -> Certification | None:
        """Raters by the programme's rules; see `certify`."""
        return None if self.key_ratings.empty else certify_records(self.key_ratings, self.policy)

    @cached_property
    def chances(self) -> pd.DataFrame | None:
        """What the rules do to raters of known accuracy; None without recordings or without a rule."""
        if self.certified is None or not {rule.id for rule in self.certified.rules} - {RECORDINGS}:
            return None
        with stage("chance of certification"):
            return chances_of(self.certified, self.key_ratings, self.policy, seed=self.seed)

    @cached_property
    def charts(self) -> ControlCharts | None:
        """Each rater over time; see `control_charts`."""
        if self.key_ratings.empty:
            return None
        return control_charts(self.key_ratings, confidence=self.confidence, seed=self.seed)

    @cached_property
    def trend(self) -> pd.DataFrame | None:
        """Mean drift of all raters; see `key_trend`."""
        return None if self.key_ratings.empty else key_trend(self.key_ratings, confidence=self.confidence)

    @cached_property
    def day(self) -> datetime.date | None:
        """Day on which certifications are looked at."""
        return self.on or last_day(self.long)

    @cached_property
    def standing(self) -> pd.DataFrame:
        """Whose certification is current; see `standing`."""
        return standing(self.raters, self.long, on=self.day)


@entry()
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
    keyed = pd.DataFrame() if key_ratings is None else key_ratings
    return Survey(long, keyed, policy, raters, on, seed)


def certify_records(key_ratings: pd.DataFrame, rules: Policy) -> Certification:
    """Certify the raters of the table ``key_ratings``; only the first scoring of a recording counts."""
    return certify(
        key_ratings,
        criterion=[*VERSION, "criterion"],
        date="date",
        repeats="leave_out",
        rules=rules,
        confidence=rules.value("confidence"),
    )


def chances_of(found: Certification, key_ratings: pd.DataFrame, rules: Policy, *, seed: int) -> pd.DataFrame:
    """What the rules do to raters of known accuracy, at the usual number of recordings and criteria."""
    recordings = int(found.verdicts["n_recordings"].median())
    criteria = int(key_ratings.groupby("recording")["criterion"].nunique().median())
    shares = key_ratings["key_level"].value_counts(normalize=True, sort=False)
    return operating_characteristic(
        rules,
        max(recordings, 1),
        criteria,
        key_shares=shares.to_numpy(dtype=float),
        replicates=_SIMULATED,
        confidence=rules.value("confidence"),
        seed=seed,
    )


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
