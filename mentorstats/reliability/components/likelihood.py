"""Components of unbalanced or incomplete data, or data with covariates, by restricted likelihood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.errors import ModelError
from mentorstats.estimate import Status
from mentorstats.mixed import Fit, fit
from mentorstats.mixed.design.terms import FixedTerm
from mentorstats.mixed.engines.model import RESIDUAL
from mentorstats.mixed.tables.components import table
from mentorstats.reliability.components.cells import Cells, Told
from mentorstats.reliability.components.estimated import Estimated
from mentorstats.reliability.components.one_step import sd_limits

Floats = NDArray[np.float64]

PROFILE, ONE_STEP = "profile", "one_step"
DRAWN = "profile_monte_carlo"
_ONE_STEP_METHOD = "one_step_profile"
_SCORE = "score as number"
_FIXED = "fixed facets"
_SHARPENING = 30  # steps at most
_SHARP = 1e-9  # a step below it leaves an error of the order of its square over the curvature


def fitted(
    cells: Cells, told: Told, names: Sequence[str], covariates: Sequence[FixedTerm], confidence: float
) -> Fit:
    """Fit with a grouping for every component but the last, which is the residual."""
    design = cells.design
    used = {name for term in covariates for name in columns(term)}
    if used & set(design.factors):
        raise ModelError(
            f"{sorted(used & set(design.factors))[0]!r} is a facet and a covariate",
            remedy="Give the covariate a column of its own, such as a number beside the code.",
        )
    frame = cells.frame[sorted(used)].assign(**{_SCORE: cells.score})
    grouped = []
    for name, several in zip(names[:-1], told.effects[:-1], strict=True):
        if several[0] <= design.fixed:
            continue
        frame[name] = cells.codes[several[0]]
        grouped.append(name)
    fixed: list[FixedTerm] = list(covariates)
    if design.fixed:
        frame[_FIXED] = "m" + pd.Series(cells.codes[design.fixed], index=frame.index).astype("str")
        fixed.append(_FIXED)
    return fit(frame, response=_SCORE, fixed=fixed, grouped=grouped, confidence=confidence)


def columns(term: FixedTerm) -> tuple[str, ...]:
    """Columns that a covariate reads."""
    if isinstance(term, str):
        return (term,)
    return term.of if isinstance(term.of, tuple) else (term.of,)


def estimated(found: Fit, names: Sequence[str], limits: str = PROFILE) -> Estimated:
    """Variances with their limits, in the order of ``names``, of which the last is the residual.

    ``limits``: of the profile likelihood, or of one in which the other parameters take a single step.
    """
    sharp = _optimum(found, names)
    rows = _components(found, names, limits, sharp).reindex([*names[:-1], RESIDUAL])
    absent = rows["status"].isna().to_numpy()  # members of fixed facets alone: no variance
    statuses = [Status(value) if isinstance(value, str) else Status.OK for value in rows["status"]]
    raw = rows["variance"].to_numpy(dtype=float).copy()
    raw[absent] = 0.0
    low, high = (rows[name].to_numpy(dtype=float).copy() for name in ("low", "high"))
    methods = ["none" if isinstance(value, float) else str(value) for value in rows["interval_method"]]
    notes = [value if isinstance(value, str) else "" for value in rows["status_note"]]
    logs = np.zeros((len(raw), len(raw)))
    raw[sharp.places] = sharp.sds**2
    logs[np.ix_(sharp.places, sharp.places)] = sharp.logs
    covariance = np.outer(2 * raw, 2 * raw) * logs
    covariance[raw == 0] = covariance[:, raw == 0] = np.nan
    level = float(norm.ppf(0.5 + found.confidence / 2))
    return Estimated(
        raw,
        low,
        high,
        covariance,
        tuple(methods),
        tuple(statuses),
        tuple(notes),
        lambda generator, n: drawn(raw, low, high, _correlations(logs), level, generator, n),
        DRAWN,
    )


def _components(found: Fit, names: Sequence[str], limits: str, sharp: _Optimum) -> pd.DataFrame:
    """Components with their limits."""
    if limits == PROFILE:
        return found.components
    rows = table(found.model, found.confidence, intervals=False)
    deviate = float(norm.ppf(0.5 + found.confidence / 2))
    labels = [*names[:-1], RESIDUAL]
    for entry, place in enumerate(sharp.places):
        se = float(np.sqrt(sharp.logs[entry, entry])) if sharp.logs[entry, entry] > 0 else np.nan
        bounds = np.array(sd_limits(found, sharp.x, entry, se, deviate)) * found.model.linear.scale
        rows.loc[labels[place], ["low", "high"]] = bounds**2
        rows.loc[labels[place], "interval_method"] = _ONE_STEP_METHOD
    return rows


def variances(found: Fit) -> pd.Series:
    """Variances alone, by component: a fit without limits."""
    return table(found.model, found.confidence, intervals=False)["variance"]


@dataclass(frozen=True)
class _Optimum:
    """The optimum to the last digits: standard deviations, and the covariance of their logarithms."""

    places: NDArray[np.intp]  # of the groupings that were fitted
    x: Floats  # relative standard deviations, and the logarithm of the residual's
    sds: Floats
    logs: Floats


def _optimum(found: Fit, names: Sequence[str]) -> _Optimum:
    """Sharpen the optimum, so that balanced data give what their mean squares give.

    The search ends where the likelihood gains no more than chance would notice; a few more steps with the
    exact gradient bring the digits beyond.
    """
    engine, model = found.model.linear, found.model
    problem = engine.problem
    x = np.append(engine.theta, 0.5 * np.log(engine.solution.residual / problem.freedom))
    free = np.append(np.flatnonzero(engine.theta > 0), len(x) - 1)
    _, gradient, hessian = problem.absolute(x)
    if hessian is None:
        raise ModelError("the likelihood has no curvature at its optimum", remedy="Use fewer facets.")
    for _ in range(_SHARPENING):
        step = np.zeros_like(x)
        step[free] = np.linalg.lstsq(hessian[np.ix_(free, free)], -gradient[free], rcond=None)[0]
        _, next_gradient, next_hessian = problem.absolute(x + step)
        worse = np.abs(next_gradient[free]).max() >= np.abs(gradient[free]).max()
        if next_hessian is None or worse or (x + step)[free[:-1]].min(initial=1.0) <= 0:
            break
        x, gradient, hessian = x + step, next_gradient, next_hessian
        if np.abs(step).max() < _SHARP:
            break
    order = list(names)
    places = np.array([order.index(model.members[t].name) for t, _, _ in engine.triangles.entries], dtype=int)
    sigma = np.exp(x[-1]) * engine.scale
    logs = np.zeros((len(x), len(x)))
    logs[np.ix_(free, free)] = _log_covariance(x[free], hessian[np.ix_(free, free)])
    return _Optimum(np.append(places, len(order) - 1), x, np.append(x[:-1], 1.0) * sigma, logs)


def _log_covariance(x: Floats, hessian: Floats) -> Floats:
    """Covariance of the logarithms of the standard deviations, from the information at the optimum.

    A direction in which the likelihood does not bend down has none, as one in which it is flat.
    """
    change = np.eye(len(x))
    change[:-1, :-1] /= x[:-1]
    change[:-1, -1] = 1.0
    inverse = np.linalg.pinv(hessian, hermitian=True)
    roots, vectors = np.linalg.eigh(inverse)
    if roots[0] < 0:
        inverse = (vectors * np.maximum(roots, 0.0)) @ vectors.T
    return np.asarray(change @ (2 * inverse) @ change.T)


def _correlations(logs: Floats) -> Floats:
    sd = np.sqrt(np.diagonal(logs))
    sd = np.where(sd > 0, sd, 1.0)
    found = np.array(logs / np.outer(sd, sd), dtype=np.float64)
    np.fill_diagonal(found, 1.0)
    return found


def drawn(
    raw: Floats,
    low: Floats,
    high: Floats,
    correlations: Floats,
    level: float,
    generator: np.random.Generator,
    n: int,
) -> Floats:
    """Draw components that have the profile's limits at its quantiles and the information's correlations.

    Between estimate and limit the logarithm of the standard deviation moves evenly with the normal
    deviate; towards a limit of zero the standard deviation itself does.
    """
    roots, vectors = np.linalg.eigh(correlations)
    z: Floats = generator.standard_normal((n, len(raw))) @ (vectors * np.sqrt(np.maximum(roots, 0.0))).T
    out = np.zeros((n, len(raw)))
    for i, (value, down, up) in enumerate(zip(raw, low, high, strict=True)):
        if not np.isfinite([value, down, up]).all():
            out[:, i] = float(value)
            continue
        sd, down_sd, up_sd = np.sqrt([max(value, 0.0), down, up])
        t = z[:, i] / level
        if sd == 0:
            out[:, i] = (np.maximum(t, 0.0) * up_sd) ** 2
            continue
        above = sd * np.exp(t * np.log(up_sd / sd))
        below = sd * np.exp(-t * np.log(down_sd / sd)) if down_sd > 0 else sd * np.maximum(1 + t, 0.0)
        out[:, i] = np.where(t > 0, above, below) ** 2
    return out
