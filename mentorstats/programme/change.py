"""How do rated levels change over the weeks of the placement, and how differently between candidates?

Change in rated level: raters who become more lenient over a year look like candidates who gain, and ratings
of lessons cannot tell the two apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from statsmodels.stats.multitest import multipletests

from mentorstats.calibration.base.rows import MEASURE, WEEKS
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.mixed import by, fit
from mentorstats.mixed.local.expansion import Expansion
from mentorstats.mixed.tables import components
from mentorstats.printed import Printed, Shown
from mentorstats.programme.cohorts import METHOD
from mentorstats.programme.rating_model import RatingModel

Floats = NDArray[np.float64]

MOMENTS = {"start": 0.05, "middle": 0.5, "end": 0.95}  # of the weeks of rated lessons, so that none is beyond
FIRST, LAST = 1 / 3, 2 / 3  # parts of these weeks between which single candidates are compared
_ERRORS = ("rater", "observation", f"rater × {MEASURE}")


@dataclass(frozen=True, repr=False)
class Change(Shown):
    """Change in rated level over weeks.

    Attributes
    ----------
    curve
        A row a week, the rows of start, middle and end named in ``moment``: ``week``, expected level
        ``value`` with limits, probability ``reach`` of the target or above with limits.
    total
        One row: change in levels from start to end with limits, ``p``, ``points`` of the probability.
    criteria
        Indexed by rubric, rubric_version and criterion: level at ``start`` and ``end``, their difference
        ``value`` with limits, ``p``, ``p_adjusted`` (Holm), ``n_ratings``.
    slopes
        One row: ``sd`` of the candidates' own change from start to end, in levels, and ``reliability`` of a
        candidate's estimated change, one less the mean error variance over the variance.
    reliable
        One row: ``n_candidates`` with lessons in the first and the last third, ``n_up`` and ``n_down`` whose
        difference is beyond its error, ``n_expected`` on each side if nobody changed, ``sem`` (median
        standard error of a difference) [jacobson_truax_1991].
    """

    curve: pd.DataFrame
    total: pd.DataFrame
    criteria: pd.DataFrame
    slopes: pd.DataFrame
    reliable: pd.DataFrame
    target: int

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Change in rated level",
            facts=(f"{len(self.curve)} weeks, status {self.total['status'].iloc[0]}",),
            ask=(".curve", ".total", ".criteria", ".slopes", ".reliable"),
        )


@entry()
def rated_change(model: RatingModel, *, target: int = 3) -> Change:
    """Describe the change.

    Parameters
    ----------
    model
        From `mentorstats.programme.fit_ratings`.
    target
        Rank from which a level counts as at target.

    Raises
    ------
    ArgumentError
        The target is no rank above the lowest.
    """
    if target < 2:
        raise ArgumentError(f"target {target}", allowed="a whole number from 2")
    weeks = pd.to_numeric(model.rows["week"]).astype("Float64").dropna().astype("float64")
    if not model.has_value or WEEKS not in model.fit.model.declared.fixed:
        return _nothing(model, target)
    centre = float(weeks.mean())
    moments = {name: float(np.round(np.quantile(weeks, share))) for name, share in MOMENTS.items()}
    if moments["start"] == moments["end"]:
        return _nothing(model, target)
    df = max(int(model.rows["candidate"].nunique()) - 1, 1)
    ends = np.array([moments["start"], moments["end"]]) - centre
    return Change(
        curve=_curve(model, moments, centre, df, target),
        total=_total(model, ends, df, target),
        criteria=_criteria(model, ends, df),
        slopes=_slopes(model, ends),
        reliable=_reliable(model, moments),
        target=target,
    )


def _curve(
    model: RatingModel, moments: dict[str, float], centre: float, df: float, target: int
) -> pd.DataFrame:
    weeks = np.arange(moments["start"], moments["end"] + 1)
    found = model.combine(model.design(WEEKS, weeks - centre), df)
    low, high = found.limits(model.fit.confidence)
    out = pd.DataFrame({"week": weeks.astype(int)})
    for end, at in (("", found.value), ("_low", low), ("_high", high)):
        out["value" + end] = model.levels(at)
        out["reach" + end] = model.reaching(at, target)
    out["moment"] = out["week"].map({int(week): name for name, week in moments.items()}).fillna("")
    return out.assign(confidence=model.fit.confidence, interval_method=METHOD, status=Status.OK.value)


def _total(model: RatingModel, ends: Floats, df: float, target: int) -> pd.DataFrame:
    rows = model.design(WEEKS, ends)
    middle = model.combine(rows).value.mean()
    found = model.combine(rows[1:] - rows[:1], df)
    low, high = found.limits(model.fit.confidence)
    row: dict[str, Any] = {}
    for end, at in (("", found.value), ("_low", low), ("_high", high)):
        row[end.removeprefix("_") or "value"] = float(
            (model.levels(middle + at / 2) - model.levels(middle - at / 2))[0]
        )
        row["points" + end] = float(
            (model.reaching(middle + at / 2, target) - model.reaching(middle - at / 2, target))[0]
        )
    row["p"] = float(2 * stats.t.sf(abs(found.value[0]) / found.se[0], df))
    row |= {
        "n_candidates": int(model.rows["candidate"].nunique()),
        "status": Status.OK.value,
        "status_note": "",
    }
    return pd.DataFrame([row | {"confidence": model.fit.confidence, "interval_method": METHOD}])


def _criteria(model: RatingModel, ends: Floats, df: float) -> pd.DataFrame:
    keys = ["rubric", "rubric_version", "criterion"]
    sizes = model.rows.groupby([MEASURE, *keys], observed=True).size()
    several = model.fit.model.declared.thresholds_by is not None
    rows = []
    for line in sizes.rename("n").reset_index().itertuples(index=False):
        measure, *labels, n = line
        place = measure if several else model.fit.model.found.threshold_groups[0]
        group = measure if several else None
        design = model.design_of_criterion(place, ends)
        middle = model.combine(design).value.mean()
        found = model.combine(design[1:] - design[:1], df)
        low, high = found.limits(model.fit.confidence)
        shift = np.array([found.value[0], low[0], high[0]]) / 2
        up, down = model.levels(middle + shift, group), model.levels(middle - shift, group)
        p = float(2 * stats.t.sf(abs(found.value[0]) / found.se[0], df))
        rows.append((*labels, int(n), down[0], up[0], *(up - down), p))
    names = [*keys, "n_ratings", "start", "end", "value", "low", "high", "p"]
    out = pd.DataFrame(rows, columns=names).set_index(keys)
    out["p_adjusted"] = multipletests(out["p"], method="holm")[1]
    return out.assign(confidence=model.fit.confidence, interval_method=METHOD, status=Status.OK.value)


def _slopes(model: RatingModel, ends: Floats) -> pd.DataFrame:
    """Spread of the candidates' own change, and how surely one of them is known."""
    name = f"candidate: {WEEKS}"
    variances = components.table(model.fit.model, model.fit.confidence, intervals=False)["variance"]
    row: dict[str, Any] = {"sd": math.nan, "reliability": math.nan, "status": Status.NOT_IDENTIFIED.value}
    row["status_note"] = "No candidate was rated in several weeks, or too few were."
    variance = float(variances.get(name, math.nan))
    if not math.isnan(variance):
        near = model.levels(
            model.combine(model.design(WEEKS, np.array([-0.5, 0.5]))).value.mean() + np.array([-0.05, 0.05])
        )
        row["sd"] = math.sqrt(variance) * float(ends[1] - ends[0]) * float(near[1] - near[0]) / 0.1
        row |= {"status": Status.BOUNDARY.value, "status_note": "No candidate was found to change otherwise."}
        if variance > 0:
            row |= {"reliability": _reliability(model), "status": Status.OK.value, "status_note": ""}
    row["n_candidates"] = int(model.rows["candidate"].nunique())
    return pd.DataFrame([row])


def _reliability(model: RatingModel) -> float:
    """One less the mean prediction-error variance of the slopes over their variance."""
    fitted = model.fit.model
    t = next(i for i, members in enumerate(fitted.members) if members.name == "candidate")
    own = fitted.levels.triangles.covariances(fitted.levels.theta)[t]
    _, errors = Expansion(fitted).joint.effects(t)
    return float(np.clip(1 - errors[:, 1, 1].mean() / own[1, 1], 0.0, 1.0))


def _reliable(model: RatingModel, moments: dict[str, float]) -> pd.DataFrame:
    """Candidates whose mean level differs from the first to the last third by more than its error.

    The error of a difference is that of weights (1 over the number of late ratings, less 1 over that of early
    ones): for each component of variance the sum over its members of the squared sum of their weights, so
    that a rater who came early and late cancels, and a lesson does not.
    """
    rows = model.rows.assign(week=pd.to_numeric(model.rows["week"]).astype("Float64")).dropna(subset=["week"])
    span = moments["end"] - moments["start"]
    early = (rows["week"] <= moments["start"] + FIRST * span).to_numpy(dtype=bool)
    late = (rows["week"] >= moments["start"] + LAST * span).to_numpy(dtype=bool)
    rows = rows.assign(early=early, late=late)[early | late]
    both = rows.groupby("candidate")[["early", "late"]].transform("sum").to_numpy()
    rows, both = rows[both.min(axis=1) > 0], both[both.min(axis=1) > 0]
    row: dict[str, Any] = {
        "n_candidates": int(rows["candidate"].nunique()),
        "confidence": model.fit.confidence,
    }
    none = {"n_up": pd.NA, "n_down": pd.NA, "n_expected": math.nan, "sem": math.nan}
    variances = _error_variances(model) if len(rows) else None
    if variances is None:
        return pd.DataFrame([row | none | {"status": Status.NOT_IDENTIFIED.value}])
    weight = np.where(rows["late"], 1 / both[:, 1], -1 / both[:, 0])
    centred = rows["rank"] - rows.groupby(MEASURE)["rank"].transform("mean")
    data = rows.assign(w=weight, d=weight * centred)
    error = variances["residual"] * (data["w"] ** 2).groupby(data["candidate"]).sum()
    for name in [name for name in _ERRORS if name in variances.index]:
        sums = data.groupby(["candidate", *name.split(" × ")], observed=True)["w"].sum()
        error = error + variances[name] * (sums**2).groupby("candidate").sum()
    difference, se = data.groupby("candidate")["d"].sum(), np.sqrt(error)
    beyond = stats.norm.ppf((1 + model.fit.confidence) / 2) * se
    row |= {"n_up": int((difference > beyond).sum()), "n_down": int((difference < -beyond).sum())}
    row |= {"n_expected": row["n_candidates"] * (1 - model.fit.confidence) / 2, "sem": float(se.median())}
    return pd.DataFrame([row | {"status": Status.OK.value}])


def _error_variances(model: RatingModel) -> pd.Series | None:
    """Variances of ranks that are error in a candidate's change, by restricted maximum likelihood."""
    rows = model.rows
    grouped = [by("candidate", slope=WEEKS, correlated=False), by("rater"), by("observation")]
    several = rows[MEASURE].nunique() > 1
    linear = fit(
        rows.assign(rank=rows["rank"].astype("float64")),
        response="rank",
        fixed=[MEASURE, WEEKS] if several else [WEEKS],
        grouped=[*grouped, by("rater", MEASURE)] if several else grouped,
        degrees="none",
    )
    if linear.model.engine is None or linear.model.verdict:
        return None
    found = components.table(linear.model, linear.confidence, intervals=False)["variance"]
    return found if not np.isnan(found["residual"]) else None


def _nothing(model: RatingModel, target: int) -> Change:
    """No change, and why."""
    why, note = (
        (model.fit.status, model.fit.status_note)
        if not model.has_value
        else (Status.NO_RECORDS, "Lessons of several weeks are needed, with the first day of each placement.")
    )
    told = {
        "confidence": model.fit.confidence,
        "interval_method": "none",
        "status": why.value,
        "status_note": note,
    }
    values = dict.fromkeys(("value", "low", "high", "points", "points_low", "points_high", "p"), math.nan)
    curve = [
        "week",
        "value",
        "value_low",
        "value_high",
        "reach",
        "reach_low",
        "reach_high",
        "moment",
        "status",
    ]
    criteria = ["n_ratings", "start", "end", "value", "low", "high", "p", "p_adjusted", "status"]
    empty = pd.MultiIndex.from_arrays([[], [], []], names=["rubric", "rubric_version", "criterion"])
    n = int(model.rows["candidate"].nunique())
    slopes = {"sd": math.nan, "reliability": math.nan, "n_candidates": n, "status": why.value}
    reliable = {"n_candidates": 0, "n_up": pd.NA, "n_down": pd.NA, "n_expected": math.nan, "sem": math.nan}
    return Change(
        curve=pd.DataFrame(columns=curve),
        total=pd.DataFrame([values | told | {"n_candidates": n}]),
        criteria=pd.DataFrame(columns=criteria, index=empty),
        slopes=pd.DataFrame([slopes | {"status_note": note}]),
        reliable=pd.DataFrame([reliable | {"confidence": model.fit.confidence, "status": why.value}]),
        target=target,
    )
