"""Does the model fit? Residuals, levels observed and expected, proportional odds, influence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import ndtri
from scipy.stats import chi2, norm

from mentorstats.errors import ArgumentError, ModelError
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.design.layout import Categories
from mentorstats.mixed.engines import assemble
from mentorstats.mixed.engines.links import pieces
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.tables.levels_scale import evaluate, places
from mentorstats.progress import track

Floats = NDArray[np.float64]


def residual_table(model: Model, seed: int) -> pd.DataFrame:
    """Randomised-quantile residuals; see ``Fit.residuals``."""
    rows = model.rows
    frame = model.frame.iloc[rows.kept]
    joint = model.fitted.joint
    z, _ = model.random_part(frame, range(len(model.members)))
    offset = np.asarray(z @ joint.b)
    if not model.ordinal:
        fitted = rows.fixed @ joint.beta + offset
        residual = (rows.response - fitted) / np.sqrt(model.residual / rows.weights)
        return pd.DataFrame({"expected": fitted, "residual": residual}, index=frame.index)
    shares = _shares(model, frame, offset)
    level = rows.response.astype(np.int64)
    above = np.cumsum(shares, axis=1)[np.arange(len(level)), level]
    below = above - shares[np.arange(len(level)), level]
    random = np.random.default_rng(seed).random(len(level))
    at = np.clip(below + random * (above - below), 1e-12, 1 - 1e-12)
    expected = shares @ np.arange(1.0, shares.shape[1] + 1)
    return pd.DataFrame({"expected": expected, "residual": ndtri(at)}, index=frame.index)


def _shares(model: Model, frame: pd.DataFrame, offset: Floats | float) -> Floats:
    engine = model.levels
    psi = np.concatenate([engine.theta, engine.joint.beta])
    return evaluate(model, psi, places(model, frame, random=False), "probability", offset)


def level_table(model: Model, by: str | None) -> pd.DataFrame:
    """Levels observed and expected; see ``Fit.level_counts``."""
    engine, rows = model.levels, model.rows
    frame = model.frame.iloc[rows.kept]
    if by is not None and by not in frame.columns:
        raise ArgumentError(f"{by!r} is not a column of the model", allowed=list(frame.columns))
    psi = np.concatenate([engine.theta, engine.joint.beta])
    shares = evaluate(model, psi, places(model, frame, random=True), "probability")
    levels = model.found.levels
    seen = (rows.response[:, None] == np.arange(len(levels))) * rows.weights[:, None]
    shares = shares * rows.weights[:, None]
    names = ["all ratings"] * len(frame) if by is None else frame[by].to_numpy(dtype=object)
    group = pd.DataFrame({"group": names})
    parts = {}
    for name, members in group.groupby("group", sort=True).groups.items():
        observed, expected = seen[members].sum(axis=0), shares[members].sum(axis=0)
        parts[name] = pd.DataFrame(
            {
                "observed": observed,
                "expected": expected,
                "observed_share": observed / observed.sum(),
                "expected_share": expected / observed.sum(),
            },
            index=pd.Index(levels, name="level"),
        )
    return pd.concat(parts, names=[by or "group"])


def with_thresholds_by(model: Model, column: str) -> Model:
    """The same model with cut-points for each value of a column, which then has no fixed effect itself."""
    declared = model.declared
    if not model.ordinal:
        raise ModelError("proportional odds are an assumption of ordinal models")
    if declared.thresholds_by:
        raise ModelError(f"each {declared.thresholds_by} has cut-points of its own already")
    if column not in declared.fixed:
        raise ArgumentError(
            f"{column!r} is not a fixed term by itself", allowed=[str(term) for term in declared.fixed]
        )
    if not isinstance(model.layout.atoms[column], Categories):
        raise ArgumentError(f"{column!r} is a number", remedy="Name a column of categories.")
    freed = replace(
        declared,
        thresholds_by=column,
        fixed=tuple(term for term in declared.fixed if term != column),
    )
    found = assemble.assemble(model.chunks, freed, restricted=False, points=model.levels.points)
    if found.engine is None or found.verdict:
        raise ModelError(
            "the model with free cut-points could not be fitted",
            remedy=found.verdict.note if found.verdict else None,
        )
    return found


def shift_table(model: Model, free: Model, column: str, confidence: float) -> pd.DataFrame:
    """Shift of each value against the comparison value at each cut-point; see ``Fit.proportional_odds``."""
    engine = free.levels
    atom = model.layout.atoms[column]
    if not isinstance(atom, Categories):
        raise ArgumentError(f"{column!r} is a number", remedy="Name a column of categories.")
    groups = list(free.found.threshold_groups)
    cut, q = engine.problem.cut, engine.problem.q
    covariance = engine.full_covariance[q:, q:]
    tau = engine.joint.beta
    place = {(int(g), pair): at for at, (g, pair) in enumerate(zip(cut.groups, cut.between, strict=True))}
    against = groups.index(atom.against)
    half = norm.ppf(0.5 + confidence / 2)
    rows = []
    for value in atom.shown:
        g = groups.index(value)
        shared = [pair for (at, pair) in place if at == g and (against, pair) in place]
        contrast = np.zeros((len(shared), len(tau)))
        for i, pair in enumerate(shared):
            contrast[i, place[against, pair]], contrast[i, place[g, pair]] = 1.0, -1.0
        shift, error = contrast @ tau, contrast @ covariance @ contrast.T
        p = _equal(shift, error)
        for i, pair in enumerate(shared):
            se = float(np.sqrt(error[i, i]))
            label = f"{free.found.levels[pair[0]]} to {free.found.levels[pair[1]]}"
            rows.append((value, label, shift[i], se, shift[i] - half * se, shift[i] + half * se, p))
    columns = [column, "threshold", "value", "se", "low", "high", "p"]
    frame = pd.DataFrame(rows, columns=columns).set_index([column, "threshold"])
    return frame.assign(confidence=confidence, interval_method="wald_z")


def _equal(shift: Floats, error: Floats) -> float:
    """Wald test that all shifts are the same."""
    if len(shift) < 2:
        return float("nan")
    differences = np.diff(np.eye(len(shift)), axis=0)
    change = differences @ shift
    statistic = change @ np.linalg.pinv(differences @ error @ differences.T) @ change
    return float(chi2.sf(statistic, len(change)))


def influence_table(model: Model, name: str, term: str | None) -> pd.DataFrame:
    """What taking one member's ratings out would do, in one step; see ``Fit.influence``."""
    names = [members.name for members in model.members]
    if name not in names:
        raise ArgumentError(f"no grouping {name!r} was fitted", allowed=names)
    t = names.index(name)
    joint = model.fitted.joint
    change = _without_each(model, t)
    skip = model.levels.problem.c if model.ordinal else 0
    own, covariance = change[:, skip:], joint.covariance[skip:, skip:]
    terms = model.names + (model.found.scale_names if model.ordinal else [])
    if not terms:
        raise ModelError("there is no fixed term that could move")
    if term is not None and term not in terms:
        raise ArgumentError(f"{term!r} is not a term", allowed=terms)
    scaled = own / np.sqrt(np.diagonal(covariance))
    place = np.abs(scaled).argmax(axis=1) if term is None else np.full(len(own), terms.index(term))
    rows = np.arange(len(own))
    inverse = scaled_inverse(covariance)
    return pd.DataFrame(
        {
            "n": model.ratings(t),
            "distance": np.einsum("mp,pq,mq->m", own, inverse, own) / len(terms),
            "term": [terms[j] for j in place],
            "change": own[rows, place],
            "change_in_se": scaled[rows, place],
        },
        index=pd.Index(model.members[t].labels(), name="member", dtype="str"),
    )


def _without_each(model: Model, t: int) -> Floats:
    """Change of the fixed parameters when each member's rows are taken out, (m, fixed parameters).

    One Newton step from the optimum, variances held: with K the curvature of all parameters together and
    W'W that of the member's rows, −(K − W'W)⁻¹g by way of the small matrix I − WK⁻¹W'.
    """
    joint = model.fitted.joint
    if model.ordinal:  # the errors of estimated variances are no part of this curvature
        inverse = scaled_inverse(model.levels.state.conditional)
        joint = replace(joint, covariance=inverse)
    curved_x, curved_z, slope_x, slope_z = _contributions(model)
    codes = model.rows.codes[t]
    each = np.argsort(codes, kind="stable")
    ends = np.concatenate([[0], np.cumsum(model.counts[t])])
    pieces_a_row = curved_x.shape[0] // len(codes)
    change = np.zeros((model.members[t].m, len(joint.beta)))
    for j in track(range(len(change)), "influence"):
        rows = each[ends[j] : ends[j + 1]]
        w = np.concatenate([rows + k * len(codes) for k in range(pieces_a_row)])
        x = np.concatenate([curved_x[w], slope_x[rows].sum(axis=0, keepdims=True)])
        z = sparse.vstack([curved_z[w], sparse.csr_array(slope_z[rows].sum(axis=0)[None, :])], format="csr")
        errors, toward = joint.error_and_fixed(x, sparse.csr_array(z))
        inner = np.eye(len(w)) - errors[:-1, :-1]
        step = np.linalg.lstsq(inner, errors[:-1, -1], rcond=1e-10)[0]
        change[j] = -(toward[:, -1] + toward[:, :-1] @ step)
    return change


def _contributions(model: Model) -> tuple[Floats, sparse.csr_array, Floats, sparse.csr_array]:
    """Rows whose squares sum to the curvature, by fixed parameters and by effects, and the slopes."""
    rows, engine = model.rows, model.fitted
    frame = model.frame.iloc[rows.kept]
    z, _ = model.random_part(frame, range(len(model.members)))
    offset = np.asarray(z @ engine.joint.b)
    if not model.ordinal:
        residual = rows.response - rows.fixed @ engine.joint.beta - offset
        root = np.sqrt(rows.weights / model.residual)
        slope = rows.weights * residual / model.residual
        return rows.fixed * root[:, None], _times(root, z), rows.fixed * slope[:, None], _times(slope, z)
    problem = assemble.ordinal_problem(rows, model.found, model.factors)
    _, tau, beta, zeta = problem.split(np.concatenate([model.levels.theta, engine.joint.beta]))
    spread, eta = np.exp(rows.scale @ zeta), rows.fixed @ beta + offset
    now = pieces(problem.link, *problem.edges(tau, eta, spread))
    upper, lower = problem.columns(tau, eta, spread)
    aa, bb = now.cross - now.s_upper, now.cross - now.s_lower  # minus the second derivatives
    first = np.sqrt(np.maximum(aa, 1e-300) * rows.weights)
    share = -now.cross * rows.weights / first
    second = np.sqrt(np.maximum(bb * rows.weights - share**2, 0.0))
    curved = np.concatenate([first[:, None] * upper + share[:, None] * lower, second[:, None] * lower])
    turned = np.concatenate([first + share, second]) / np.tile(spread, 2)
    slopes = rows.weights[:, None] * (now.by_upper[:, None] * upper + now.by_lower[:, None] * lower)
    twice = sparse.csr_array(sparse.vstack([z, z], format="csr"))
    return curved, _times(-turned, twice), slopes, _times(-rows.weights * now.s / spread, z)


def _times(column: Floats, z: sparse.csr_array) -> sparse.csr_array:
    return sparse.csr_array(sparse.diags_array(column) @ z)
