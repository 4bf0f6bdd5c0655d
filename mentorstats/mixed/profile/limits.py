"""Profile-likelihood limits of variances, shares, correlations and fixed parameters."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.mixed.algebra.covariance import Triangles
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.profile.held import (
    Space,
    entry,
    hold_correlation,
    hold_one,
    hold_sd,
    hold_share,
    variance_space,
)
from mentorstats.mixed.profile.profile import limits

Floats = NDArray[np.float64]


def variance_limits(model: Model, confidence: float, t: int, b: int) -> tuple[float, float]:
    """Profile limits of one variance, in the units of the data."""
    space, first, unit = variance_space(model, t, b)
    at, step = _begin(model, space, first, t, b)
    low, high = limits(
        hold_sd(space, first, not model.ordinal),
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=at,
        step=step,
        edges=(0.0, np.inf),
        to_value=_exp,
    )
    return (low * unit) ** 2, (high * unit) ** 2


def variance_drop(model: Model, t: int, b: int, variance: float) -> float:
    """How much worse minus twice the (adjusted) log-likelihood is with one variance held at a value."""
    space, first, unit = variance_space(model, t, b)
    held = hold_sd(space, first, not model.ordinal)
    at, step = _begin(model, space, first, t, b)
    best, _ = held.peak(space.best, at, step, 0.0, _exp)
    return held.best(variance**0.5 / unit, held.start)[0] - best


def _begin(model: Model, space: Space, first: int, t: int, b: int) -> tuple[float, float]:
    """Log of the standard deviation and about its standard error; near its natural size for a zero."""
    natural = float(space.problem.natural[first]) * space.sigma
    sd = max(float(space.x[first]) * space.sigma, 0.05 * natural)
    at_zero = float(model.fitted.covariances()[t][b, b]) == 0.0
    step = float(np.clip(np.sqrt(0.5 / max(model.members[t].m - 1, 1)), 0.05, 0.7))
    return float(np.log(natural if at_zero else sd)), step


def _exp(at: float) -> float:
    """Exponential with its edges, 0 and infinity."""
    return float(np.exp(min(at, 300.0))) if np.isfinite(at) else (np.inf if at > 0 else 0.0)


def residual_limits(model: Model, confidence: float) -> tuple[float, float]:
    """Profile limits of the residual variance of a linear model."""
    space = Space(model, None, [])
    last = len(space.x) - 1
    held = hold_one(space, last)
    low, high = limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(space.x[-1]),
        step=float(np.sqrt(1 / (2 * max(model.linear.problem.freedom, 2)))),
    )
    unit = model.linear.scale
    return (np.exp(low) * unit) ** 2, (np.exp(high) * unit) ** 2


def residual_drop(model: Model, variance: float) -> float:
    """The same as ``variance_drop`` for the residual variance of a linear model."""
    space = Space(model, None, [])
    held = hold_one(space, len(space.x) - 1)
    return held.best(0.5 * np.log(variance) - np.log(model.linear.scale), held.start)[0] - space.best


def coefficient_limits(model: Model, confidence: float, index: int, se: float) -> tuple[float, float]:
    """Profile limits of one fixed parameter of an ordinal model, counted from the first cut-point."""
    space = Space(model, None, [])
    at = model.levels.problem.q + index
    held = hold_one(space, at)
    return limits(held, space.best, float(norm.ppf(0.5 + confidence / 2)), at=float(space.x[at]), step=se)


def share_limits(model: Model, confidence: float, t: int, b: int, share: float) -> tuple[float, float]:
    """Profile limits of one component's share of the variance of a rating."""
    members = model.members[t]
    correlated = members.grouping.correlated and members.k > 1
    order = [b, *(j for j in range(members.k) if j != b)] if correlated else list(range(members.k))
    space = Space(model, t, order)
    first = entry(space.triangles, t, *((0, 0) if correlated else (b, b)))
    weights = _entry_weights(model, space.triangles, t, order)
    spread = 1.0 if not model.ordinal else model.residual
    held = hold_share(space, first, weights, spread)
    inside = min(max(share, 1e-4), 1 - 1e-6)
    step = np.sqrt(2 / max(members.m - 1, 1)) * (1 - inside) + 0.02
    return limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(np.log(inside / (1 - inside))),
        step=float(np.clip(step, 0.05, 1.2)),
        edges=(0.0, np.inf),
        to_value=_expit,
    )


def _expit(at: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(at, -500, 500))))


def _entry_weights(model: Model, triangles: Triangles, turned: int, order: list[int]) -> Floats:
    """Average share of each squared entry of Λ in a rating's variance."""
    all_parts = model.carried
    by_place = {place: all_parts[at] for at, place in enumerate(model.places)}
    weights = []
    for t, a, _ in triangles.entries:
        effect = order[a] if t == turned else a
        scale = float(model.members[t].scales[effect])
        weights.append(by_place[t, effect] / scale**2)
    return np.array(weights)


def correlation_limits(
    model: Model, confidence: float, t: int, a: int, b: int, value: float
) -> tuple[float, float]:
    """Profile limits of the correlation between two effects of one member."""
    members = model.members[t]
    order = [b, a, *(j for j in range(members.k) if j not in (a, b))]
    space = Space(model, t, order)
    low_entry, high_entry = entry(space.triangles, t, 1, 0), entry(space.triangles, t, 1, 1)
    held = hold_correlation(space, low_entry, high_entry)
    inside = float(np.clip(value, -0.995, 0.995))
    return limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(np.arctanh(inside)),
        step=float(np.clip(1 / np.sqrt(max(members.m - 3, 1)), 0.05, 0.7)),
        edges=(-1.0, 1.0),
        to_value=_tanh,
    )


def _tanh(at: float) -> float:
    return float(np.tanh(at))
