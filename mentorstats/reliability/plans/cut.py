"""What a plan is worth where a score decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.estimate import Status
from mentorstats.reliability.components.cells import as_array
from mentorstats.reliability.components.design import Design, Factors
from mentorstats.reliability.components.squares import deviations, expected_mean_squares
from mentorstats.reliability.plans.projections import divisor, kind_of

if TYPE_CHECKING:
    from mentorstats.reliability.components.study import GStudy

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
) -> dict[str, Floats | str]:
    """Dependability, error and consistency at a cut, one value a plan."""
    distance = squared_distance(study, cut)
    error, status = conditional_sem(study, plan, points, cut, absolute)
    return {
        "dependability_at_cut": dependability(universe, absolute, distance),
        "conditional_sem": error,
        "conditional_sem_status": status.value,
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


def conditional_sem(
    study: GStudy, plan: Design, points: Sequence[Mapping[str, int]], cut: float, absolute: Floats
) -> tuple[Floats, Status]:
    """Absolute error of objects that score at the cut [brennan_1998], and what it rests on.

    What differs within one object is absolute error, so that each object's scores give an error variance of
    their own; a quadratic in the mean score smooths them, from fewer than ten objects it is their average.
    Balanced data give each object components of its own. Otherwise its spread as a multiple of the spread
    to be expected multiplies the plan's absolute error: by assumption the components of error keep their
    proportions at every score. Nothing is identified where an object stands within a facet, or the cut
    lies beyond all means.
    """
    nothing = np.full(len(points), np.nan), Status.NOT_IDENTIFIED
    if not study.cells.n or study.design.above[study.design.object] or not np.isfinite(absolute).all():
        return nothing
    means = _means(study)
    if len(means) < 2 or not means.min() <= cut <= means.max():
        return nothing
    array = as_array(study.cells)
    if array is not None and study.method == "anova":
        own, weight = own_error(study.design, plan, array, points), np.ones(len(means))
        at_cut, status = _smoothed(array.reshape(len(array), -1).mean(axis=1), own, weight, cut), Status.OK
    else:
        times, weight = spread_within(study)
        at_cut, status = _smoothed(means, times[:, None] * absolute, weight, cut), Status.BY_ASSUMPTION
    return (np.sqrt(np.maximum(at_cut, 0.0)), status) if np.isfinite(at_cut).all() else nothing


def _means(study: GStudy) -> Floats:
    of = study.cells.codes[study.design.differentiated]
    return np.asarray(np.bincount(of, study.cells.score) / np.bincount(of))


def _smoothed(means: Floats, variances: Floats, weight: Floats, cut: float) -> Floats:
    """Value at the cut of a weighted quadratic through the objects, (plans,)."""
    used = (weight > 0) & np.isfinite(variances).all(axis=1)
    if not used.any():
        return np.full(variances.shape[1], np.nan)
    means, root = means[used], np.sqrt(weight[used])[:, None]
    degree = 2 if len(means) >= _ENOUGH and len(np.unique(means)) > 2 else 0
    curve = np.vander(means - cut, degree + 1)
    return np.asarray(np.linalg.lstsq(root * curve, root * variances[used], rcond=None)[0][-1])


def spread_within(study: GStudy) -> tuple[Floats, Floats]:
    """Sum of squares within each object over what the components make it, and its weight: scores − 1.

    E Σ (y − ȳ)² = Σ σ²(e) (n − Σ m² / n), n scores of the object, of which m belong to each member of e.
    """
    cells = study.cells
    of = cells.codes[study.design.differentiated]
    n = np.bincount(of).astype(np.float64)
    left = cells.score - study.expected
    squares = np.bincount(of, left**2) - np.bincount(of, left) ** 2 / n
    expected = np.zeros(len(n))
    for several, raw in zip(study.told.effects, study.estimated.raw, strict=True):
        pairs, counts = np.unique(of * cells.n + cells.codes[several[0]], return_counts=True)
        together = np.bincount(pairs // cells.n, counts.astype(np.float64) ** 2)
        expected += max(float(raw), 0.0) * (n - together / n)
    times = np.divide(squares, expected, out=np.full(len(n), np.nan), where=expected > 0)
    return times, np.where(np.isfinite(times), n - 1, 0.0)


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
