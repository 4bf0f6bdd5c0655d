"""What should have been recorded, what was, and who is missing late in the placement or left early."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status
from mentorstats.printed import Printed, Shown, counted

BY = ("cohort", "site", "licensure_area")
NOT_BEGUN = ("planned",)
LEFT = "ended_early"
UNFINISHED = (*NOT_BEGUN, LEFT, "running")
FEWEST = 2  # people of a group from which a mean has an error
_PLACED = ("placement", "candidate")
_SEEN = ("observation", "placement", "date")
_RATED = ("observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "rank")


@dataclass(frozen=True, repr=False)
class Coverage(Shown):
    """Records expected against those present. Full counts of the records, so without intervals.

    Attributes
    ----------
    flow
        From the placements to those analysed, indexed by step: ``n`` placements left and ``n_left_out``.
    groups
        Indexed by ``by`` and ``group``: ``n_candidates``, ``n_placements`` (completed ones),
        ``n_lessons`` observed in them and ``n_expected``; ``n_enough`` placements with as many lessons as
        expected and their share ``value``; ``n_late`` placements with a lesson in the last part and
        ``share_late``, NaN where no placement has both its dates.
    roles
        Indexed by rater_role: ``n_raters``, ``n_forms`` (one rater's ratings of one lesson),
        ``n_expected`` ratings, ``n_ratings`` with a level and their share ``value``.
    leavers
        One row: mean level early in the placement of those who left, against those who stayed:
        ``n_first``, ``n_second`` candidates, ``mean_first``, ``mean_second``, ``value`` (first minus
        second) with Welch's interval, and its status.
    expected
        Lessons expected of a completed placement.
    """

    flow: pd.DataFrame
    groups: pd.DataFrame
    roles: pd.DataFrame
    leavers: pd.DataFrame
    expected: int

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Records expected and present",
            facts=(
                f"{counted(int(self.flow['n'].iloc[0]), 'placement')}, "
                f"{int(self.flow['n'].iloc[-1]):,} of them analysed",
            ),
            ask=(".flow", ".groups", ".roles", ".leavers"),
        )


@entry()
def expected_and_present(
    placements: pd.DataFrame,
    observations: pd.DataFrame,
    long: pd.DataFrame,
    rubrics: pd.DataFrame,
    *,
    lessons: int = 6,
    late: float = 2 / 3,
    confidence: float = 0.95,
) -> Coverage:
    """Count records expected and present.

    Parameters
    ----------
    placements
        ``placement``, ``candidate``; where there are such columns ``status``, ``start``, ``end`` and the
        groups cohort, site and licensure_area. A placement without a status counts as completed.
    observations
        ``observation``, ``placement``, ``date``.
    long
        The long table (`Records.long`); rows without a rank are ratings without a level.
    rubrics
        ``rubric``, ``version``, ``criterion``: what a form should hold.
    lessons
        Observed lessons expected of a completed placement.
    late
        Fraction of the placement after which a lesson counts as late.
    confidence
        Coverage of the interval.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or a number is outside its range.
    """
    need_columns(placements.columns, _PLACED, where="placements")
    need_columns(observations.columns, _SEEN, where="observations")
    need_columns(long.columns, (*_RATED, "candidate", "week"), where="long")
    if lessons < 1 or not 0 < late < 1:
        raise ArgumentError(f"lessons {lessons!r}, late {late!r}", allowed="from 1; a fraction in (0, 1)")
    placed = _told(placements, observations, late)
    return Coverage(
        flow=_flow(placed, long),
        groups=_groups(placed, lessons),
        roles=_roles(long, rubrics),
        leavers=_leavers(placed, long, confidence),
        expected=lessons,
    )


def _told(placements: pd.DataFrame, observations: pd.DataFrame, late: float) -> pd.DataFrame:
    """Placements with how many lessons were observed, and whether one of them late (missing: no dates)."""
    out = placements.reindex(columns=[*_PLACED, *BY, "status", "start", "end"]).reset_index(drop=True)
    out["begun"] = ~out["status"].isin(NOT_BEGUN)
    out["completed"] = ~out["status"].isin(UNFINISHED)
    seen = observations[list(_SEEN)].merge(out[["placement", "start", "end"]], on="placement")
    start, end = (pd.to_datetime(seen[name]) for name in ("start", "end"))
    share = (pd.to_datetime(seen["date"]) - start) / (end - start).where(end > start)
    seen["late"] = share >= late
    by_placement = seen.groupby("placement")
    out["n_lessons"] = out["placement"].map(by_placement.size()).fillna(0).astype("int64")
    dated = out["start"].notna() & out["end"].notna()
    late_ones = seen.loc[seen["late"].fillna(False).to_numpy(dtype=bool), "placement"]
    out["late"] = out["placement"].isin(late_ones).astype("boolean").where(dated)
    return out


def _flow(placed: pd.DataFrame, long: pd.DataFrame) -> pd.DataFrame:
    with_level = long[long["rank"].notna()]
    own = with_level.get("independent", pd.Series(True, index=with_level.index))
    independent = with_level[own.astype("boolean").fillna(True).to_numpy(dtype=bool)]
    weeks = independent[independent["week"].notna()]
    steps = {
        "in_records": pd.Series(True, index=placed.index),
        "begun": placed["begun"],
        "observed": placed["n_lessons"] > 0,
        "with_level": placed["placement"].isin(with_level["placement"]),
        "independent_level": placed["placement"].isin(independent["placement"]),
        "with_week": placed["placement"].isin(weeks["placement"]),
    }
    kept = pd.DataFrame(steps).cummin(axis=1).sum().astype("int64")
    left_out = (-kept.diff()).fillna(0).astype("int64")
    return pd.DataFrame({"n_left_out": left_out, "n": kept}).rename_axis("step")


def _groups(placed: pd.DataFrame, lessons: int) -> pd.DataFrame:
    whole = placed[placed["completed"]]
    parts = [_counts(whole.assign(group="all"), "all", ["group"], lessons)]
    for by in BY:
        known = whole[whole[by].notna()]
        if len(known):
            parts.append(_counts(known.assign(group=known[by].astype("str")), by, ["group"], lessons))
    return pd.concat(parts).set_index(["by", "group"])


def _counts(rows: pd.DataFrame, by: str, keys: Sequence[str], lessons: int) -> pd.DataFrame:
    ready = rows.assign(enough=rows["n_lessons"] >= lessons, dated=rows["late"].notna())
    out = ready.groupby(list(keys), as_index=False).agg(
        n_candidates=("candidate", "nunique"),
        n_placements=("placement", "size"),
        n_lessons=("n_lessons", "sum"),
        n_enough=("enough", "sum"),
        n_late=("late", "sum"),
        n_dated=("dated", "sum"),
    )
    out["n_expected"] = lessons * out["n_placements"]
    out["value"] = out["n_enough"] / out["n_placements"]
    out["n_late"] = out["n_late"].fillna(0).astype("int64")
    out["share_late"] = out["n_late"] / out["n_dated"].where(out["n_dated"] > 0)
    return out.assign(by=by)


def _roles(long: pd.DataFrame, rubrics: pd.DataFrame) -> pd.DataFrame:
    criteria = rubrics.groupby(["rubric", "version"])["criterion"].nunique()
    forms = long.groupby(["rater_role", "observation", "rater", "rubric", "rubric_version"], observed=True)
    levels = forms["rank"].count().rename("n_ratings").reset_index()
    keys = pd.MultiIndex.from_frame(levels[["rubric", "rubric_version"]].astype("str"))
    levels["n_expected"] = criteria.reindex(keys).fillna(0).to_numpy(dtype=np.int64)
    out = levels.groupby("rater_role", observed=True).agg(
        n_raters=("rater", "nunique"),
        n_forms=("rater", "size"),
        n_expected=("n_expected", "sum"),
        n_ratings=("n_ratings", "sum"),
    )
    return out.assign(value=out["n_ratings"] / out["n_expected"].where(out["n_expected"] > 0))


def _leavers(placed: pd.DataFrame, long: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Early levels of those who left against those who stayed, Welch's t of candidates' means [welch_1947].

    Early is what both groups had time for: up to the middle of the weeks of those who left.
    """
    status = placed.drop_duplicates("candidate").set_index("candidate")["status"]
    left = placed.loc[placed["status"] == LEFT, "candidate"]
    rated = long[long["rank"].notna() & long["week"].notna()]
    until = rated.loc[rated["candidate"].isin(left), "week"].astype("float64").median()
    early = rated[rated["week"].astype("float64") <= until]
    means = early["rank"].astype("float64").groupby(early["candidate"].astype("str")).mean()
    gone = means.index.isin(left)
    stayed = means.index.isin(status.index[~status.isin(UNFINISHED)]) & ~gone
    return _welch(means[gone].to_numpy(), means[stayed].to_numpy(), confidence)


def _welch(first: np.ndarray, second: np.ndarray, confidence: float) -> pd.DataFrame:
    row: dict[str, object] = {"n_first": len(first), "n_second": len(second)}
    nothing = dict.fromkeys(("mean_first", "mean_second", "value", "low", "high"), math.nan)
    if min(len(first), len(second)) < FEWEST:
        status = Status.NO_RECORDS if not len(first) else Status.TOO_FEW_TO_ASSESS
        note = "Nobody with a level left early." if not len(first) else "Too few left, or stayed, to compare."
        row |= nothing | {"interval_method": "none", "status": status.value, "status_note": note}
    else:
        difference = float(first.mean() - second.mean())
        low = high = math.nan
        if first.std() + second.std() > 0:
            found = stats.ttest_ind(first, second, equal_var=False).confidence_interval(confidence)
            low, high = float(found.low), float(found.high)
        row |= {"mean_first": first.mean(), "mean_second": second.mean(), "value": difference}
        row |= {"low": low, "high": high, "interval_method": "none" if math.isnan(low) else "welch_t"}
        row |= {"status": Status.OK.value, "status_note": ""}
    return pd.DataFrame([row | {"confidence": confidence}])
