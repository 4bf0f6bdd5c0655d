"""Which raters' standards move over the weeks, or the cycles, differently from the others of their role?

The mean drift of raters cannot be told from the mean change of candidates, so only differences stand
here; `mentorstats.key_scores.control_charts` bounds the mean on key-scored recordings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse, stats

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import WEEKS
from mentorstats.calibration.raters.differences import Differences, differences, each_role
from mentorstats.calibration.raters.rater_rows import (
    CONTRAST,
    EFFECT,
    ON_LEVELS,
    contrast_columns,
    interval_columns,
)
from mentorstats.calibration.raters.rater_variance import Between
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.printed import Shown

Floats = NDArray[np.float64]

PERIODS = ("week", "cycle")
SPAN = {"week": 10.0, "cycle": 1.0}  # periods over which a change is told on the level scale
FEWEST = {"week": 3, "cycle": 2}  # different weeks, or cycles, in which a rater has to have rated
FEWEST_LESSONS = 3  # common practice, no source: fewer hold no line that one odd lesson could not draw
FEWEST_RATERS = 5  # of a role: with fewer the variance between them is known very poorly
POWER = 0.8  # common practice, no source
METHOD = "one_step_z"

_LEVEL = (*ON_LEVELS, "detectable")
_NOTES = {
    "alone": "No other rater of the role can be compared.",
    "week": f"Rated fewer than {FEWEST_LESSONS} lessons, or in fewer than {FEWEST['week']} weeks.",
    "cycle": f"Rated fewer than {FEWEST_LESSONS} lessons, or in one cycle only.",
    "nothing": "The other effects of the model leave nothing that would tell this rater's drift.",
    "no weeks": "Weeks are missing in the records, or all ratings are of one week.",
    "one cycle": "All ratings are of one cycle.",
    "zero": "The raters' drifts differ no more than chance would have them, so all are shrunken to nothing.",
    "few": "Few raters: how far drifts differ is known very poorly, and shrunken effects with it.",
}


@dataclass(frozen=True, slots=True, repr=False)
class Drift(Shown):
    """Differences in drift.

    Attributes
    ----------
    raters
        One row a rater and role, by role and code: rater, rater_role, n_ratings, n_lessons, n_candidates,
        n_periods (different weeks or cycles); effect, se, low, high (shrunken, latent, a week or cycle);
        contrast, contrast_se, contrast_low, contrast_high, p (unshrunken, against zero);
        effect_level, contrast_level and their bounds _low and _high (ranks, in ten weeks or from cycle to
        cycle); detectable (ranks: the smallest drift that would be found with probability .8, were it the
        only test); per, confidence, interval_method, status, status_note, reference.
    roles
        One row a role: rater_role, n_raters (with a value), n_lessons and n_periods (of a rater, at the
        median), variance, sd, low and high (of the standard deviation of drift, latent), sd_level,
        sd_level_low, sd_level_high (ranks), statistic, df, p (homogeneity), detectable (of a rater with
        the median error), per, confidence, interval_method, status, status_note, reference.
    """

    about_people = True

    raters: pd.DataFrame
    roles: pd.DataFrame


@entry()
def drift(base: Base, *, per: str = "week", confidence: float = 0.95) -> pd.DataFrame:
    """Differences in drift between raters of a role: ``raters`` of `drift_between`."""
    return drift_between(base, per=per, confidence=confidence).raters


@entry()
def drift_between(base: Base, *, per: str = "week", confidence: float = 0.95) -> Drift:
    """Each rater's change against the middle of the role, by one step from the base fit [rao_1948].

    Each rater gets a column of weeks (or of cycles, numbered in their order), centred within the rater so
    that it does not touch severity. All columns are added at once; the mean of a role is taken out. Change
    over weeks is that within a cycle, added up over the rater's cycles.

    Parameters
    ----------
    base
        The base fit; its variances are held.
    per
        ``week`` or ``cycle``.
    confidence
        Coverage of intervals.

    Returns
    -------
    Drift
        A rater who served too few weeks, or in one cycle only, is a row without value.

    Raises
    ------
    ArgumentError
        ``per`` is unknown, or ``confidence`` no fraction.

    Notes
    -----
    The **mean** drift of a role is invisible here: ratings that fall because all raters become stricter
    look like those of candidates who improve less. What is found is a difference between raters, if the
    changes of their candidates differ no more than the model has candidates differ, and not by rater.

    Contrasts are against the mean of the role by generalised least squares. The variance between the
    raters of a role is that of [paule_mandel_1982] with the joint covariance of the estimates, its bounds
    are by the profile of Q [viechtbauer_2007], which may begin at zero, homogeneity is tested by Q
    [cochran_1954]. Raters of other roles drift with their role's own variance meanwhile.
    """
    if per not in PERIODS:
        raise ArgumentError(f"per {per!r}", allowed=PERIODS)
    raters = counted(base, per)
    period, reason = periods_of_rows(base, per)
    if reason is not None:
        return _refused(raters, per, confidence, *reason)
    enough = (raters["n_periods"] >= FEWEST[per]) & (raters["n_lessons"] >= FEWEST_LESSONS)
    asked = np.flatnonzero(enough)
    step = base.one_step(slopes(base, period)[:, asked])
    known = np.diagonal(step.information) > 0
    asked = asked[known]
    information = step.information[np.ix_(known, known)]
    raters = _blank(raters, per, confidence)
    raters.loc[enough & ~raters.index.isin(asked), "status_note"] = _NOTES["nothing"]
    found = _answered(raters, asked, step.score[known], information, confidence) if len(asked) else {}
    return Drift(_on_levels(base, raters, per), _roles(base, raters, found, per, confidence))


# What is asked -------------------------------------------------------------------------------------


def counted(base: Base, per: str) -> pd.DataFrame:
    """Raters and what they rated, from the rows alone."""
    periods = base.rows.groupby(["rater", "rater_role"], observed=True)["week" if per == "week" else "cohort"]
    return base.counted.assign(n_periods=periods.nunique().to_numpy())


def periods_of_rows(base: Base, per: str) -> tuple[Floats, tuple[Status, str] | None]:
    """Period of each row, (n,), or why drift cannot be asked for at all."""
    none = np.zeros(0)
    if base.rows.empty:
        return none, (Status.NO_RECORDS, "")
    if not has_value(base.status):
        return none, (base.status, base.status_note)
    if per == "week":
        weeks = base.rows[WEEKS].to_numpy(dtype=np.float64)
        if np.isnan(weeks).any() or np.ptp(weeks) == 0:
            return none, (Status.NOT_IDENTIFIED, _NOTES["no weeks"])
        return weeks, None
    order = _cycle_order(base.rows)
    if len(order) < 2:
        return none, (Status.NOT_IDENTIFIED, _NOTES["one cycle"])
    return np.asarray(base.rows["cohort"].map(order), dtype=np.float64), None


def _cycle_order(rows: pd.DataFrame) -> dict[object, int]:
    """Number of each cycle: by their first day where all have one, else by name."""
    names = sorted(rows["cohort"].dropna().unique(), key=str)
    if "date" in rows:
        first = pd.to_datetime(rows["date"]).groupby(rows["cohort"], observed=True).min()
        if first.notna().all():
            names = list(first.sort_values(kind="stable").index)
    return {name: number for number, name in enumerate(names)}


def slopes(base: Base, period: Floats) -> sparse.csr_array:
    """Periods at the rater's own ratings, centred within the rater by what the ratings say, (n, raters)."""
    own = base.rater_of_row
    total = np.bincount(own, base.information)
    mean = np.bincount(own, base.information * period) / np.where(total > 0, total, 1.0)
    return sparse.csr_array(base.by_rater(period - mean[own]))


# What is answered ----------------------------------------------------------------------------------


def _blank(raters: pd.DataFrame, per: str, confidence: float) -> pd.DataFrame:
    """Rows that have too few weeks, to be filled where they have enough."""
    out = raters.copy()
    for name in (*EFFECT, *CONTRAST, "p"):
        out[name] = math.nan
    out["per"], out["confidence"], out["interval_method"] = per, confidence, "none"
    out["status"], out["status_note"] = Status.NOT_IDENTIFIED.value, _NOTES[per]
    out["reference"] = "rao_1948"
    return out


def _answered(
    raters: pd.DataFrame, asked: NDArray[np.intp], score: Floats, information: Floats, confidence: float
) -> dict[str, Between]:
    """Fill the rows of the raters asked about, role by role; the spread of each role that has one."""
    role = raters["rater_role"].to_numpy()[asked].astype(str)
    names, number = np.unique(role, return_inverse=True)
    found = {}
    solved = each_role(score, information, number.astype(np.int64), confidence)
    for at, (own, between) in enumerate(solved):
        rows = asked[number == at]
        if between.df < 1:
            raters.loc[rows, "status_note"] = _NOTES["alone"]
            continue
        found[str(names[at])] = between
        _fill(raters, rows, differences(own, between), between)
    return found


def _fill(raters: pd.DataFrame, rows: NDArray[np.intp], found: Differences, between: Between) -> None:
    confidence = raters["confidence"].iloc[0]
    filled = contrast_columns(found.contrast, found.contrast_se, confidence)
    filled |= interval_columns(EFFECT, found.effect, found.effect_se, confidence)
    for name, column in filled.items():
        raters.loc[rows, name] = column
    raters.loc[rows, "interval_method"] = METHOD
    status, note = _standing(len(rows), between)
    raters.loc[rows, "status"], raters.loc[rows, "status_note"] = status.value, note
    if between.variance == 0:
        raters.loc[rows, ["se", "low", "high"]] = math.nan


def _standing(n: int, between: Between) -> tuple[Status, str]:
    if n < FEWEST_RATERS:
        return Status.FEW_LEVELS, _NOTES["few"]
    if between.variance == 0:
        return Status.BOUNDARY, _NOTES["zero"]
    return Status.OK, ""


def _on_levels(base: Base, raters: pd.DataFrame, per: str) -> pd.DataFrame:
    """Effects and contrasts in ranks over the usual span."""
    out = raters.copy()
    for name, latent in ON_LEVELS.items():
        out[name] = base.on_level_scale(SPAN[per] * out[latent].to_numpy(dtype=np.float64))
    out["detectable"] = _detectable(base, out["contrast_se"].to_numpy(dtype=np.float64), per, out)
    return _ordered(out)


def _detectable(base: Base, error: Floats, per: str, table: pd.DataFrame) -> Floats:
    """Ranks: the drift that a two-sided test finds with probability `POWER`, the mean of up and down."""
    confidence = table["confidence"].to_numpy(dtype=np.float64)
    shift = SPAN[per] * (stats.norm.ppf((1 + confidence) / 2) + stats.norm.ppf(POWER)) * error
    return np.asarray((base.on_level_scale(shift) - base.on_level_scale(-shift)) / 2)


def _ordered(raters: pd.DataFrame) -> pd.DataFrame:
    first = ["rater", "rater_role", "n_ratings", "n_lessons", "n_candidates", "n_periods"]
    last = ["per", "confidence", "interval_method", "status", "status_note", "reference"]
    ordered = raters.sort_values(["rater_role", "rater"], kind="stable", ignore_index=True)
    return ordered[[*first, *EFFECT, *CONTRAST, "p", *_LEVEL, *last]]


def _roles(
    base: Base, raters: pd.DataFrame, found: dict[str, Between], per: str, confidence: float
) -> pd.DataFrame:
    rows = []
    for name, theirs in raters.groupby("rater_role", observed=True, sort=True):
        valued = theirs[theirs["contrast"].notna()]
        row: dict[str, object] = {"rater_role": str(name), "n_raters": len(valued)}
        told = valued if len(valued) else theirs
        row |= {column: float(told[column].median()) for column in ("n_lessons", "n_periods")}
        between = found.get(str(name))
        if between is None:
            row |= {"status": Status.NOT_IDENTIFIED.value, "status_note": str(theirs["status_note"].iloc[0])}
        else:
            row |= _between(base, between, per)
            status, note = _standing(len(valued), between)
            row |= {"interval_method": "q_profile", "status": status.value, "status_note": note}
            error = np.array([valued["contrast_se"].median()])
            row["detectable"] = float(_detectable(base, error, per, valued.iloc[:1])[0])
        rows.append(row)
    return _framed(rows, per, confidence)


def _between(base: Base, between: Between, per: str) -> dict[str, object]:
    levels = base.on_level_scale(SPAN[per] * np.array(between.sd))
    return {
        "variance": between.variance,
        **dict(zip(("sd", "low", "high"), between.sd, strict=True)),
        **dict(zip(("sd_level", "sd_level_low", "sd_level_high"), map(float, levels), strict=True)),
        "statistic": between.statistic,
        "df": float(between.df),
        "p": between.p,
    }


def _framed(rows: list[dict[str, object]], per: str, confidence: float) -> pd.DataFrame:
    numbers = ["variance", "sd", "low", "high", "sd_level", "sd_level_low", "sd_level_high"]
    numbers += ["statistic", "df", "p", "detectable"]
    columns = ["rater_role", "n_raters", "n_lessons", "n_periods", *numbers, "interval_method", "status"]
    frame = pd.DataFrame(rows, columns=[*columns, "status_note"])
    frame[numbers] = frame[numbers].astype("float64")
    frame["interval_method"] = frame["interval_method"].astype("object").fillna("none")
    return frame.assign(per=per, confidence=confidence, reference="viechtbauer_2007")


def _refused(raters: pd.DataFrame, per: str, confidence: float, status: Status, note: str) -> Drift:
    """All rows with the one reason why there is no value."""
    blank = _blank(raters, per, confidence).assign(status=status.value, status_note=note)
    for name in _LEVEL:
        blank[name] = math.nan
    by_role = blank.groupby("rater_role", observed=True, sort=True)
    rows: list[dict[str, object]] = [
        {"rater_role": str(name), "n_raters": 0, "status": status.value, "status_note": note}
        | {column: float(theirs[column].median()) for column in ("n_lessons", "n_periods")}
        for name, theirs in by_role
    ]
    return Drift(_ordered(blank), _framed(rows, per, confidence))
