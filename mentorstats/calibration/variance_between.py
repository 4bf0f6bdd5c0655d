"""How much effects differ from member to member, from one-step estimates that come with their errors.

With score s and information I of q effects, s is about normal with mean Iβ and variance I. If the β are
drawn with variance τ², then s has variance I + τ²I². In the eigenvectors of I, with eigenvalues λ,

    Q(τ²) = Σ z² / (λ (1 + τ²λ))

is chi-squared with as many degrees of freedom as there are eigenvalues above zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2

from mentorstats.calibration.base import Step

Floats = NDArray[np.float64]

_NOTHING = 1e-8  # share of the largest eigenvalue that counts as none
_WIDEST = 1e12  # no search for a variance beyond this many times the error variance


@dataclass(frozen=True, slots=True)
class Between:
    """A variance between members, with interval and the test that it is zero.

    ``variance`` is in squared units of the effects; NaN throughout with fewer than two members' worth
    of information.
    """

    variance: float
    low: float
    high: float
    statistic: float
    df: int
    p: float


def between(found: Step, *, confidence: float) -> Between:
    """Variance of effects between members.

    The estimate makes Q equal to its degrees of freedom [paule_mandel_1982]; the limits make it equal to
    the quantiles of chi-squared [viechtbauer_2007]; the test is Q at zero. Where columns that all members
    share were set aside from the step, they were estimated with it.
    """
    values, vectors = np.linalg.eigh(found.information)
    kept = values > _NOTHING * max(float(values.max(initial=0.0)), 0.0)
    lam, squares = values[kept], (vectors[:, kept].T @ found.score) ** 2
    df = len(lam)
    if df < 1:
        return Between(np.nan, np.nan, np.nan, np.nan, 0, np.nan)

    def q(variance: float) -> float:
        return float((squares / (lam * (1 + variance * lam))).sum())

    def where(target: float) -> float:
        if q(0.0) <= target:
            return 0.0
        top = 1 / lam.min()
        while q(top) > target and top * lam.min() < _WIDEST:
            top *= 4
        return float(brentq(lambda x: q(x) - target, 0.0, top, xtol=1e-12, rtol=1e-10))

    tail = (1 - confidence) / 2
    at_zero = q(0.0)
    return Between(
        where(df),
        where(float(chi2.isf(tail, df))),
        where(float(chi2.ppf(tail, df))),
        at_zero,
        df,
        float(chi2.sf(at_zero, df)),
    )
