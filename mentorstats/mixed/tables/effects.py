"""Shrunken effects of the members of a grouping, with prediction errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.joint import Joint
from mentorstats.mixed.engines.linear import Problem
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.profile.held import Space, hold_sd, variance_space
from mentorstats.mixed.tables.components import component_name

Floats = NDArray[np.float64]

METHOD = "prediction_error_z"
_NODES = (-2.2, -1.1, 1.1, 2.2)  # in standard errors of log sd; with 0 evenly spaced
_WELL_KNOWN = 0.05  # standard error of log sd below which the variance may count as known
_POORLY_KNOWN = 0.8  # largest one that the nodes are placed by


def table(model: Model, name: str, confidence: float) -> pd.DataFrame:
    """One row a member and effect; see ``Fit.effects``."""
    places = {
        component_name(model, t, b): (t, b)
        for t, members in enumerate(model.members)
        for b in range(members.k)
    }
    of_grouping = {key: (t, b) for key, (t, b) in places.items() if model.members[t].name == name}
    chosen = of_grouping or {key: place for key, place in places.items() if key == name}
    if not chosen:
        raise ArgumentError(f"no component {name!r} has effects", allowed=list(places) or "none was fitted")
    return pd.concat([_part(model, key, t, b, confidence) for key, (t, b) in chosen.items()])


def _part(model: Model, component: str, t: int, b: int, confidence: float) -> pd.DataFrame:
    members = model.members[t]
    effect, variance = _one(model.fitted.joint, t, b, float(members.scales[b]))
    none = not (variance > 0).any()
    if none:  # a variance of zero leaves no interval, not one of no width
        se = np.full(len(effect), np.nan)
    else:
        se = np.sqrt(variance + _unknown_variance(model, t, b, effect, variance))
    half = norm.ppf(0.5 + confidence / 2) * se
    return pd.DataFrame(
        {
            "component": component,
            "effect": effect,
            "se": se,
            "low": effect - half,
            "high": effect + half,
            "n": model.ratings(t),
            "confidence": confidence,
            "interval_method": "none" if none else METHOD,
            "status": (Status.BOUNDARY if none else Status.OK).value,
        },
        index=pd.Index(members.labels(), name="member", dtype="str"),
    )


def _one(joint: Joint, t: int, b: int, scale: float) -> tuple[Floats, Floats]:
    effects, covariances = joint.effects(t)
    return effects[:, b] / scale, np.maximum(covariances[:, b, b], 0.0) / scale**2


def _unknown_variance(model: Model, t: int, b: int, effect: Floats, variance: Floats) -> Floats:
    """What the prediction errors gain because the variance between members is itself estimated.

    Mean and variance of an effect over the likely values of its standard deviation [kass_steffey_1989],
    weighted by the profile likelihood and, as a prior, evenly on the standard deviation [gelman_2006].
    """
    space, first, _ = variance_space(model, t, b)
    error = _error_of_log_sd(space, first)
    if error < _WELL_KNOWN:
        return np.zeros(len(effect))
    held = hold_sd(space, first, not model.ordinal)
    best, _ = held.best(float(space.x[first]) * space.sigma, held.start)
    sd = float(space.x[first]) * space.sigma
    scale = float(model.members[t].scales[b])
    turned = 0 if space.triangles.entries[first][1] == 0 else b
    effects, variances, weights = [effect], [variance], [1.0]
    for node in _NODES:
        end = sd * np.exp(node * min(error, _POORLY_KNOWN))
        value, free = held.best(end, held.start)
        lifted = held.lift(free, end)
        if lifted is None or not np.isfinite(value):
            continue
        found = _one(_joint_at(model, space, lifted[0]), t, turned, scale)
        effects.append(found[0])
        variances.append(found[1])
        weights.append(np.exp(-0.5 * (value - best)) * end / sd)
    share = np.array(weights)[:, None] / np.sum(weights)
    spread = (share * (np.array(effects) - effect) ** 2).sum(axis=0)
    return np.asarray(np.maximum((share * np.array(variances)).sum(axis=0) + spread - variance, 0.0))


def _error_of_log_sd(space: Space, first: int) -> float:
    _, _, hessian = space.criterion(space.x)
    curvature = space.hessian if hessian is None else hessian
    by = np.zeros(len(space.x))
    by[first] = 1 / space.x[first]
    if isinstance(space.problem, Problem):
        by[-1] = 1.0
    inverse = scaled_inverse(curvature)
    return float(np.sqrt(np.maximum(2 * by @ inverse @ by, 0.0)))


def _joint_at(model: Model, space: Space, x: Floats) -> Joint:
    """All effects together at other parameters."""
    problem = space.problem
    if isinstance(problem, Problem):
        engine = replace(model.linear, problem=problem, solution=problem.solve(x[:-1]))
        residual = float(np.exp(2 * x[-1])) * engine.scale**2
        joint = engine.joint
        return replace(joint, variance=residual, covariance=joint.covariance * (residual / joint.variance))
    state = problem.state(x)
    if state is None:
        return model.levels.joint
    joint = model.levels.joint
    factors = problem.triangles.unpack(x[: problem.q])
    b = problem.triangles.spread(factors, state.u[:, None], transposed=False)[:, 0]
    return replace(joint, factors=factors, factor=state.factor, lifted=state.cross, beta=x[problem.q :], b=b)
