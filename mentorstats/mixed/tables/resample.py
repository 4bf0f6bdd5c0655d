"""New ratings from a fitted model, and what refitting them says about the estimates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError, ModelError
from mentorstats.estimate import Status
from mentorstats.mixed.algebra.covariance import FLOOR
from mentorstats.mixed.design.scan import Rows
from mentorstats.mixed.engines import assemble
from mentorstats.mixed.engines.engines import LinearEngine, OrdinalEngine
from mentorstats.mixed.engines.linear import Problem
from mentorstats.mixed.engines.model import RESIDUAL, Model
from mentorstats.mixed.tables.components import component_name
from mentorstats.progress import track

Floats = NDArray[np.float64]

MOST_CELLS = 20_000_000  # of a table of drawn responses
METHOD = "bootstrap_log_ratio"
_MOST_FAILED = 0.1  # share of replicates without a fit above which there is no interval


def draw(model: Model, rows: Rows, generator: np.random.Generator) -> Floats:
    """One new response for each row, new random effects included; levels count from 0."""
    engine = model.fitted
    total = np.zeros(len(rows.response))
    for t, (members, covariance) in enumerate(zip(model.members, engine.covariances(), strict=True)):
        root = _root(covariance) * members.scales[:, None]
        effects = generator.standard_normal((members.m, members.k)) @ root.T
        total += np.einsum("nk,nk->n", rows.values[t], effects[rows.codes[t]])
    if isinstance(engine, LinearEngine):
        noise = generator.standard_normal(len(total)) * np.sqrt(engine.residual / rows.weights)
        return np.asarray(rows.fixed @ engine.joint.beta + total + noise)
    return _draw_levels(engine, rows, total, generator)


def _root(covariance: Floats) -> Floats:
    roots, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(roots, 0.0)))


def _draw_levels(engine: OrdinalEngine, rows: Rows, total: Floats, generator: np.random.Generator) -> Floats:
    problem = engine.problem
    _, tau, beta, zeta = problem.split(engine.state.psi)
    n = len(total)
    noise = generator.logistic(size=n) if problem.link == "logit" else generator.standard_normal(n)
    latent = rows.fixed @ beta + total + np.exp(rows.scale @ zeta) * noise
    level = np.zeros(n)
    for g in range(len(problem.cut.upper)):
        inside = rows.threshold_group == g
        own = np.flatnonzero(problem.cut.groups == g)
        used = np.flatnonzero((problem.cut.upper[g] >= 0) | (problem.cut.lower[g] >= 0))
        if not len(own):
            level[inside] = rows.response[inside]
            continue
        level[inside] = used[np.searchsorted(tau[own], latent[inside])]
    return level


def one_each(model: Model) -> Rows:
    """The rows of the data; of an ordinal model a row that occurred several times stands several times.

    Ratings that are drawn differ, also where those they stand for were counted in one row.
    """
    rows = model.rows
    if not model.ordinal or (rows.weights == 1).all():
        return rows
    often = np.rint(rows.weights).astype(np.int64)
    if not np.allclose(often, rows.weights, rtol=0, atol=1e-9):
        raise ModelError(
            f"weights {model.declared.weights!r} are not whole numbers, so no single ratings can be drawn",
            remedy="Fit with how often each row occurred, or with one row a rating.",
        )
    at = np.repeat(np.arange(len(often)), often)
    return replace(
        rows,
        response=rows.response[at],
        fixed=rows.fixed[at],
        codes=tuple(codes[at] for codes in rows.codes),
        values=tuple(values[at] for values in rows.values),
        weights=np.ones(len(at)),
        threshold_group=rows.threshold_group[at],
        scale=rows.scale[at],
        kept=rows.kept[at],
    )


def simulate(model: Model, n: int, seed: int) -> pd.DataFrame:
    """New responses for the complete rows of the data, one column a replicate; see ``Fit.simulate``."""
    rows = one_each(model)
    most = max(1, MOST_CELLS // max(len(rows.kept), 1))
    if not 1 <= n <= most:
        raise ArgumentError(f"n={n}", allowed=f"1 to {most} replicates of these rows")
    made = [draw(model, rows, np.random.default_rng([seed, i])) for i in range(n)]
    frame = pd.DataFrame(np.column_stack(made), index=model.frame.index[rows.kept])
    if model.ordinal:
        levels = list(model.found.levels)
        kinds = pd.CategoricalDtype(levels, ordered=True)
        columns = {
            name: pd.Series(
                pd.Categorical.from_codes(column.astype(int).to_numpy(), dtype=kinds), frame.index
            )
            for name, column in frame.items()
        }
        frame = pd.DataFrame(columns)
    return frame


def refit(model: Model, rows: Rows, response: Floats, points: int) -> LinearEngine | OrdinalEngine | None:
    """Fit the same model to another response; None where it has no optimum."""
    engine = model.fitted
    if isinstance(engine, LinearEngine):
        return _refit_linear(engine, rows, response)
    problem = assemble.ordinal_problem(
        replace(rows, response=response).collapsed(), model.found, model.factors
    )
    start = np.maximum(engine.state.psi, problem.lower) if problem.c == engine.problem.c else None
    try:
        found = assemble.ordinal_engine(problem, model.found, model.factors, points, start)
    except np.linalg.LinAlgError:
        return None
    return found if found.minimum.converged else None


def _refit_linear(engine: LinearEngine, rows: Rows, response: Floats) -> LinearEngine | None:
    problem = engine.problem
    y = (response - engine.shift) / engine.scale
    products = problem.products
    random_fixed, fixed = products.random_fixed.copy(), products.fixed.copy()
    weighted = y * rows.weights
    ends = problem.blocks.offsets
    for t, (m, k) in enumerate(products.sizes):
        for a in range(k):
            sums = np.bincount(rows.codes[t], rows.values[t][:, a] * weighted, minlength=m)
            random_fixed[ends[t] + a : ends[t + 1] : k, -1] = sums
    fixed[:-1, -1] = fixed[-1, :-1] = rows.fixed.T @ weighted
    fixed[-1, -1] = y @ weighted
    again: Problem = replace(problem, products=replace(products, random_fixed=random_fixed, fixed=fixed))
    lower = np.where(problem.triangles.diagonal, FLOOR * problem.natural, -np.inf)
    try:
        solution, minimum = again.optimise(np.maximum(engine.theta, lower))
    except np.linalg.LinAlgError:
        return None
    if not minimum.converged:
        return None
    return LinearEngine(again, solution, minimum, engine.shift, engine.scale, engine.slope_scales)


def variances(model: Model, engine: LinearEngine | OrdinalEngine) -> Floats:
    """All variances in the order of the table, the residual last for linear models."""
    found = [np.diagonal(covariance) for covariance in engine.covariances()]
    if isinstance(engine, LinearEngine):
        found.append(np.array([engine.residual]))
    return np.concatenate(found) if found else np.zeros(0)


def bootstrap_table(model: Model, confidence: float, replicates: int, seed: int) -> pd.DataFrame:
    """Parametric bootstrap of the variances; see ``Fit.bootstrap``."""
    if replicates < 20:
        raise ArgumentError(f"replicates={replicates}", allowed="20 or more")
    rows, estimate = one_each(model), variances(model, model.fitted)
    points = model.levels.points if model.ordinal else 1
    found = []
    for i in track(range(replicates), "refitting", total=replicates):
        engine = refit(model, rows, draw(model, rows, np.random.default_rng([seed, i])), points)
        if engine is not None:
            found.append(variances(model, engine))
    failed = replicates - len(found)
    names = [component_name(model, t, b) for t, m in enumerate(model.members) for b in range(m.k)]
    index = pd.Index([*names, *([] if model.ordinal else [RESIDUAL])], name="component", dtype="str")
    frame = pd.DataFrame({"variance": estimate, "sd": np.sqrt(estimate)}, index=index)
    frame["low"] = frame["high"] = frame["mean_sd_ratio"] = np.nan
    if failed <= _MOST_FAILED * replicates:
        low, high = _inverted(estimate, np.array(found), confidence)
        frame["low"], frame["high"] = low, high
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.sqrt(np.array(found)).mean(axis=0) / np.sqrt(estimate)
        frame["mean_sd_ratio"] = np.where(estimate > 0, ratio, np.nan)
    frame["confidence"], frame["interval_method"] = confidence, METHOD
    frame["n_replicates"], frame["n_failed"] = replicates, failed
    status = np.where(estimate > 0, Status.OK.value, Status.BOUNDARY.value)
    frame["status"] = status if failed <= _MOST_FAILED * replicates else Status.RESAMPLING_FAILED.value
    return frame


def _inverted(estimate: Floats, found: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Limits σ̂² / (quantile of σ̂*²/σ̂²); a quantile at zero leaves no upper limit."""
    tail = (1 - confidence) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        small, large = np.quantile(found, [tail, 1 - tail], axis=0, method="inverted_cdf")
        low = np.where(estimate > 0, estimate**2 / large, np.nan)
        high = np.where(estimate > 0, estimate**2 / small, np.nan)
    return low, high
