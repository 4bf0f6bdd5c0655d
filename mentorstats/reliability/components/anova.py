"""Components of balanced data from mean squares."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from mentorstats.reliability.components import limits
from mentorstats.reliability.components.estimated import Estimated, value_status
from mentorstats.reliability.components.squares import Squares

Floats = NDArray[np.float64]

DRAWN = "generalised_pivot"


def estimated(found: Squares, members: Sequence[int], confidence: float) -> Estimated:
    """Set each mean square equal to its expectation and solve [brennan_2001].

    Negative values stay in the solution of the others and are set to zero at the end only.
    """
    solving = found.solving
    raw = solving @ found.ms
    low, high, methods = interval(found, solving, confidence)
    told = [value_status(value, n) for value, n in zip(raw, members, strict=True)]
    spread = 2 * found.ms**2 / (found.df + 2)
    return Estimated(
        raw,
        low,
        high,
        (solving * spread) @ solving.T,
        methods,
        tuple(status for status, _ in told),
        tuple(note for _, note in told),
        lambda generator, n: drawn(found, generator, n),
        DRAWN,
    )


def interval(found: Squares, weights: Floats, confidence: float) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Limits of combinations of mean squares, (c, e), cut at zero."""
    rows = [limits.limits(row, found.ms, found.df, confidence) for row in _cleaned(weights)]
    low, high = (np.maximum([row[side] for row in rows], 0.0) for side in (0, 1))
    return low, high, tuple(row[2] for row in rows)


def _cleaned(weights: Floats) -> Floats:
    """Set what rounding left of a weight of zero to zero."""
    size = np.abs(weights).max(axis=1, keepdims=True)
    return np.where(np.abs(weights) > 1e-10 * size, weights, 0.0)


def drawn(found: Squares, generator: np.random.Generator, n: int) -> Floats:
    """Draw the expected mean squares as SS / chi-squared, and solve [weerahandi_1993]."""
    expected = found.ss / generator.chisquare(found.df, size=(n, len(found.df)))
    return np.asarray(expected @ found.solving.T)
