"""One family of agreement coefficients, (p_a - p_e) / (1 - p_e), and their influence values.

Every coefficient shares the observed agreement and differs by what it calls chance. Beside each
share stands its influence: what one more unit of a pattern adds to it, to first order. Their
cluster sums give the linearised variance [gwet_2014], chapter 5; for two raters and no clusters
that is the large-sample variance of [fleiss_cohen_everitt_1969].
"""

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from mentorstats.agreement.coefficients import weights as weighting
from mentorstats.agreement.counts.tabulate import Tabulation

Array: TypeAlias = npt.NDArray[np.float64]

COMPLETE = 1e-12  # chance agreement nearer to 1 than this leaves nothing beyond it


@dataclass(frozen=True, slots=True)
class Share:
    """A share of agreement and its influence values (p,), one a pattern."""

    value: float
    influence: Array


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A coefficient, the two shares it is made of, and its influence values (p,)."""

    value: float
    observed: float
    expected: float
    influence: Array


def agreements(table: Tabulation, w: Array) -> Array:
    """Weighted agreement within a unit: the mean weight over its pairs of ratings (p,).

    Zero for a unit with fewer than two ratings, which is left out of the mean over units.
    """
    r = table.per_unit
    pairs = r * (r - 1)
    credit = np.einsum("pk,pk->p", table.counts @ w, table.counts) - r
    mean: Array = np.divide(credit, pairs, out=np.zeros_like(r), where=pairs > 0)
    return mean


def observed(table: Tabulation, w: Array) -> Share:
    """Observed agreement, the mean over units with two ratings or more.

    Source: [gwet_2014], equation for p_a with missing ratings.
    """
    a = agreements(table, w)
    n = table.n_pairable
    p_a = float(table.units @ a / n)
    return Share(p_a, np.where(table.pairable, a - p_a, 0.0) / n)


def observed_fixed_count(table: Tabulation, w: Array, p_e: float) -> Share:
    """Observed agreement, with the influence as the source prints it [gwet_2014].

    It takes the number of units with two ratings as fixed, where `observed` lets it vary; the two
    agree when every unit has two ratings or more. Source: [gwet_2014], chapter 5.
    """
    a = agreements(table, w)
    n, n_pairable = table.units.sum(), table.n_pairable
    p_a = float(table.units @ a / n_pairable)
    scaled = np.where(table.pairable, (a - p_e) * n / n_pairable, 0.0)
    return Share(p_a, (scaled - (p_a - p_e)) / n)


def chance_pooled(table: Tabulation, w: Array) -> Share:
    """Chance agreement from the pooled level shares.

    Each unit's shares weigh the same. Sources: [scott_1955] for two raters, [fleiss_1971] for
    several; missing ratings as in [gwet_2014].
    """
    shares, pi, n = _level_shares(table)
    p_e = float(pi @ w @ pi)
    return Share(p_e, 2 * (shares @ (w @ pi) - p_e) / n)


def chance_gwet(table: Tabulation, w: Array) -> Share:
    """Chance agreement of AC1 and AC2. Sources: [gwet_2008], [gwet_2014]."""
    shares, pi, n = _level_shares(table)
    q = len(pi)
    scale = w.sum() / (q * (q - 1))
    slope = 1 - 2 * pi
    return Share(float(scale * (pi @ (1 - pi))), scale * (shares @ slope - pi @ slope) / n)


def chance_uniform(table: Tabulation, w: Array) -> Share:
    """Chance agreement when every declared level is as likely. Source: [brennan_prediger_1981]."""
    return Share(float(w.sum() / w.shape[0] ** 2), np.zeros(len(table.units)))


def chance_by_rater(table: Tabulation, w: Array) -> Share:
    """Chance agreement from each rater's own level shares, the mean over pairs of raters.

    Sources: [cohen_1960] and [cohen_1968] for two raters, [conger_1980] for several; a rater's
    shares are those of the units that rater rated.
    """
    by_level = rater_levels(table)
    rated = by_level.sum(axis=1, keepdims=True)
    p = np.divide(by_level, rated, out=np.zeros_like(by_level), where=rated > 0)
    raters = np.count_nonzero(rated)
    pairs = max(raters * (raters - 1), 1)
    others = (p.sum(axis=0) - p) @ w
    expected = np.einsum("rk,rk->r", others, p)
    slope = 2 * (others - expected[:, None]) / np.maximum(rated * pairs, 1)
    given = slope[table.rater, table.level]
    influence = np.bincount(table.pattern, weights=given, minlength=len(table.units))
    return Share(float(expected.sum() / pairs), influence.astype(float))


def rater_levels(table: Tabulation) -> Array:
    """How often each rater gave each level (r, q)."""
    q = table.counts.shape[1]
    key = table.rater * np.int64(q) + table.level
    times = table.units[table.pattern]
    counted = np.bincount(key, weights=times, minlength=table.n_raters * q)
    return counted.reshape(table.n_raters, q).astype(float)


def beyond_chance(agreed: Share, chance: Share) -> Coefficient:
    """(p_a - p_e) / (1 - p_e), with influence by the delta method; NaN where chance is complete."""
    p_a, p_e = agreed.value, chance.value
    if 1 - p_e < COMPLETE:
        return Coefficient(math.nan, p_a, p_e, np.full_like(agreed.influence, math.nan))
    kappa = (p_a - p_e) / (1 - p_e)
    influence = (agreed.influence - (1 - kappa) * chance.influence) / (1 - p_e)
    return Coefficient(kappa, p_a, p_e, influence)


def alpha(table: Tabulation, w: Array | None, *, fixed_count: bool = False) -> Coefficient:
    """Krippendorff's alpha over the pairable ratings, with his small-sample term.

    Parameters
    ----------
    table
        Units of one rating are left out by the caller (`Tabulation.only_pairable`).
    w : array (q, q) or None
        Agreement weights of the metric; None for the ordinal metric, which the level shares of
        the data define and whose change enters the influence.
    fixed_count
        Whether the influence is centred at the corrected share, as the figures of [gwet_2014] are.

    Notes
    -----
    Sources: [krippendorff_2011]; written with agreement weights and linearised as in [gwet_2014],
    chapter 5, where the influence leaves out the small-sample factor 1 - 1/n.
    """
    r = table.per_unit
    n = float(table.units @ r)
    pi = table.units @ table.counts / n
    metric = weighting.ordinal_metric(pi) if w is None else w
    credit = agreements(table, metric) * r
    p_a, p_e = float(table.units @ credit / n), float(pi @ metric @ pi)
    corrected = (1 - 1 / n) * p_a + 1 / n
    centre = corrected if fixed_count else p_a
    plain = beyond_chance(
        Share(p_a, (credit - centre * r) / n + (centre - p_a) / table.units.sum()),
        Share(p_e, 2 * (table.counts @ (metric @ pi) - p_e * r) / n),
    )
    influence = plain.influence
    if w is None and not math.isnan(plain.value):
        slope = _metric_slope(table, pi, n)
        influence = influence + (table.counts @ slope - (pi @ slope) * r) / n
    value = 1 - (1 - 1 / n) * (1 - plain.value)
    return Coefficient(value, corrected, p_e, influence)


def _metric_slope(table: Tabulation, pi: Array, n: float) -> Array:
    """How alpha changes with each level share through the ordinal metric alone (q,)."""
    r = table.per_unit
    coincidence = table.counts.T @ (table.counts * (table.units / (r - 1))[:, None])
    coincidence -= np.diag((table.counts * (table.units / (r - 1))[:, None]).sum(axis=0))
    coincidence /= n
    s = weighting.between(pi)
    disagreement, chance = (coincidence * s**2).sum(), (np.outer(pi, pi) * s**2).sum()
    by_distance = 2 * s * (disagreement / chance * np.outer(pi, pi) - coincidence) / chance
    q = len(pi)
    k, level, g = np.ogrid[:q, :q, :q]
    low, high = np.minimum(k, level), np.maximum(k, level)
    counted = np.where((g > low) & (g < high), 1.0, 0.0) + 0.5 * ((g == low) | (g == high)) * (low < high)
    slope: Array = np.einsum("kl,klg->g", by_distance, counted)
    return slope


def _level_shares(table: Tabulation) -> tuple[Array, Array, float]:
    """Level shares of each pattern (p, q), their mean over units (q,), and the number of units."""
    shares = table.counts / table.per_unit[:, None]
    n = float(table.units.sum())
    return shares, table.units @ shares / n, n
