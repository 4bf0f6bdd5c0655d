"""From a declared model to its optimum: what the rows can tell, what is set aside, what is exactly zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ModelError
from mentorstats.estimate import Status
from mentorstats.mixed.algebra.covariance import FLOOR, scaled_inverse, triangles
from mentorstats.mixed.design.chunks import read_products
from mentorstats.mixed.design.crossproducts import CrossProducts, cross_products, lay_blocks, meet
from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.design.scan import Chunks, Rows, Survey, rows, survey
from mentorstats.mixed.engines import identifiable, quadrature
from mentorstats.mixed.engines.engines import LinearEngine, OrdinalEngine, fit_ordinal, laplace
from mentorstats.mixed.engines.identifiable import Screening, Verdict
from mentorstats.mixed.engines.linear import Problem
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.engines.ordinal import OrdinalProblem, State, cuts

Floats = NDArray[np.float64]

_STRONG = 1e6  # times the natural size of a standard deviation: as good as no penalty
_NOTHING_LEFT = 1e-9  # share of the response's variation
_ROUNDING = 1e-6  # share of a fixed column that random ones leave, below which it is one of theirs
_HALF = 0.5  # of a dimension: more than rounding, less than one row
_RUNAWAY = 40.0  # latent standard deviations beyond which an ordinal variance has no finite estimate
_ZERO = 1e-2  # relative to its natural size: below it an ordinal variance is tried at zero
_NO_WORSE = 1e-5  # minus twice the log-likelihood
_AT_FLOOR = 2.0  # times the lowest value that is tried


def assemble(
    chunks: Chunks, declared: Declared, *, restricted: bool, points: int, merged: bool = True
) -> Model:
    """Survey the data, set aside what cannot be told apart, and find the optimum."""
    found = survey(chunks, declared)
    if declared.kind == "ordinal":
        return _ordinal(chunks, found, points, merged)
    return _linear(chunks, found, restricted=restricted)


def _nothing(chunks: Chunks, found: Survey, verdict: Verdict, screening: Screening | None = None) -> Model:
    return Model(
        found, screening or Screening(verdict), (), (), (), chunks, None, verdict, found.layout.notes
    )


def _linear(chunks: Chunks, found: Survey, *, restricted: bool) -> Model:
    verdict = identifiable.of_response(found)
    if verdict:
        return _nothing(chunks, found, verdict)
    total = read_products(chunks, found)
    screening = _screened(found, total, total.fixed[:-1, :-1], 0)
    columns, factors = _kept(found, screening)
    products = total.select(list(factors), list(columns))
    if products.n <= len(columns):
        text = f"{products.n} rows for {len(columns)} fixed columns; nothing is left to judge by."
        return _nothing(chunks, found, Verdict(Status.SATURATED, text), screening)
    correlated = [found.layout.declared.grouped[t].correlated for t in factors]
    free = triangles(products.sizes, correlated)
    meetings = {pair: (left, right) for pair, (left, right, _) in products.between.items()}
    problem = Problem(
        products, lay_blocks(products.sizes, meetings), free, restricted, float(np.log(found.sd))
    )
    saturated = Verdict(
        Status.SATURATED,
        "The effects reproduce every response exactly, so no residual variation is left to judge "
        "anything by. Average what agrees entirely, or take a grouping out.",
    )
    if _reproduced(problem):
        return _nothing(chunks, found, saturated, screening)
    solution, minimum = problem.optimise()
    if solution.residual <= _NOTHING_LEFT * problem.products.fixed[-1, -1]:
        return _nothing(chunks, found, saturated, screening)
    scales = tuple(found.layout.members[t].scales for t in factors)
    engine = LinearEngine(problem, solution, minimum, found.mean, found.sd, scales)
    return Model(
        found,
        screening,
        columns,
        factors,
        products.counts,
        chunks,
        engine,
        _convergence(minimum.converged, minimum.norm),
        _notes(found, screening),
        aliases=_aliases(total.fixed[:-1, :-1], columns, 0),
    )


def _reproduced(problem: Problem, without: frozenset[int] = frozenset()) -> bool:
    """Whether effects of fewer dimensions than there are rows reproduce the response.

    Then the likelihood has no upper bound. Effects that reproduce any response at all, one dimension a row,
    are no reason to refuse: how they share the variation is told by which rows have them in common.
    """
    chosen = np.array([t not in without for t, _, _ in problem.triangles.entries], dtype=bool)
    strong = np.where(problem.triangles.diagonal & chosen, _STRONG * problem.natural, 0.0)
    if problem.solve(strong).residual > _NOTHING_LEFT * problem.products.fixed[-1, -1]:
        return False
    if problem.products.n - _dimensions(problem, strong) > _HALF:
        return True
    others = [t for t in range(len(problem.triangles.sizes)) if t not in without]
    return any(_reproduced(problem, without | {t}) for t in others)


def _dimensions(problem: Problem, theta: Floats) -> float:
    """Dimensions of random and fixed columns together: their rank where nothing is shrunken."""
    factors = problem.triangles.unpack(theta)
    factor = problem.blocks.elimination.factorise(problem.matrix(factors))
    half = factor.half(problem.triangles.spread(factors, problem.products.random_fixed, transposed=True))
    fixed = problem.products.fixed[:-1, :-1]
    size = np.sqrt(np.diagonal(fixed))
    beyond = np.linalg.eigvalsh((fixed - (half.T @ half)[:-1, :-1]) / np.outer(size, size))
    return float(problem.triangles.n - factor.inverse_diagonal().sum() + (beyond > _ROUNDING).sum())


def _screened(found: Survey, products: CrossProducts, fixed: Floats, lead: int) -> Screening:
    """Look for what cannot be told apart; ``lead`` columns stand before the named ones."""
    screening = Screening()
    identifiable.of_groupings([members.name for members in found.layout.members], products, screening)
    identifiable.of_slopes(found.layout.members, products, screening)
    names = ["", *[""] * lead][:lead] + found.layout.names
    screening.aliased = {
        j - lead: verdict for j, verdict in identifiable.of_columns(fixed, names).items() if j >= lead
    }
    return screening


def _kept(found: Survey, screening: Screening) -> tuple[tuple[int, ...], tuple[int, ...]]:
    layout = found.layout
    columns = tuple(j for j in range(len(layout.names)) if j not in screening.aliased)
    factors = tuple(t for t, m in enumerate(layout.members) if m.name not in screening.set_aside)
    return columns, factors


def _aliases(cross: Floats, columns: Sequence[int], lead: int) -> Floats | None:
    """Coefficients that give the columns set aside from those before and kept."""
    kept = [*range(lead), *(lead + j for j in columns)]
    aside = [j for j in range(len(cross)) if j not in kept]
    if not aside:
        return None
    inverse = scaled_inverse(cross[np.ix_(kept, kept)])
    return np.asarray(inverse @ cross[np.ix_(kept, aside)])


def _notes(found: Survey, screening: Screening) -> tuple[str, ...]:
    verdicts = [*screening.groupings.values(), *screening.aliased.values()]
    texts = [*found.layout.notes, *(verdict.note for verdict in verdicts)]
    for name in (name for name in screening.groupings if name in screening.set_aside):
        texts.append(f"{name} was set aside; the other components are fitted without it.")
    unused = [str(x) for x, used in zip(found.levels, found.used_levels, strict=True) if not used]
    if unused:
        texts.append(f"No rating has level {', '.join(unused)}; there is no cut-point for it.")
    if not found.layout.declared.grouped:
        texts.append(
            "No groupings: ratings of one person are taken as independent; errors are likely too small."
        )
    if found.left_out:
        texts.append(f"{found.left_out} rows were left out for a missing value in a column of the model.")
    return tuple(dict.fromkeys(texts))


def _without_cuts(problem: OrdinalProblem, found: Survey) -> list[str]:
    """What to say of values of ``thresholds_by`` with which only one level was given."""
    name = found.layout.declared.thresholds_by
    return [
        f"{name}: every rating of {group} has one level; there is no cut-point for it."
        for g, group in enumerate(found.threshold_groups)
        if g not in problem.cut.groups
    ]


def _convergence(converged: bool, norm: float) -> Verdict | None:
    if converged:
        return None
    return Verdict(
        Status.NOT_CONVERGED,
        f"The optimiser stopped before an optimum (largest slope {norm:.2g}). Take out groupings that few "
        "ratings speak to, or slopes.",
    )


def _ordinal(chunks: Chunks, found: Survey, points: int, merged: bool) -> Model:
    verdict = identifiable.of_response(found)
    if verdict:
        return _nothing(chunks, found, verdict)
    frames = [part[found.layout.declared.used] for part in chunks()]
    frame = frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)
    given = rows(frame, found)
    sizes = tuple((members.m, members.k) for members in found.layout.members)
    lead = len(found.threshold_groups)
    groups = (given.threshold_group[:, None] == np.arange(lead)).astype(np.float64)
    wide = replace(given, fixed=np.concatenate([groups, given.fixed], axis=1))
    products = cross_products(wide, sizes, shift=0.0, scale=1.0)
    screening = _screened(found, products, products.fixed[:-1, :-1], lead)
    columns, factors = _kept(found, screening)
    counts = tuple(products.counts[t] for t in factors)
    chosen = given.select(columns, factors)
    problem = ordinal_problem(chosen.collapsed() if merged else chosen, found, factors)
    names = [found.layout.names[j] for j in columns]
    verdict = identifiable.separation(problem.rows, problem.cut, names) or _no_disagreement(
        problem, found, factors
    )
    if verdict:
        return _nothing(chunks, found, verdict, screening)
    engine = ordinal_engine(problem, found, factors, points)
    verdict = _convergence(engine.minimum.converged, engine.minimum.norm)
    for covariance, t in zip(engine.covariances(), factors, strict=True):
        if covariance.max(initial=0.0) > _RUNAWAY**2:
            name = found.layout.members[t].name
            text = f"The variance of {name} grows without end: its members' ratings hardly ever differ."
            return _nothing(chunks, found, Verdict(Status.SATURATED, text), screening)
    return Model(
        found,
        screening,
        columns,
        factors,
        counts,
        chunks,
        engine,
        verdict,
        (*_without_cuts(problem, found), *_notes(found, screening)),
        lead,
        _aliases(products.fixed[:-1, :-1], columns, lead),
    )


def ordinal_problem(given: Rows, found: Survey, factors: Sequence[int]) -> OrdinalProblem:
    """Lay out the likelihood of these rows, which hold only what was kept."""
    members = [found.layout.members[t] for t in factors]
    sizes = tuple((each.m, each.k) for each in members)
    meetings = {
        (s, t): meet(given.codes[s], given.codes[t], sizes[s][0], sizes[t][0])
        for t in range(len(sizes))
        for s in range(t)
    }
    pattern = {pair: (meeting.left, meeting.right) for pair, meeting in meetings.items()}
    blocks = lay_blocks(sizes, pattern) if sizes else None
    seen = np.zeros((len(found.threshold_groups), len(found.levels)), dtype=bool)
    seen[given.threshold_group, given.response.astype(int)] = True
    free = triangles(sizes, [each.grouping.correlated for each in members])
    return OrdinalProblem(given, cuts(seen), found.layout.declared.link, free, blocks, meetings)


def ordinal_engine(
    problem: OrdinalProblem,
    found: Survey,
    factors: Sequence[int],
    points: int = 1,
    start: Floats | None = None,
) -> OrdinalEngine:
    """Find the optimum; variances at the edge become exact zeros."""
    scales = tuple(found.layout.members[t].scales for t in factors)
    state, minimum = fit_ordinal(problem, start)
    state, zero = _exact_zeros(problem, state)
    if points == 1 or not problem.q:
        return OrdinalEngine(problem, state, minimum, scales, zero, state.value, laplace(problem))
    return quadrature_engine(problem, state, scales, points)


def quadrature_engine(
    problem: OrdinalProblem, state: State, scales: tuple[Floats, ...], points: int
) -> OrdinalEngine:
    """Refine Laplace's optimum by adaptive quadrature."""
    why = quadrature.applies(problem)
    if why:
        raise ModelError(
            f"quadrature_points={points}: {why}", remedy="Use quadrature_points=1, Laplace's approximation."
        )
    minimum = quadrature.fit_quadrature(problem, points, np.maximum(state.psi, problem.lower), state.hessian)
    at = problem.evaluate(minimum.x)
    if at is None:
        raise ModelError("the cut-points cross at the optimum", remedy="Use quadrature_points=1.")
    integral = quadrature.QuadratureProblem(problem, points)
    integral.recentre(minimum.x)
    zero = (
        np.abs(minimum.x[: problem.q]) <= _AT_FLOOR * problem.lower[: problem.q]
    ) & problem.triangles.diagonal
    other = quadrature.QuadratureProblem(problem, points)
    moving = (other.evaluate, other.recentre)
    return OrdinalEngine(problem, at, minimum, scales, zero, minimum.value, integral.evaluate, points, moving)


def _exact_zeros(problem: OrdinalProblem, state: State) -> tuple[State, NDArray[np.bool_]]:
    zero = np.zeros(problem.q, dtype=bool)
    diagonal = problem.triangles.diagonal
    for at in np.flatnonzero((np.abs(state.psi[: problem.q]) < _ZERO * problem.natural) & diagonal):
        psi = state.psi.copy()
        psi[at] = FLOOR * problem.natural[at]
        tried = problem.evaluate(psi)
        if tried is not None and tried.value <= state.value + _NO_WORSE:
            state, zero[at] = tried, True
    return state, zero


def _no_disagreement(problem: OrdinalProblem, found: Survey, factors: Sequence[int]) -> Verdict | None:
    """Whether all ratings of each member are the same, so that its variance has no finite estimate."""
    level, weights = problem.rows.response, problem.rows.weights
    for codes, t in zip(problem.rows.codes, factors, strict=True):
        members = found.layout.members[t]
        count = np.bincount(codes, weights, minlength=members.m)
        low = np.full(members.m, np.inf)
        high = np.full(members.m, -np.inf)
        np.minimum.at(low, codes, level)
        np.maximum.at(high, codes, level)
        if (low[count > 0] == high[count > 0]).all() and (count > 1).any():
            text = (
                f"All ratings of each {members.name} are at one level, so its variance has no finite "
                f"estimate. Average over {members.name}, or take it out."
            )
            return Verdict(Status.SATURATED, text)
    return None
