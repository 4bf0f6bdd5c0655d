"""Ratings drawn anew from the base fit, and what would be predicted of them: references without a refit.

Levels drawn at the shrunken effects would scatter about them more than the ratings do that the effects were
fitted to. So each draw has effects of its own: new ones for lessons and forms, and for candidates, raters and
raters' criteria a draw from what the ratings leave open about them. After drawing the levels all effects are
predicted again by Newton steps from the drawn ones with the base fit's factorisation; cut-points, fixed terms
and variances are held, and nothing is fitted again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import FORM
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.mixed.engines.links import BEYOND, cumulative, slope
from mentorstats.progress import track

Floats = NDArray[np.float64]

DRAWS = 200
METHOD = "simulated_without_refit"
FRESH = ("observation", FORM)  # groupings whose effects are drawn anew
FEWEST = 50  # draws below which no limits are given
MOST_CELLS = 100_000_000  # ratings drawn in all, of five bytes each
KEPT = 20
_STEPS = 2
_CELLS = 2_000_000  # ratings × draws worked on at once


@dataclass(frozen=True)
class Redraws:
    """Drawn ratings.

    Attributes
    ----------
    base
        The fit they were drawn from.
    ranks
        Drawn ranks, (n, draws); the lowest declared level is 1.
    predictor
        Linear predictors given the effects predicted from each draw, (n, draws).
    without_forms
        The same without the effects of lessons and forms, of the first `KEPT` draws.
    """

    base: Base
    ranks: NDArray[np.uint8]
    predictor: NDArray[np.float32]
    without_forms: NDArray[np.float32]

    @property
    def n(self) -> int:
        """How many draws."""
        return int(self.ranks.shape[1])

    def parts(self) -> Iterator[tuple[Floats, Floats]]:
        """Ranks and predictors of a few draws at a time, (n, some) each: temporary arrays stay small."""
        for part in _parts(len(self.ranks), self.n):
            yield self.ranks[:, part].astype(np.float64), self.predictor[:, part].astype(np.float64)


@entry()
def redraws(base: Base, *, draws: int = DRAWS, seed: int = 0) -> Redraws:
    """Draw ratings for all rows of the base fit.

    Parameters
    ----------
    draws
        How many times, at least `FEWEST`.
    seed
        The same seed gives the same draws.

    Raises
    ------
    ArgumentError
        Too few draws.
    """
    n = len(base.rows)
    most = max(FEWEST, MOST_CELLS // max(n, 1))
    if not FEWEST <= draws <= most:
        raise ArgumentError(f"{draws} draws", allowed=f"{FEWEST} to {most} for {n} ratings")
    ranks, predictor = np.empty((n, draws), dtype=np.uint8), np.empty((n, draws), dtype=np.float32)
    without = np.empty((n, KEPT), dtype=np.float32)
    edges = cutpoint_rows(base)
    for i, part in enumerate(track(_parts(n, draws), "drawing ratings", total=len(_parts(n, draws)))):
        generator = np.random.default_rng([seed, i])
        effects = _effects(base, part.stop - part.start, generator)
        eta = _predictor(base, effects)
        drawn = _levels(base, eta, edges, generator)
        ranks[:, part] = drawn + 1
        found = _predicted(base, effects, eta, drawn, edges)
        predictor[:, part] = _predictor(base, found)
        kept = slice(part.start, min(part.stop, KEPT))
        if kept.start < KEPT:
            without[:, kept] = _predictor(base, _no_forms(base, found[:, : kept.stop - kept.start]))
    return Redraws(base, ranks, predictor, without)


def _parts(n: int, draws: int) -> list[slice]:
    size = max(1, _CELLS // max(n, 1))
    return [slice(begin, min(begin + size, draws)) for begin in range(0, draws, size)]


def cutpoint_rows(base: Base) -> Floats:
    """Cut-point over each level but the highest, (measures, levels − 1).

    −∞ (∞) where a measure's raters used nothing at or below (above) it; over a level that is not used,
    that of the next used one below.
    """
    problem = base.model.levels.problem
    _, tau, _, _ = problem.split(base.model.levels.state.psi)
    groups, n_levels = problem.cut.upper.shape
    out = np.full((groups, n_levels - 1), -np.inf)
    for g in range(groups):
        used = np.flatnonzero((problem.cut.upper[g] >= 0) | (problem.cut.lower[g] >= 0))
        for level in range(n_levels - 1):
            below = used[used <= level]
            if len(below):
                edge = problem.cut.upper[g, below[-1]]
                out[g, level] = tau[edge] if edge >= 0 else np.inf
    return out


def shares(base: Base, predictor: Floats, edges: Floats) -> Floats:
    """Probability of each level at linear predictors (n, …), with the levels in front, (levels, n, …)."""
    own = edges[base.model.rows.threshold_group]
    shape = (-1,) + (1,) * (predictor.ndim - 1)
    link = base.model.declared.link
    out, below = np.empty((own.shape[1] + 1, *predictor.shape)), np.zeros(())
    for j in range(own.shape[1]):
        upto = cumulative(link, own[:, j].reshape(shape) - predictor)
        np.subtract(upto, below, out=out[j])
        below = upto
    np.subtract(1.0, below, out=out[-1])
    return out


def moments(level_shares: Floats) -> tuple[Floats, Floats]:
    """Expected rank and its variance from `shares`, (n, …) each."""
    ranks = np.arange(1.0, len(level_shares) + 1)
    expected = np.tensordot(ranks, level_shares, axes=1)
    variance = np.zeros_like(expected)
    for rank, share in zip(ranks, level_shares, strict=True):  # so that temporary arrays stay small
        variance += share * (rank - expected) ** 2
    return expected, variance


def _effects(base: Base, draws: int, generator: np.random.Generator) -> Floats:
    """Spherical effects, (N, draws): what is not known of them drawn, lessons and forms anew."""
    engine, joint = base.model.levels, base.joint
    noise = generator.standard_normal((len(joint.b), draws))
    if joint.factor is None:
        return noise
    drawn = engine.state.u[:, None] + joint.factor.back(noise)
    for t, members in enumerate(base.model.members):
        if members.name in FRESH:
            part = joint.part(t)
            drawn[part] = generator.standard_normal((part.stop - part.start, draws))
    return drawn


def _no_forms(base: Base, effects: Floats) -> Floats:
    out = effects.copy()
    for t, members in enumerate(base.model.members):
        if members.name in FRESH:
            out[base.joint.part(t)] = 0.0
    return out


def _predictor(base: Base, effects: Floats) -> Floats:
    joint = base.joint
    _, _, beta, _ = base.model.levels.problem.split(base.model.levels.state.psi)
    lifted = base.model.levels.triangles.spread(joint.factors, effects, transposed=False)
    return np.asarray((base.model.rows.fixed @ beta)[:, None] + base.random_columns @ lifted)


def _levels(base: Base, eta: Floats, edges: Floats, generator: np.random.Generator) -> NDArray[np.int64]:
    """Levels counted from 0, (n, draws)."""
    chance = generator.random(eta.shape)
    own = edges[base.model.rows.threshold_group]
    link = base.model.declared.link
    drawn = np.zeros(eta.shape, dtype=np.int64)
    for j in range(own.shape[1]):
        drawn += chance > cumulative(link, own[:, j, None] - eta)
    return drawn


def score(base: Base, eta: Floats, drawn: NDArray[np.int64], edges: Floats) -> Floats:
    """Slope of the log-probability of drawn levels (from 0) towards the predictor, (n, draws)."""
    wide = np.pad(edges, ((0, 0), (1, 1)), constant_values=((0, 0), (-np.inf, np.inf)))
    group = base.model.rows.threshold_group[:, None]
    upper = np.clip(wide[group, drawn + 1] - eta, -BEYOND, BEYOND)
    lower = np.clip(wide[group, drawn] - eta, -BEYOND, BEYOND)
    return -slope(base.model.declared.link, upper, lower)


def _predicted(base: Base, effects: Floats, eta: Floats, drawn: NDArray[np.int64], edges: Floats) -> Floats:
    """Effects predicted from the drawn levels, (N, draws)."""
    joint = base.joint
    if joint.factor is None:
        return effects
    for _ in range(_STEPS):
        uphill = base.random_columns.T @ score(base, eta, drawn, edges)
        uphill = base.model.levels.triangles.spread(joint.factors, uphill, transposed=True)
        effects = effects + joint.factor.solve(np.ascontiguousarray(uphill - effects))
        eta = _predictor(base, effects)
    return effects
