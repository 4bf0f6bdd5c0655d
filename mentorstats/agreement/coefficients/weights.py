"""Agreement weights: how much credit a pair of levels gets, one for the same level.

Named sets follow [gwet_2014], chapter 3: identity, linear, quadratic, ordinal, radical, ratio.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from mentorstats.errors import ArgumentError

Array: TypeAlias = npt.NDArray[np.float64]

NAMES = ("identity", "linear", "quadratic", "ordinal", "radical", "ratio")


def matrix(weights: str | npt.ArrayLike, scores: Array) -> Array:
    """Agreement weights, levels by levels.

    Parameters
    ----------
    weights
        A name of ``NAMES``, or a square symmetric array with ones on the diagonal, no weight
        above one and at least one below.
    scores : array (q,)
        Numbers that stand for the levels, lowest first: the levels themselves where they are
        numbers, else 1 … q. Only linear, quadratic, radical and ratio use them.

    Returns
    -------
    array (q, q)

    Raises
    ------
    ArgumentError
        Unknown name; array of another shape, not symmetric, or with impossible weights; numbers under
        ratio weights that are negative or do not rise.
    """
    if isinstance(weights, str):
        return _named(weights, scores)
    given = np.asarray(weights, dtype=float)
    q = len(scores)
    if given.shape != (q, q):
        raise ArgumentError(
            f"weights have shape {given.shape}", allowed=f"({q}, {q}), one row a declared level"
        )
    if not np.isfinite(given).all() or not np.allclose(given, given.T, atol=1e-12):
        raise ArgumentError("weights are not a symmetric array of numbers")
    if not np.allclose(np.diag(given), 1.0, atol=1e-12) or given.max() > 1 + 1e-12:
        raise ArgumentError(
            "weights must be 1 on the diagonal and at most 1 elsewhere",
            remedy="Give agreement weights; turn disagreement weights v into 1 - v / max(v).",
        )
    return given


def _named(name: str, scores: Array) -> Array:
    q = len(scores)
    ranks = np.arange(q, dtype=float)
    distance: Array = np.abs(scores[:, None] - scores[None, :])
    steps: Array = np.abs(ranks[:, None] - ranks[None, :])
    span = float(distance.max()) if q > 1 else 1.0
    if name == "identity":
        return np.eye(q)
    if name == "linear":
        return 1 - distance / span
    if name == "quadratic":
        return 1 - np.square(distance / span)
    if name == "radical":
        return 1 - np.sqrt(distance / span)
    if name == "ordinal":
        return 1 - steps * (steps + 1) / max(q * (q - 1), 1)
    if name == "ratio":
        largest = max(float(_relative(scores[[0, -1]])[0, 1]), np.finfo(float).tiny)
        return 1 - _relative(scores) / largest
    raise ArgumentError(f"unknown weights {name!r}", allowed=[*NAMES, "a square array"])


def _relative(scores: Array) -> Array:
    """Squared difference over squared sum, zero for two zeros."""
    if (scores < 0).any():
        raise ArgumentError("ratio weights need levels that are not negative")
    if (np.diff(scores) <= 0).any():
        raise ArgumentError(
            "ratio weights need numbers that rise from level to level",
            where="levels",
            remedy="Declare the levels lowest first.",
        )
    total = scores[:, None] + scores[None, :]
    difference = scores[:, None] - scores[None, :]
    relative = np.divide(difference, total, out=np.zeros_like(total), where=total > 0)
    squared: Array = relative * relative
    return squared


def adjacent(q: int) -> Array:
    """Full credit for the same or a neighbouring level, none otherwise, in the declared order."""
    ranks = np.arange(q)
    near: Array = (np.abs(ranks[:, None] - ranks[None, :]) <= 1).astype(np.float64)
    return near


def between(shares: Array) -> Array:
    """Krippendorff's ordinal distance before squaring, levels by levels.

    The share of ratings that lie between two levels, half of those on the two counted:
    [krippendorff_2011], ordinal metric difference.

    Parameters
    ----------
    shares : array (q,)
        Share of all pairable ratings at each level, lowest first.
    """
    up_to = np.cumsum(shares) - shares / 2
    return np.abs(up_to[:, None] - up_to[None, :])


def ordinal_metric(shares: Array) -> Array:
    """Agreement weights equivalent to Krippendorff's ordinal metric at these margins."""
    squared = between(shares) ** 2
    largest = squared.max()
    return 1 - squared / largest if largest > 0 else np.eye(len(shares))


def scores_of(levels: Sequence[object]) -> Array:
    """Numbers for the levels: their own values where all are numbers, else 1 … q."""
    numeric = all(
        isinstance(level, int | float | np.number) and not isinstance(level, bool) for level in levels
    )
    if numeric:
        return np.asarray(levels, dtype=float)
    return np.arange(1, len(levels) + 1, dtype=float)
