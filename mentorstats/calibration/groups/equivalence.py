"""Is an effect small enough not to matter, large enough to matter, or not known well enough to say?

An interval wholly between two bounds shows that the effect is equivalent to none for the purpose that set
the bounds, which is more than a test that found nothing. With a 95 % interval this is two one-sided tests
at 2.5 % each [schuirmann_1987] [lakens_2017].
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.errors import ArgumentError

Floats = NDArray[np.float64]

EQUIVALENT, DIFFERS, UNDECIDED = "equivalent", "differs", "undecided"


def verdicts(low: Floats, high: Floats, bound: float) -> NDArray[Any]:
    """Word for each interval, (n,) objects; empty where a limit is NaN.

    ``equivalent`` where the interval lies wholly within ±bound, ``differs`` where wholly beyond one of
    the two, else ``undecided``. A limit at the bound is not within it.
    """
    _check(bound)
    low, high = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    words = np.full(low.shape, UNDECIDED, dtype=object)
    words[(low > -bound) & (high < bound)] = EQUIVALENT
    words[(low > bound) | (high < -bound)] = DIFFERS
    words[np.isnan(low) | np.isnan(high)] = ""
    return words


def power_to_show_equivalence(se: Floats, bound: float, *, confidence: float, effect: float = 0.0) -> Floats:
    """Probability that a normal estimate's interval lies wholly within ±bound, (n,).

    P(z s − bound < d < bound − z s), d normal about ``effect`` with standard error s, z the quantile of
    the interval; zero where the interval is always too wide [schuirmann_1987]. NaN where the error is.
    """
    _check(bound)
    s = np.asarray(se, dtype=np.float64)
    half = bound / s - _quantile(confidence)
    inside = norm.cdf(half - effect / s) - norm.cdf(-half - effect / s)
    return np.asarray(np.where(np.isnan(s), np.nan, np.where(half > 0, inside, 0.0)))


def power_to_see(se: Floats, effect: float, *, confidence: float) -> Floats:
    """Probability that a normal estimate's interval leaves out zero where the effect is as given, (n,)."""
    s, z = np.asarray(se, dtype=np.float64), _quantile(confidence)
    return np.asarray(norm.cdf(effect / s - z) + norm.cdf(-effect / s - z))


def _quantile(confidence: float) -> float:
    return float(norm.ppf((1 + confidence) / 2))


def _check(bound: float) -> None:
    if not (bound > 0 and np.isfinite(bound)):
        raise ArgumentError(
            f"an equivalence bound of {bound!r}",
            allowed="a number above zero",
            remedy="Set the smallest effect that would matter in the policy.",
        )
