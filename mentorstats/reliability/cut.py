"""What a plan is worth where a score decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.reliability.cells import as_array
from mentorstats.reliability.design import Design, Factors
from mentorstats.reliability.plans import divisor, kind_of
from mentorstats.reliability.squares import deviations, expected_mean_squares

if TYPE_CHECKING:
    from mentorstats.reliability.study import GStudy

Floats = NDArray[np.float64]

_ENOUGH = 10  # members of the object from which on a curve is fitted to their error variances
_NODES = 201


def columns(
    study: GStudy,
    plan: Design,
    points: Sequence[Mapping[str, int]],
    cut: float,
    universe: Floats,
    absolute: Floats,
) -> dict[str, Floats]:
    """Dependability, error and consistency at a cut, one value a plan."""
    distance = squared_distance(study, cut)
    return {
        "dependability_at_cut": dependability(universe, absolute, distance),
        "conditional_sem": conditional_sem(study, plan, points, cut),
        "decision_consistency": consistency(study.mean, cut, universe, absolute),
    }


def squared_distance(study: GStudy, cut: float) -> float:
    """(mean − cut)², less what chance adds to it: the error variance of the mean [brennan_kane_1977]."""
    carried = np.array([study.cells.mean_weight(several[0]) for several in study.told.effects])
    return max((study.mean - cut) ** 2 - max(float(carried @ study.estimated.raw), 0.0), 0.0)


def dependability(universe: Floats, absolute: Floats, distance: float) -> Floats:
    """(σ²(τ) + (μ − λ)²) / (σ²(τ) + (μ − λ)² + σ²(Δ)) [brennan_kane_1977]."""
    own = universe + distance
    total = own + absolute
    return np.divide(own, total, out=np.full_like(total, np.nan), where=total > 0)


def consistency(mean: float, cut: float, universe: Floats, absolute: Floats) -> Floats:
    """Probability that two independent runs of a plan fall on one side of the cut.

    Universe scores and errors are normal; both runs have facets of their own. The average over universe
    scores of the probability that both pass or both fail [subkoviak_1976], by numerical integration: what a
    simulation would tend to.
    """
    z, spacing = np.linspace(-8.0, 8.0, _NODES, retstep=True)
    mass = norm.pdf(z) * spacing
    score = mean + np.sqrt(universe)[:, None] * z
    sd = np.sqrt(absolute)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        passing = norm.cdf((score - cut) / sd)
    passing = np.where(sd > 0, passing, score >= cut)
    return np.asarray((passing**2 + (1 - passing) ** 2) @ mass / mass.sum())


# Error of those who score at the cut -----------------------------------------------------------------


def conditional_sem(study: GStudy, plan: Design, points: Sequence[Mapping[str, int]], cut: float) -> Floats:
    """Absolute error of objects that score at the cut [brennan_1998]; missing for unbalanced studies.

    Each object's scores give error variances of their own, since what differs within one object is absolute
    error. A quadratic in the mean score smooths them; from fewer than ten objects it is their average. A
    cut beyond all means has no value.
    """
    out = np.full(len(points), np.nan)
    array = as_array(study.cells)
    if array is None or study.method != "anova" or study.design.above[study.design.object]:
        return out
    means = array.reshape(len(array), -1).mean(axis=1)
    if len(means) < 2 or not means.min() <= cut <= means.max():
        return out
    variances = own_error(study.design, plan, array, points)
    degree = 2 if len(means) >= _ENOUGH and len(np.unique(means)) > 2 else 0
    centred = means - cut
    fitted = np.linalg.lstsq(np.vander(centred, degree + 1), variances, rcond=None)[0][-1]
    return np.asarray(np.sqrt(np.maximum(fitted, 0.0)))


def own_error(design: Design, plan: Design, array: Floats, points: Sequence[Mapping[str, int]]) -> Floats:
    """Error variance of a mean score of each object under each plan, (objects, plans).

    Components within one object are unbiased and may be negative; their average over objects is the absolute
    error of all.
    """
    inner = Design(
        design.facets[0],
        design.facets[1:],
        {facet: design.above[facet] - {design.object} for facet in design.facets},
    )
    sizes = dict(zip(design.facets, array.shape[1:], strict=True))
    effects = tuple(e for e in inner.effects if _degrees(inner, e, sizes) > 0)
    if not effects:
        return np.full((len(array), len(points)), np.nan)
    solving = np.linalg.inv(expected_mean_squares(effects, inner, sizes))
    squares = [_mean_square(array, effect, inner, sizes) for effect in effects]
    components = np.array(squares).T @ solving.T
    shares = [[_share(plan, effect | {design.object}, point) for point in points] for effect in effects]
    return np.asarray(components @ np.array(shares))


def _degrees(inner: Design, effect: Factors, sizes: Mapping[str, int]) -> float:
    own = inner.own(effect)
    return float(np.prod([sizes[name] - 1 if name in own else sizes[name] for name in effect]))


def _mean_square(array: Floats, effect: Factors, inner: Design, sizes: Mapping[str, int]) -> Floats:
    parts = deviations(array, effect, inner, kept=1).reshape(len(array), -1)
    times = float(np.prod([sizes[name] for name in inner.whole - effect]))
    return np.asarray((parts**2).sum(axis=1) * times / _degrees(inner, effect, sizes))


def _share(plan: Design, effect: Factors, point: Mapping[str, int]) -> float:
    return 1 / divisor(plan, effect, point) if kind_of(plan, effect) == "relative" else 0.0
