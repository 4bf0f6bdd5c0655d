"""Intervals for what is a sum and difference of independent mean squares."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, f

Floats = NDArray[np.float64]

EXACT, LARGE_SAMPLE = "chi_squared", "modified_large_sample"


def limits(weights: Floats, ms: Floats, df: Floats, confidence: float) -> tuple[float, float, str]:
    """Limits of Σ weights × expected mean squares, and how they were made.

    One mean square alone follows chi-squared; otherwise the modified large-sample limits of [ting_1990].

    Parameters
    ----------
    weights, ms, df : (e,)
    """
    used = np.abs(weights) > 0
    c, ms, df = weights[used], ms[used], df[used]
    tail = (1 - confidence) / 2
    if len(c) == 1 and c[0] > 0:
        sum_of_squares = float(c[0] * ms[0] * df[0])
        return sum_of_squares / chi2.isf(tail, df[0]), sum_of_squares / chi2.ppf(tail, df[0]), EXACT
    up, down = c > 0, c < 0
    value = float(c @ ms)
    plus, minus = (c[up] * ms[up], df[up]), (-c[down] * ms[down], df[down])
    low = value - np.sqrt(max(_below(*plus, *minus, tail), 0.0))
    high = value + np.sqrt(max(_above(*plus, *minus, tail), 0.0))
    return float(low), float(high), LARGE_SAMPLE


def _below(plus: Floats, n: Floats, minus: Floats, m: Floats, tail: float) -> float:
    """Squared distance to the lower limit; ``plus`` and ``minus`` are the terms with their df."""
    g, h = _lower_part(n, tail), _upper_part(m, tail)
    ratio = f.isf(tail, n[:, None], m[None, :])
    both = ((ratio - 1) ** 2 - (g[:, None] * ratio) ** 2 - h[None, :] ** 2) / ratio
    return float(
        (g * plus) @ (g * plus) + (h * minus) @ (h * minus) + plus @ both @ minus + _pairs(plus, n, tail)
    )


def _above(plus: Floats, n: Floats, minus: Floats, m: Floats, tail: float) -> float:
    """Squared distance to the upper limit."""
    h, g = _upper_part(n, tail), _lower_part(m, tail)
    ratio = f.ppf(tail, n[:, None], m[None, :])
    both = ((1 - ratio) ** 2 - (h[:, None] * ratio) ** 2 - g[None, :] ** 2) / ratio
    return float(
        (h * plus) @ (h * plus) + (g * minus) @ (g * minus) + plus @ both @ minus + _pairs(minus, m, tail)
    )


def _lower_part(df: Floats, tail: float) -> Floats:
    return np.asarray(1 - df / chi2.isf(tail, df))


def _upper_part(df: Floats, tail: float) -> Floats:
    return np.asarray(df / chi2.ppf(tail, df) - 1)


def _pairs(terms: Floats, df: Floats, tail: float) -> float:
    """What terms of one sign add two by two, so that their sum alone has Satterthwaite's limits."""
    k = len(terms)
    if k < 2:
        return 0.0
    g = _lower_part(df, tail)
    together = df[:, None] + df[None, :]
    whole = (1 - together / chi2.isf(tail, together)) ** 2 * together**2 / np.outer(df, df)
    own = g[:, None] ** 2 * df[:, None] / df[None, :]
    between = (whole - own - own.T) / (k - 1)
    return float((np.triu(between, 1) * np.outer(terms, terms)).sum())
