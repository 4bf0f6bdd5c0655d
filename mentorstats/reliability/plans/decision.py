"""How many visits by how many raters would make a score dependable?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.reliability.components.design import Design, Nested
from mentorstats.reliability.components.study import GStudy
from mentorstats.reliability.plans import cut as at_cut
from mentorstats.reliability.plans.cost import Prices, costs
from mentorstats.reliability.plans.projections import OWN, Sizes, Weights, grid, project, weights

Floats = NDArray[np.float64]

AS_ESTIMATED, PESSIMISTIC = "as_estimated", "pessimistic"
_COEFFICIENTS = ("generalizability", "dependability")


@entry()
def d_study(
    study: GStudy,
    sizes: Sizes,
    *,
    fixed: str | Sequence[str] = (),
    nested: Nested | None = None,
    cut: float | None = None,
    cost: Prices | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Project the components of a study to plans of other sizes.

    Parameters
    ----------
    study
        From ``g_study``.
    sizes
        ``{"rater": [1, 2], "occasion": [3, 4]}``: every combination is a plan. Of a nested facet the number
        within each member of what it is nested in. Facets not named have the size of a balanced study.
    fixed
        Facets whose members the plan holds to, beside those fixed in the study.
    nested
        What the plan nests that the study crossed, as in ``g_study``: each occasion with raters of its own,
        or each candidate with raters of their own (``{"rater": "candidate"}``). Not the other way round: a
        nested study cannot tell apart what a crossed plan needs.
    cut
        A score that decides; adds ``dependability_at_cut`` [brennan_kane_1977], ``conditional_sem`` (error of
        candidates who score there [brennan_1998]) with ``conditional_sem_status`` (``by_assumption`` where
        data are not balanced: error components keep their proportions at every score), and
        ``decision_consistency``: the probability that two independent runs of the plan fall on one side,
        scores taken as normal.
    cost
        Price of one member of a facet for one object, ``{"occasion": 50}``; of members of several facets
        together ``{("occasion", "rater"): 20}``. A nested facet counts with what it is nested in.
    confidence
        Coverage of the intervals.

    Returns
    -------
    DataFrame
        A row a plan: the sizes, ``scenario``, ``universe_variance``, ``relative_error``, ``absolute_error``
        (variances of a mean score), ``generalizability``, ``dependability``, each with limits, ``sem`` and
        ``sem_relative`` in units of the score, ``hidden``, status.

        Limits are quantiles of the coefficient over components as compatible with the data as those
        estimated: pivots of the mean squares [weerahandi_1993] or draws that have the profile's limits.
        Where a component of error was taken at zero, a second row (``scenario`` pessimistic) carries it at
        its upper limit. ``hidden`` names effects that count as the object's own because the study could not
        tell them from it: the coefficients are then too high by an unknown amount, and plans that give
        these facets more than one member have no value.

    Raises
    ------
    ArgumentError, ModelError
        A facet is unknown or has no size, or everything is fixed.
    """
    plan = study.design.with_nesting(nested, (fixed,) if isinstance(fixed, str) else fixed)
    if plan.fixed >= frozenset(plan.facets):
        raise ArgumentError("every facet is fixed, so no error is left", remedy="Leave one facet random.")
    points = grid(sizes, plan.facets, _known_sizes(study) if study.cells.n else dict.fromkeys(plan.facets, 1))
    shares = weights(plan, study.told, points)
    frames = [
        _rows(study, plan, points, shares, scenario, cut, confidence)
        for scenario in _scenarios(study, plan, shares, confidence)
    ]
    if cost is not None:
        paid = costs(plan, cost, points)
        frames = [frame.assign(cost=paid) for frame in frames]
    table = pd.concat(frames).sort_index(kind="stable").reset_index(drop=True)
    last = ["hidden", "status", "status_note"]
    return table[[name for name in table.columns if name not in last] + last]


def _known_sizes(study: GStudy) -> dict[str, int]:
    found = {facet: study.cells.per_parent(facet) for facet in study.design.facets}
    return {
        facet: round(size)
        for facet, size in found.items()
        if study.cells.balanced or facet in study.design.fixed
    }


@dataclass(frozen=True)
class _Scenario:
    name: str
    least: Floats | None  # (k, g)
    note: str


def _scenarios(study: GStudy, plan: Design, shares: Weights, confidence: float) -> list[_Scenario]:
    """The components as estimated; and those of error at zero at their upper limits, if there are any."""
    found = [_Scenario(AS_ESTIMATED, None, "")]
    least = np.zeros(shares.parts.shape[:2])
    raised = []
    for k, (effect, kind) in enumerate(zip(shares.effects, shares.kinds, strict=True)):
        if kind == OWN or not (shares.parts[k] @ study.estimated.raw <= 0).all():
            continue
        high = _upper(study, shares.parts[k], confidence)
        if np.isfinite(high).all() and (high > 0).all():
            least[k] = high
            raised.append(plan.name(effect))
    if raised:
        note = f"At the upper limit of its interval, not at zero: {', '.join(raised)}."
        found.append(_Scenario(PESSIMISTIC, least, note))
    return found


def _upper(study: GStudy, part: Floats, confidence: float) -> Floats:
    """Upper limit of one effect of the plans, (g,): of the component, or of a sum of several from draws."""
    used = np.flatnonzero(part.any(axis=0))
    if len(used) == 1:
        return np.asarray(part[:, used[0]] * study.estimated.high[used[0]])
    return np.asarray(np.quantile(study.draws @ part.T, 0.5 + confidence / 2, axis=0))


def _rows(
    study: GStudy,
    plan: Design,
    points: Sequence[Mapping[str, int]],
    shares: Weights,
    scenario: _Scenario,
    cut: float | None,
    confidence: float,
) -> pd.DataFrame:
    one = project(shares, study.estimated.raw[None, :], scenario.least)
    many = project(shares, study.draws, scenario.least)
    values: dict[str, str | float | Floats] = {"scenario": scenario.name}
    values |= {"universe_variance": one.universe[0]}
    values |= {"relative_error": one.relative[0], "absolute_error": one.absolute[0]}
    for name, error in zip(_COEFFICIENTS, ("relative", "absolute"), strict=True):
        low, high = _quantiles(ratio(many.universe, getattr(many, error)), confidence)
        values[name] = ratio(one.universe[0], getattr(one, error)[0])
        values |= {f"{name}_low": low, f"{name}_high": high}
    values |= {"confidence": confidence, "interval_method": study.estimated.draw_method}
    values |= {"sem": np.sqrt(one.absolute[0]), "sem_relative": np.sqrt(one.relative[0])}
    if cut is not None:
        values |= at_cut.columns(study, plan, points, cut, one.universe[0], one.absolute[0])
    frame = pd.DataFrame([dict(point) for point in points]).assign(**values)
    return _with_status(study, frame, shares, scenario)


def ratio(own: Floats, error: Floats) -> Floats:
    """Share of the object in what is observed: own / (own + error)."""
    total = own + error
    return np.divide(own, total, out=np.full_like(total, np.nan), where=total > 0)


def _quantiles(drawn: Floats, confidence: float) -> tuple[Floats, Floats]:
    tail = (1 - confidence) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0)
    return low, high


def _with_status(study: GStudy, frame: pd.DataFrame, shares: Weights, scenario: _Scenario) -> pd.DataFrame:
    """Statuses, and no values where there can be none."""
    measured = study.design.object
    hidden = ", ".join(study.design.name(effect) for effect in shares.hidden)
    frame["hidden"], frame["status"], frame["status_note"] = hidden, Status.OK.value, ""
    if hidden:
        note = f"Cannot be told from {measured}, so the coefficients are too high: {hidden}."
        frame["status"], frame["status_note"] = Status.BY_ASSUMPTION.value, note
    at_zero = frame["universe_variance"] <= 0
    frame.loc[at_zero, "status"] = Status.BOUNDARY.value
    frame.loc[at_zero, "status_note"] = f"No difference between members of {measured} was found."
    frame["status_note"] = (frame["status_note"] + " " + scenario.note).str.strip()
    for facet in study.design.facets:
        if study.cells.n and study.cells.per_parent(facet) == 1:
            note = f"{facet} had one member where it was seen; what more would bring is not estimable."
            _blank(frame, frame[facet] > 1, Status.NOT_IDENTIFIED, note)
    status, note = _whole_status(study)
    if not has_value(status):
        _blank(frame, pd.Series(True, index=frame.index), status, note)
    return frame


def _whole_status(study: GStudy) -> tuple[Status, str]:
    if not has_value(study.status):
        return study.status, study.status_note
    if study.design.differentiated in study.told.constant:
        return Status.ONE_UNIT, f"There is one {study.design.object}; differences need several."
    return Status.OK, ""


def _blank(frame: pd.DataFrame, rows: pd.Series, status: Status, note: str) -> None:
    kept = {*frame.columns[: frame.columns.get_loc("scenario")], "confidence"}
    numbers = [name for name in frame.select_dtypes("number").columns if name not in kept]
    frame.loc[rows, numbers] = np.nan
    frame.loc[rows, "interval_method"] = "none"
    for name in ("status", "conditional_sem_status"):
        if name in frame:
            frame.loc[rows, name] = status.value
    frame.loc[rows, "status_note"] = note
