"""How many lessons must be double-scored before kappa is known well enough?

Two raters. The variance of one pair is the large-sample one of [fleiss_cohen_everitt_1969]; pairs of one
cluster that tend to disagree together enlarge it; the interval is the default one, Student's t with
clusters − 1 on Fisher's z, so that the plan and the later analysis speak of the same interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement.coefficients import intervals
from mentorstats.agreement.coefficients import weights as weighting
from mentorstats.agreement.coefficients.chance import COMPLETE, agreements
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.coding import Columns
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]
Shares: TypeAlias = Sequence[float] | npt.NDArray[np.floating]

MOST_CLUSTERS = 10**7  # beyond this the plan is called impossible
MOST_ROWS = 10_000  # of one table

_SUMS_TO_ONE = 1e-6


@dataclass(frozen=True, slots=True)
class Pair:
    """What one pair of ratings contributes.

    Attributes
    ----------
    kappa
        The coefficient that is assumed.
    variance
        Of one pair's influence on it.
    disagreement
        Part of it that pairs of one cluster can share: the variance of a pair's agreement, over the
        square of what chance leaves.
    """

    kappa: float
    variance: float
    disagreement: float

    def of_mean(self, n_clusters: int, pairs: float, correlation: float) -> float:
        """Variance of kappa from so many clusters."""
        shared = (pairs - 1) * correlation * self.disagreement
        return (self.variance + shared) / (n_clusters * pairs)


def joint(kappa: float, margins: Shares) -> Array:
    """Shares of every pair of levels, where two raters use the levels alike.

    A pair is one level given twice with probability kappa and two independent levels otherwise.

    Parameters
    ----------
    kappa
        Any kappa, weighted or not: with these shares they are all equal.
    margins : array (q,)
        Share of each level, lowest first.

    Returns
    -------
    array (q, q)
    """
    pi = np.atleast_1d(np.asarray(margins, dtype=float))
    shares = kappa * np.diag(pi) + (1 - kappa) * np.outer(pi, pi)
    if pi.ndim != 1 or len(pi) < 2 or (pi < 0).any() or not abs(pi.sum() - 1) <= _SUMS_TO_ONE:
        raise ArgumentError("margins are no shares", allowed="two shares or more that add up to 1")
    if not (shares >= 0).all() or not kappa < 1:
        raise ArgumentError(f"kappa {kappa} cannot be had at these margins", allowed="0 to below 1")
    return shares


def of_joint(shares: npt.ArrayLike, *, weights: str | npt.ArrayLike = "identity") -> Pair:
    """Kappa and the variance of one pair, from the shares of every pair of levels.

    Parameters
    ----------
    shares : array (q, q)
        First rater in rows, levels lowest first.
    weights
        As in `coefficients`.

    Notes
    -----
    [fleiss_cohen_everitt_1969], the variance of weighted kappa for n = 1.
    """
    p = np.asarray(shares, dtype=float)
    if p.ndim != 2 or p.shape[0] != p.shape[1] or (p < 0).any() or not abs(p.sum() - 1) <= _SUMS_TO_ONE:
        raise ArgumentError("shares are no square table", allowed="a square table that adds up to 1")
    w = weighting.matrix(weights, np.arange(1.0, len(p) + 1))
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    p_a, p_e = float((w * p).sum()), float(rows @ w @ columns)
    if 1 - p_e < COMPLETE:
        raise ArgumentError("only one level is used, so kappa has no value", where="margins")
    kappa = (p_a - p_e) / (1 - p_e)
    by_chance = (w @ columns)[:, None] + (rows @ w)[None, :]
    influence = (w - p_a - (1 - kappa) * (by_chance - 2 * p_e)) / (1 - p_e)
    variance = float((p * influence**2).sum())
    agreement = float((p * (w - p_a) ** 2).sum())
    return Pair(kappa, variance, agreement / (1 - p_e) ** 2)


@entry()
def precision(
    n_clusters: int | Iterable[int],
    *,
    kappa: float,
    margins: Shares,
    pairs: float = 1,
    correlation: float = 0.0,
    lessons: float = 1,
    floor: float = math.nan,
    weights: str | npt.ArrayLike = "identity",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Say how well kappa will be known from so many clusters.

    Parameters
    ----------
    n_clusters
        Independent clusters, for example candidates; one number or several.
    kappa
        Kappa that is expected (with ``weights``, the weighted one).
    margins : array (q,) or (q, q)
        Share of each level, lowest first, used alike by both raters; or the shares of every pair of
        levels, first rater in rows, which then decide kappa, and ``kappa`` must be theirs.
    pairs
        Pairs of ratings a cluster: lessons × criteria that enter one coefficient.
    correlation
        Intracluster correlation of disagreement: how alike two pairs of one cluster are in whether, and
        how far, they disagree (`disagreement_correlation` estimates it).
    lessons
        Double-scored lessons a cluster; they are counted in ``n_lessons`` and do nothing else.
    floor
        Kappa above which one wishes to be able to call the coefficient.
    weights, confidence
        As in `coefficients`.

    Returns
    -------
    DataFrame
        One row a number of clusters, indexed by it: n_lessons, n_units (pairs), value (kappa), se, low
        and high (the interval to expect at that kappa), half_width, floor, power (probability that the
        lower bound lies above the floor), confidence, interval_method, status, status_note, reference.
        No interval and no power below the least number of clusters.

    Notes
    -----
    With clusters of m pairs the variance of one pair grows by (m − 1) times the correlation times that
    part of it which disagreement makes; a design effect as in [kish_1965] that leaves out what
    clusters share in their use of the levels. Power is from the noncentral t distribution.
    """
    pair = _pair(kappa, margins, weights)
    _legal(pairs, correlation, lessons, confidence)
    _legal_floor(floor)
    numbers = (
        [n_clusters] if isinstance(n_clusters, int | np.integer) else list(islice(n_clusters, MOST_ROWS + 1))
    )
    if len(numbers) > MOST_ROWS or not all(1 <= c <= MOST_CLUSTERS for c in numbers):
        raise ArgumentError(
            "n_clusters is out of range", allowed=f"up to {MOST_ROWS} whole numbers from 1 to {MOST_CLUSTERS}"
        )
    rows = [_row(pair, int(c), pairs, correlation, lessons, floor, confidence) for c in numbers]
    return pd.DataFrame(rows, index=pd.Index([int(c) for c in numbers], name="n_clusters"))


@entry()
def double_scores_needed(
    *,
    kappa: float,
    margins: Shares,
    half_width: float | None = None,
    floor: float | None = None,
    power: float = 0.8,
    pairs: float = 1,
    correlation: float = 0.0,
    lessons: float = 1,
    weights: str | npt.ArrayLike = "identity",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Find the fewest clusters that reach a half-width, and those that reach a power.

    Parameters
    ----------
    kappa, margins, pairs, correlation, lessons, weights, confidence
        As in `precision`.
    half_width
        Half the width of the interval to expect.
    floor, power
        The lower bound is to lie above ``floor`` with probability ``power``.

    Returns
    -------
    DataFrame
        Indexed by what is asked for (``half_width``, ``power``): n_clusters, and the columns of
        `precision` for that number. It is never fewer than an interval needs.

    Raises
    ------
    ArgumentError
        Nothing is asked for; the floor is not below kappa; no number of clusters is enough.
    """
    if half_width is None and floor is None:
        raise ArgumentError("nothing is asked for", remedy="Give half_width, floor, or both.")
    pair = _pair(kappa, margins, weights)
    _legal(pairs, correlation, lessons, confidence)
    wanted: dict[str, int] = {}
    if half_width is not None:
        wanted["half_width"] = _fewest(
            lambda c: _width(pair, c, pairs, correlation, confidence) <= half_width, "half_width"
        )
    if floor is not None:
        _legal_floor(floor)
        if not floor < pair.kappa:
            raise ArgumentError(
                f"floor {floor} is not below kappa {pair.kappa}", remedy="Expect a higher kappa."
            )
        wanted["power"] = _fewest(
            lambda c: _power(pair, c, pairs, correlation, floor, confidence) >= power, "power"
        )
    least = math.nan if floor is None else floor
    rows = [_row(pair, c, pairs, correlation, lessons, least, confidence) for c in wanted.values()]
    found = pd.DataFrame(rows, index=pd.Index(list(wanted), name="asked", dtype="str"))
    found.insert(0, "n_clusters", list(wanted.values()))
    return found


@entry(named=True)
def disagreement_correlation(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    cluster: str,
    levels: Sequence[object] | None = None,
    weights: str | npt.ArrayLike = "identity",
) -> pd.DataFrame:
    """Estimate the intracluster correlation of disagreement from ratings that are there.

    Parameters
    ----------
    ratings, unit, rater, level, cluster, levels, weights
        As in `coefficients`; one cluster column.

    Returns
    -------
    DataFrame
        One row, indexed ``disagreement_correlation``, with value, n_units, n_clusters, status. There is
        no interval: plan with a higher value beside it.

    Notes
    -----
    Analysis of variance of the agreement of units between clusters of unequal size, as for the design
    effect of [kish_1965]; a negative estimate is given as it is.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=cluster)
    w = weighting.matrix(weights, weighting.scores_of(coded.levels))
    table = coded.tabulate().only_pairable()
    n, n_clusters = table.n_pairable, table.n_clusters() if len(table.units) else 0
    bare = Estimate(
        name="disagreement_correlation", n_units=int(n), n_clusters=n_clusters, reference="kish_1965"
    )
    if n_clusters < 2 or n <= n_clusters:
        note = "It needs two clusters or more, and one with two double-scored units."
        return to_frame([replace(bare, status=Status.NOT_IDENTIFIED, status_note=note)])
    a = agreements(table, w)
    members = table.clusters[0].members
    size = members @ np.ones(len(a))
    sums, held = (members @ a)[size > 0], size[size > 0]
    total = float(table.units @ a**2)
    between = float((sums**2 / held).sum() - (table.units @ a) ** 2 / n)
    within = total - float((sums**2 / held).sum())
    ms_between, ms_within = between / (n_clusters - 1), within / (n - n_clusters)
    typical = (n - float((held**2).sum()) / n) / (n_clusters - 1)
    spread = ms_between + (typical - 1) * ms_within
    if spread <= COMPLETE:
        note = "Every unit agrees alike, so disagreement does not vary."
        return to_frame([replace(bare, status=Status.NO_SPREAD, status_note=note)])
    return to_frame([replace(bare, value=(ms_between - ms_within) / spread)])


def _pair(kappa: float, margins: Shares, weights: str | npt.ArrayLike) -> Pair:
    given = np.asarray(margins, dtype=float)
    if given.ndim != 2:
        return of_joint(joint(kappa, given), weights=weights)
    pair = of_joint(given, weights=weights)
    if abs(pair.kappa - kappa) > 1e-3:
        raise ArgumentError(
            f"kappa is {kappa}, and the table of pairs has {pair.kappa}",
            remedy="Give the kappa of the table.",
        )
    return pair


def _legal(pairs: float, correlation: float, lessons: float, confidence: float) -> None:
    if not 1 <= pairs < math.inf or not 0 < lessons < math.inf:
        raise ArgumentError(f"{pairs} pairs and {lessons} lessons a cluster", allowed="1 pair or more")
    if not 0 <= correlation <= 1:
        raise ArgumentError(f"correlation is {correlation}", allowed="0 to 1")


def _legal_floor(floor: float) -> None:
    if not (math.isnan(floor) or -1 < floor < 1):
        raise ArgumentError(f"floor is {floor}", allowed="a kappa above -1 and below 1")


def _bounds(pair: Pair, c: int, pairs: float, correlation: float, confidence: float) -> tuple[float, float]:
    se = math.sqrt(pair.of_mean(c, pairs, correlation))
    made = intervals.linearised_z(pair.kappa, se, c, confidence)
    return made.low, made.high


def _width(pair: Pair, c: int, pairs: float, correlation: float, confidence: float) -> float:
    low, high = _bounds(pair, c, pairs, correlation, confidence)
    return (high - low) / 2


def _power(pair: Pair, c: int, pairs: float, correlation: float, floor: float, confidence: float) -> float:
    """Probability that the lower bound of the default interval lies above the floor."""
    se = math.sqrt(pair.of_mean(c, pairs, correlation)) / (1 - pair.kappa**2)
    away = (math.atanh(pair.kappa) - math.atanh(floor)) / se
    needed = stats.t.ppf((1 + confidence) / 2, c - 1)
    return float(stats.nct.sf(needed, c - 1, away))


def _fewest(enough: Callable[[int], bool], what: str) -> int:
    """Smallest number of clusters that is enough: double until it is, then halve the gap."""
    low = high = intervals.LEAST_CLUSTERS
    while not enough(high):
        low, high = high, high * 2
        if high > MOST_CLUSTERS:
            raise ArgumentError(
                f"no number of clusters up to {MOST_CLUSTERS} is enough", where=what, remedy="Ask for less."
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _row(
    pair: Pair, c: int, pairs: float, correlation: float, lessons: float, floor: float, confidence: float
) -> dict[str, object]:
    refused = intervals.too_few(c)
    status, note = intervals.clusters_status(c) if refused is None else (refused.status, refused.note)
    low, high = (math.nan, math.nan) if refused else _bounds(pair, c, pairs, correlation, confidence)
    known = refused is None and not math.isnan(floor)
    return {
        "n_lessons": math.ceil(c * lessons),
        "n_units": math.ceil(c * pairs),
        "value": pair.kappa,
        "se": math.sqrt(pair.of_mean(c, pairs, correlation)),
        "low": low,
        "high": high,
        "half_width": (high - low) / 2,
        "floor": floor,
        "power": _power(pair, c, pairs, correlation, floor, confidence) if known else math.nan,
        "confidence": confidence,
        "interval_method": "none" if refused else "linearised_z",
        "status": str(status),
        "status_note": note,
        "reference": "fleiss_cohen_everitt_1969",
    }
