"""Ratings to counts: everything the coefficients need, once, vectorised.

A `Tabulation` has one row a *pattern*: either a unit, or, where few raters rated everything, a
distinct row of levels with the number of units that show it. All sums run over patterns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import sparse

Codes: TypeAlias = npt.NDArray[np.integer]
Array: TypeAlias = npt.NDArray[np.float64]

_MOST_PATTERNS = 4096  # beyond this, one row a unit is as good
_LEAST_FILLED = 0.25  # share of the units-by-raters grid that must be filled for the dense way


@dataclass(frozen=True, slots=True)
class Way:
    """One way to put units together, and the sign its variance has in the total.

    Attributes
    ----------
    sign
        1 for a cluster column, -1 for the combinations of two, and so on.
    single
        Whether it is one column.
    members : sparse array (c, p)
        Units of each cluster that show the pattern.
    """

    sign: int
    single: bool
    members: sparse.csr_array


@dataclass(frozen=True, slots=True)
class Tabulation:
    """Counts of ratings.

    Attributes
    ----------
    counts : array (p, q)
        Ratings at each level, one row a pattern.
    units : array (p,)
        Units that show the pattern, or the sum of their weights.
    pattern, rater, level : arrays (m,)
        One entry a rating of a pattern.
    n_raters
        Number of raters.
    clusters : tuple of Way
        One for a cluster column; for crossed columns also one for each of their combinations. Empty
        where every unit is its own cluster.
    unweighted : array (p,) or None
        Where ``units`` are sums of weights: units that show the pattern. Then the clusters are always
        there and hold weights too, and the mean weight of a unit is 1.
    """

    counts: Array
    units: Array
    pattern: Codes
    rater: Codes
    level: Codes
    n_raters: int
    clusters: tuple[Way, ...] = ()
    unweighted: Array | None = None

    @property
    def weighted(self) -> bool:
        """Whether units have weights."""
        return self.unweighted is not None

    @property
    def times(self) -> Array:
        """Number of units that show the pattern, whatever their weights (p,)."""
        return self.units if self.unweighted is None else self.unweighted

    @property
    def per_unit(self) -> Array:
        """Number of ratings of a unit, by pattern (p,)."""
        return np.asarray(self.counts.sum(axis=1))

    @property
    def pairable(self) -> npt.NDArray[np.bool_]:
        """Which patterns hold two ratings or more (p,)."""
        return self.per_unit >= 2

    @property
    def n_pairable(self) -> float:
        """Units with two ratings or more, or the sum of their weights."""
        return float(self.units[self.pairable].sum())

    def n_clusters(self) -> int:
        """Clusters with at least one pairable unit (units, where there are no clusters)."""
        if not self.clusters:
            return int(self.n_pairable)
        return min(self._counted(way) for way in self.clusters if way.single)

    def variance(self, influence: Array, *, factor: float | None = None) -> float:
        """Variance of an estimate from its influence values (p,), linearised between clusters.

        The sum of a cluster that holds the share w of the pairable units is divided by 1 - w, and the
        squares add up with (c - 1) / c: what leaving out one cluster after the other gives, to first
        order, and the plain c / (c - 1) where clusters are equal. ``factor`` replaces both. Crossed
        columns add up and their combinations are taken off [cameron_2011], but never below the largest
        of the columns' own variances: where ratings of a cluster go together the sum exceeds both, and
        with few clusters a side a smaller one is chance, which made intervals too narrow.
        """
        if not self.clusters:
            n = self.n_pairable
            own = factor if factor is not None else n / (n - 1)
            return float(own * (self.units @ influence**2))
        parts = []
        for way in self.clusters:
            parts.append(self._variance_between(way, influence, factor))
        total = sum(way.sign * part for way, part in zip(self.clusters, parts, strict=True))
        largest = max(part for way, part in zip(self.clusters, parts, strict=True) if way.single)
        return max(total, largest)

    def skewness(self, influence: Array) -> float:
        """Sum of cubes over the 3/2 power of the sum of squares, of influence summed by cluster."""
        sums = self.clusters[0].members @ influence if self.clusters else influence
        times = np.ones(len(sums)) if self.clusters else self.units
        return float((times @ sums**3) / (times @ sums**2) ** 1.5)

    def _variance_between(self, way: Way, influence: Array, factor: float | None) -> float:
        sums = way.members @ influence
        if factor is not None:
            return float(factor * (sums @ sums))
        c = self._counted(way)
        if c < 2:
            return np.nan
        share = way.members @ self.pairable.astype(float) / self.n_pairable
        without = sums / (1 - share)
        return float((c - 1) / c * (without @ without))

    def _counted(self, way: Way) -> int:
        return int(np.count_nonzero(way.members @ self.pairable.astype(float)))

    def only_pairable(self) -> Tabulation:
        """Leave out the units that one rater rated."""
        keep = self.pairable
        if keep.all():
            return self
        kept = keep[self.pattern]
        renumber = np.cumsum(keep) - 1
        return replace(
            self,
            counts=self.counts[keep],
            units=self.units[keep],
            pattern=renumber[self.pattern[kept]],
            rater=self.rater[kept],
            level=self.level[kept],
            clusters=tuple(replace(way, members=way.members[:, keep]) for way in self.clusters),
            unweighted=None if self.unweighted is None else self.unweighted[keep],
        )


def from_long(
    unit: Codes,
    rater: Codes,
    level: Codes,
    *,
    q: int,
    n_units: int,
    n_raters: int,
    cluster: Codes | None,
    weight: Array | None = None,
) -> Tabulation:
    """Tabulate one rating an entry; no code is missing, no unit and rater come twice.

    Parameters
    ----------
    unit, rater, level : integer arrays (n,)
        Codes from zero.
    q
        Number of declared levels.
    n_units, n_raters
        How many units and raters there are.
    cluster : integer array (n_units, m) or None
        Cluster codes of each unit, a column for each crossed way.
    weight : array (n_units,), optional
        Weight of each unit; only ratios matter.
    """
    filled = len(unit) / max(n_units * n_raters, 1)
    if (q + 1) ** n_raters <= _MOST_PATTERNS and filled >= _LEAST_FILLED:
        grid = np.full((n_units, n_raters), -1, dtype=np.int16)
        grid[unit, rater] = level
        return from_grid(grid, q=q, cluster=cluster, weight=weight)
    counts = np.bincount(unit * np.int64(q) + level, minlength=n_units * q).reshape(n_units, q).astype(float)
    each, ones = np.arange(n_units), np.ones(n_units)
    if weight is None:
        ways = () if cluster is None else _ways(cluster, each, n_units)
        return Tabulation(counts, ones, unit, rater, level, n_raters, ways)
    weight, cluster = _weighed(weight, cluster)
    ways = _ways(cluster, each, n_units, weight)
    return Tabulation(counts, weight, unit, rater, level, n_raters, ways, unweighted=ones)


def _weighed(weight: Array, cluster: Codes | None) -> tuple[Array, Codes]:
    """Weights of mean 1, and the clusters: where there are none, every unit is one."""
    n = len(weight)
    return weight / weight.mean() if n else weight, np.arange(n)[:, None] if cluster is None else cluster


def from_grid(grid: Codes, *, q: int, cluster: Codes | None, weight: Array | None = None) -> Tabulation:
    """Tabulate a units-by-raters grid of level codes, -1 where there is no rating.

    Parameters
    ----------
    grid : integer array (n, r)
        Every rater has rated something; a unit that nobody rated is left out.
    q
        Number of declared levels.
    cluster : integer array (n, m) or None
        Cluster codes of each unit, a column for each crossed way.
    weight : array (n,), optional
        Weight of each unit; only ratios matter.
    """
    n, n_raters = grid.shape
    if (q + 1) ** n_raters > _MOST_PATTERNS:
        unit, rater = np.nonzero(grid >= 0)
        rated, number = np.unique(unit, return_inverse=True)
        return from_long(
            number,
            rater,
            grid[unit, rater],
            q=q,
            n_units=len(rated),
            n_raters=n_raters,
            cluster=None if cluster is None else cluster[rated],
            weight=None if weight is None else weight[rated],
        )
    size = (q + 1) ** n_raters
    shown = np.zeros(n, dtype=np.int16)
    for column in range(n_raters):  # raters are few here; units are many
        shown *= np.int16(q + 1)
        shown += grid[:, column].astype(np.int16, copy=False)
        shown += np.int16(1)
    how_many = np.bincount(shown, minlength=size)
    seen = np.flatnonzero(how_many[1:]) + 1  # 0 is a unit that nobody rated
    levels = np.stack(np.unravel_index(seen, (q + 1,) * n_raters), axis=1) - 1
    pattern, rater = np.nonzero(levels >= 0)
    level = levels[pattern, rater]
    counts = np.bincount(pattern * q + level, minlength=len(seen) * q).reshape(len(seen), q).astype(float)
    units = how_many[seen].astype(float)
    if cluster is None and weight is None:
        return Tabulation(counts, units, pattern, rater, level, n_raters)
    number = np.zeros(size, dtype=np.int64)
    number[seen] = np.arange(len(seen))
    by_somebody = shown > 0
    shown_by = number[shown[by_somebody]]
    of_units = None if cluster is None else cluster[by_somebody]
    if weight is None:
        ways = () if of_units is None else _ways(of_units, shown_by, len(seen))
        return Tabulation(counts, units, pattern, rater, level, n_raters, ways)
    scaled, of_units = _weighed(weight[by_somebody], of_units)
    ways = _ways(of_units, shown_by, len(seen), scaled)
    sums = np.bincount(shown_by, weights=scaled, minlength=len(seen)).astype(float)
    return Tabulation(counts, sums, pattern, rater, level, n_raters, ways, unweighted=units)


def _ways(cluster: Codes, pattern: Codes, n_patterns: int, weight: Array | None = None) -> tuple[Way, ...]:
    """Each cluster column and each of their combinations, with signs that alternate."""
    columns = range(cluster.shape[1])
    made = []
    for size in range(1, cluster.shape[1] + 1):
        for chosen in combinations(columns, size):
            _, code = np.unique(cluster[:, list(chosen)], axis=0, return_inverse=True)
            members = _membership(code.ravel(), pattern, n_patterns, weight)
            made.append(Way((-1) ** (size + 1), size == 1, members))
    return tuple(made)


def _membership(cluster: Codes, pattern: Codes, n_patterns: int, weight: Array | None) -> sparse.csr_array:
    """Units, or weights, of each cluster by pattern, as a sparse sum."""
    n_clusters = int(cluster.max()) + 1 if len(cluster) else 0
    both = cluster * np.int64(n_patterns) + pattern
    if weight is None:
        key, times = np.unique(both, return_counts=True)
    else:
        key, place = np.unique(both, return_inverse=True)
        times = np.bincount(place, weights=weight, minlength=len(key))
    return sparse.csr_array(
        (times.astype(float), (key // n_patterns, key % n_patterns)), shape=(n_clusters, n_patterns)
    )
