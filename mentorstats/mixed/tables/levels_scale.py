"""What an ordinal model says at given rows: latent position, expected level, probability of each level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.special import ndtr

from mentorstats.mixed.design.layout import joint_codes
from mentorstats.mixed.engines.links import cumulative
from mentorstats.mixed.engines.model import Model

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCALES = ("latent", "level", "probability")
_POINTS = 41  # of Gauss and Hermite's rule, accurate to 1e-8 up to the ratio below
_WIDE = (
    1.5  # standard deviation of the effects over that scale of the logistic, above which it is turned round
)
_GRID = np.arange(-38.0, 38.01, 0.5)  # equal steps integrate the logistic density to machine precision


@dataclass(frozen=True)
class Places:
    """Rows at which an ordinal model is evaluated, as numbers."""

    fixed: Floats  # kept columns, (n, p)
    scale: Floats  # (n, d)
    group: Ints
    loads: tuple[Floats, ...]  # what the effects of each grouping are multiplied by, scaled, (n, k)


def places(model: Model, frame: pd.DataFrame, *, random: bool) -> Places:
    """Read the rows; loads only where the random effects are integrated over."""
    by = model.declared.thresholds_by
    group = (
        joint_codes(frame, [by], [pd.Index(model.found.threshold_groups)])
        if by
        else np.zeros(len(frame), dtype=np.int64)
    )
    scale = [atom.columns(frame[atom.name]) for atom in model.found.scale_atoms]
    return Places(
        model.fixed_part(frame),
        np.concatenate(scale, axis=1) if scale else np.zeros((len(frame), 0)),
        group,
        tuple(members.values(frame) for members in model.members) if random else (),
    )


def evaluate(model: Model, psi: Floats, at: Places, scale: str, offset: Floats | float = 0.0) -> Floats:
    """Value at each row, (n, 1), or for ``"probability"`` (n, levels).

    ``offset`` is added to the linear predictor; random effects are integrated over where ``at`` has
    loads, and zero otherwise.
    """
    problem = model.levels.problem
    theta, tau, beta, zeta = problem.split(psi)
    eta = at.fixed @ beta + offset
    if scale == "latent":
        return np.asarray((eta - _middle(problem.cut.groups, tau, at.group))[:, None])
    shares = level_shares(model, at, tau, eta, np.exp(at.scale @ zeta), _variance(model, theta, at))
    if scale == "probability":
        return shares
    return np.asarray(shares @ np.arange(1.0, shares.shape[1] + 1))[:, None]


def _middle(groups: Ints, tau: Floats, wanted: Ints) -> Floats:
    count = np.bincount(groups, minlength=int(wanted.max(initial=0)) + 1)
    total = np.bincount(groups, tau, minlength=len(count))
    return (total / np.maximum(count, 1))[wanted]


def _variance(model: Model, theta: Floats, at: Places) -> Floats:
    total = np.zeros(len(at.group))
    for load, covariance in zip(at.loads, model.levels.triangles.covariances(theta), strict=False):
        total += np.einsum("na,ab,nb->n", load, covariance, load)
    return total


def level_shares(
    model: Model, at: Places, tau: Floats, eta: Floats, spread: Floats, variance: Floats
) -> Floats:
    """Probability of each declared level, (n, levels); a level never used has none."""
    cut = model.levels.problem.cut
    n_levels = cut.upper.shape[1]
    below = np.zeros((len(eta), n_levels + 1))
    below[:, -1] = 1.0
    for level in range(n_levels - 1):
        where = _edge(cut.upper, cut.lower, at.group, level)
        inside = where >= 0
        below[:, level + 1] = np.where(where == _ALL, 1.0, 0.0)
        if inside.any():
            distance = tau[where[inside]] - eta[inside]
            below[inside, level + 1] = _share_below(
                model.declared.link, distance, spread[inside], variance[inside]
            )
    return np.diff(below, axis=1)


_NONE, _ALL = -1, -2  # nothing at or below this level; everything


def _edge(upper: Ints, lower: Ints, group: Ints, level: int) -> Ints:
    """Which cut-point bounds everything up to this level, by group."""
    out = np.empty(len(upper), dtype=np.int64)
    for g in range(len(upper)):
        used = np.flatnonzero((upper[g] >= 0) | (lower[g] >= 0))
        at_or_below = used[used <= level]
        if not len(at_or_below):
            out[g] = _NONE
        else:
            out[g] = upper[g, at_or_below[-1]] if upper[g, at_or_below[-1]] >= 0 else _ALL
    return out[group]


def _share_below(link: str, distance: Floats, spread: Floats, variance: Floats) -> Floats:
    if link == "probit":
        return np.asarray(ndtr(distance / np.sqrt(spread**2 + variance)))
    if not variance.any():
        return cumulative(link, distance / spread)
    out = np.empty(len(distance))
    sd = np.sqrt(variance)
    wide = sd > _WIDE * spread
    nodes, weights = hermegauss(_POINTS)
    moved = distance[~wide, None] - sd[~wide, None] * nodes
    out[~wide] = cumulative(link, moved / spread[~wide, None]) @ (weights / weights.sum())
    moved = distance[wide, None] - spread[wide, None] * _GRID
    density = cumulative(link, _GRID) * cumulative(link, -_GRID)
    out[wide] = ndtr(moved / sd[wide, None]) @ (density / density.sum())
    return out
