"""How dependable is a candidate's change between two occasions, as distinct from their level?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.reliability.components.design import Design, Factors
from mentorstats.reliability.components.study import GStudy
from mentorstats.reliability.plans.decision import ratio
from mentorstats.reliability.plans.projections import (
    COMMON,
    OWN,
    RELATIVE,
    Sizes,
    Weights,
    divisor,
    grid,
    project,
)

Floats = NDArray[np.float64]


@entry()
def change_study(
    study: GStudy,
    sizes: Sizes,
    *,
    occasion: str,
    same: str | Sequence[str] = (),
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Project the components of a study to the difference between two occasions.

    What candidates gain or lose beside the others is twice the interaction of candidate and occasion. It is
    seen with error: every other interaction with the occasion counts twice, and so does what the occasions
    do not share; what both have alike, such as the severity of a rater who comes twice, cancels
    [cronbach_1972].

    Parameters
    ----------
    study
        From ``g_study``, with the occasion among its facets, crossed with the object; whether a change is
        dependable can be told only where occasions have several scores of an object.
    sizes
        Members of each other facet on each occasion, as in ``d_study``.
    occasion
        The facet.
    same
        Facets whose members are the same on both occasions.
    confidence
        Coverage of the intervals.

    Returns
    -------
    DataFrame
        A row a plan: sizes, ``universe_variance`` of the change, ``relative_error`` (comparing changes),
        ``absolute_error`` (a change itself), ``generalizability`` and ``dependability`` of the change with
        limits as in ``d_study``, ``sem``, ``sem_relative``, status.

    Raises
    ------
    ArgumentError
        The occasion is no facet that is crossed with the object, or a facet has no size.
    """
    design = study.design
    alike = frozenset((same,) if isinstance(same, str) else same)
    _check(design, occasion, alike, confidence)
    others = tuple(facet for facet in design.facets if facet != occasion)
    points = grid(sizes, others, {}) if others else [{}]
    shares, hidden = _weights(study, occasion, alike, points)
    one = project(shares, study.estimated.raw[None, :])
    many = project(shares, study.draws)
    tail = (1 - confidence) / 2
    values: dict[str, str | float | Floats] = {"universe_variance": one.universe[0]}
    values |= {"relative_error": one.relative[0], "absolute_error": one.absolute[0]}
    for name, error in (("generalizability", "relative"), ("dependability", "absolute")):
        drawn = ratio(many.universe, getattr(many, error))
        values[name] = ratio(one.universe[0], getattr(one, error)[0])
        limits = np.full((2, len(points)), np.nan)
        if np.isfinite(drawn).any():
            limits = np.nanquantile(drawn, [tail, 1 - tail], axis=0)
        values |= {f"{name}_low": limits[0], f"{name}_high": limits[1]}
    values |= {"sem": np.sqrt(one.absolute[0]), "sem_relative": np.sqrt(one.relative[0])}
    status, note = _status(study, hidden, float(one.universe[0][0]), occasion)
    numbers = {n: v if has_value(status) else np.full(len(points), np.nan) for n, v in values.items()}
    how = study.estimated.draw_method if has_value(status) else "none"
    more: dict[str, str | float] = {
        "confidence": confidence,
        "interval_method": how,
        "status": status.value,
        "status_note": note,
    }
    frame = pd.DataFrame([dict(point) for point in points], index=range(len(points)))
    return frame.assign(**numbers, **more)


def _check(design: Design, occasion: str, alike: Factors, confidence: float) -> None:
    crossed = [f for f in design.facets if not design.above[f] and f not in design.above[design.object]]
    if occasion not in crossed:
        raise ArgumentError(f"occasion {occasion!r}", allowed=crossed or "a facet crossed with the object")
    unknown = alike - frozenset(design.facets) | (alike & {occasion})
    if unknown:
        raise ArgumentError(f"same names {sorted(unknown)[0]!r}", allowed="facets other than the occasion")
    if any(occasion in design.above[facet] for facet in alike):
        raise ArgumentError("same names a facet nested in the occasion, which cannot be the same on two")


def _weights(
    study: GStudy, occasion: str, alike: Factors, points: Sequence[Mapping[str, int]]
) -> tuple[Weights, list[Factors]]:
    """Twice the share of each component that differs between occasions, and what passes for change."""
    design = study.design
    target = design.differentiated | {occasion}
    parts = np.zeros((len(study.told.effects), len(points), len(study.told.effects)))
    kinds, hidden = [], []
    for j, several in enumerate(study.told.effects):
        found = {effect: _kind(design, effect, target, alike) for effect in several}
        own = [effect for effect, kind in found.items() if kind == OWN]
        hidden += [effect for effect in several if own and found[effect] != OWN]
        counted = own or [effect for effect, kind in found.items() if kind is not None]
        which = {found[effect] for effect in counted}
        kinds.append(OWN if own else RELATIVE if RELATIVE in which else COMMON)
        if counted:
            sized = [{occasion: 1, **point} for point in points]
            least = [min(divisor(design, effect, point) for effect in counted) for point in sized]
            parts[j, :, j] = 2 / np.array(least)
    effects = tuple(several[0] for several in study.told.effects)
    return Weights(effects, tuple(kinds), parts, tuple(hidden)), hidden


def _kind(design: Design, effect: Factors, target: Factors, alike: Factors) -> str | None:
    """Part of an effect in a change; None where it cancels or is the mean change of all."""
    occasion = target - design.differentiated
    if effect == target:
        return OWN
    if effect <= design.differentiated | alike or effect <= occasion:
        return None
    return RELATIVE if effect & design.differentiated else COMMON


def _status(study: GStudy, hidden: list[Factors], universe: float, occasion: str) -> tuple[Status, str]:
    if not has_value(study.status):
        return study.status, study.status_note
    measured = study.design.object
    target = study.design.differentiated | {occasion}
    kept = {effect for several in study.told.effects for effect in several}
    if hidden or target == study.design.whole or target not in kept:
        names = ", ".join(study.design.name(effect) for effect in hidden) or "error"
        return Status.NOT_IDENTIFIED, f"Change of {measured} cannot be told from {names} in these data."
    if universe <= 0:
        return Status.BOUNDARY, f"No member of {measured} was found to change otherwise than the rest."
    return Status.OK, ""
