"""A statistic of a rater beside the same statistic of ratings drawn from the base fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import t

Floats = NDArray[np.float64]

_ROUNDED = 1e-12  # of squares: an expectation below it is what rounding left of a chance of zero


@dataclass(frozen=True, slots=True)
class Limits:
    """Mean of the draws and their central interval, (r,) each; NaN where any draw has no value."""

    expected: Floats
    low: Floats
    high: Floats


def limits(drawn: Floats, confidence: float) -> Limits:
    """Where the statistic of a rater without peculiarities lies.

    Parameters
    ----------
    drawn
        (r, draws).
    confidence
        Share of the draws between the limits.
    """
    tail = (1 - confidence) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=1)
    return Limits(drawn.mean(axis=1), low, high)


@dataclass(frozen=True, slots=True)
class Ratio:
    """A mean square over what it would be without peculiarities, less one, (r,) each.

    ``expected`` is the mean square that the ratio is to.
    """

    expected: Floats
    contrast: Floats
    se: Floats
    low: Floats
    high: Floats
    p: Floats


def mean_square_ratio(observed: Floats, drawn: Floats, confidence: float, *, root: float = 1.0) -> Ratio:
    """Compare mean squares with drawn ones on the scale of the cube root, where they are about normal.

    Parameters
    ----------
    observed
        Mean squares, (r,), zero or more.
    drawn
        The same of drawn ratings, (r, draws).
    confidence
        Coverage of the interval, which takes the spread of the draws for that of the rater.
    root
        The ratio is raised to it: ``0.5`` compares standard deviations.

    Notes
    -----
    Student's t with draws − 1 degrees of freedom allows for mean and spread being themselves simulated
    [wilson_hilferty_1931].
    """
    n = drawn.shape[1]
    cube, cubes = np.cbrt(observed), np.cbrt(drawn)
    middle, spread = cubes.mean(axis=1), cubes.std(axis=1, ddof=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        error = np.where(spread > 0, spread, np.nan) * np.sqrt(1 + 1 / n)
        p = 2 * t.sf(np.abs(cube - middle) / error, n - 1)
        half = t.ppf(0.5 + confidence / 2, n - 1) * error
        value, low, high = (
            (np.maximum(at, 0.0) / middle) ** (3 * root) - 1 for at in (cube, cube - half, cube + half)
        )
        se = (high - low) / (2 * t.ppf(0.5 + confidence / 2, n - 1))
    return Ratio(middle**3, value, se, low, high, p)


def over_expected(squares: Floats, expected: Floats) -> Floats:
    """Squares over their expectation; 1 where neither can differ from zero, so nothing unexpected is seen.

    NaN where a level came whose chance rounds to zero: by how much it surprises cannot be said.
    """
    alike = np.where((squares == 0) & (expected == 0), 1.0, np.nan)
    return np.asarray(np.divide(squares, expected, out=alike, where=expected > _ROUNDED * squares))


def adding(group: NDArray[np.int64], n_groups: int) -> sparse.csr_array:
    """Matrix that sums rows by group, (n_groups, n)."""
    n = len(group)
    return sparse.csr_array((np.ones(n), (group, np.arange(n))), shape=(n_groups, n))
