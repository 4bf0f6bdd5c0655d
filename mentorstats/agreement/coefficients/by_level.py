"""At which levels do raters agree?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients import intervals, scope
from mentorstats.agreement.coefficients.chance import Share
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.tabulate import Tabulation
from mentorstats.entry import entry
from mentorstats.estimate import Estimate, Status, to_frame

Columns: TypeAlias = str | Sequence[str]

_EPS = 1e-12


@entry(named=True)
def by_level(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    cluster: Columns | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Specific agreement: when one rater gave a level, how often did another give the same?

    Parameters
    ----------
    ratings, unit, rater, level, levels, cluster, confidence
        As in `coefficients`.

    Returns
    -------
    DataFrame
        One row a declared level, lowest first, with the columns of `coefficients`. ``n_ratings`` counts
        the ratings at the level; ``n_units`` and ``n_clusters`` the units and clusters that have one.
        ``p_expected`` is the level's share of all ratings: what raters who saw nothing would reach. A
        level nobody used is ``no_records``.

    Notes
    -----
    Over the units with two ratings or more, the sum of r_ik (r_ik - 1) / (r_i - 1) divided by the
    sum of r_ik [cicchetti_feinstein_1990]; for two raters and two levels these are the positive and
    negative agreement.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=cluster)
    table = coded.tabulate().only_pairable()
    left_out = len(ratings) - len(coded.rows)
    to = scope.of_columns(ratings, coded.clustered_by, coding.names(rater))
    rows = [_of_level(table, k, str(label), left_out, confidence, to) for k, label in enumerate(coded.levels)]
    return to_frame(rows, index="level")


@entry(named=True)
def paired_counts(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
) -> pd.DataFrame:
    """How often each level was given beside each other one.

    Parameters
    ----------
    ratings, unit, rater, level, levels
        As in `coefficients`.

    Returns
    -------
    DataFrame
        Indexed by the level of the first rater and that of the second, every pair of declared levels in
        the order declared: ``n``, pairs of ratings of the same unit. With two raters the names of the
        index are those of the raters, in category order, else sorted. With more, each pair is counted
        both ways round and the names are ``one rater`` and ``another rater``.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=None)
    table = coded.tabulate().only_pairable()
    q = len(coded.levels)
    sides = ("one rater", "another rater")
    n = table.counts.T @ (table.counts * table.units[:, None]) - np.diag(table.units @ table.counts)
    if table.n_raters == 2:
        first, second = (np.flatnonzero(table.rater == side) for side in (0, 1))
        given = [places[np.argsort(table.pattern[places])] for places in (first, second)]
        key = table.level[given[0]] * q + table.level[given[1]]
        n = np.bincount(key, weights=table.units, minlength=q * q).reshape(q, q).astype(float)
        sides = _names_of_two(ratings, coded, coding.names(rater))
    labels = [str(label) for label in coded.levels]
    index = pd.MultiIndex.from_product([labels, labels], names=list(sides))
    return pd.DataFrame({"n": np.rint(n).astype("int64").ravel()}, index=index)


def _names_of_two(ratings: pd.DataFrame, coded: coding.Coded, rater: list[str]) -> tuple[str, str]:
    first, second = (
        ", ".join(str(ratings[name].iloc[coded.rows[coded.rater == side][0]]) for name in rater)
        for side in (0, 1)
    )
    return first, second


def specific(table: Tabulation, k: int) -> Share:
    """Specific agreement at level ``k`` and its influence values (p,)."""
    given = table.counts[:, k]
    matched = given * (given - 1) / (table.per_unit - 1)
    total = table.units @ given
    value = float(table.units @ matched / total)
    return Share(value, (matched - value * given) / total)


def _of_level(table: Tabulation, k: int, label: str, left_out: int, confidence: float, to: str) -> Estimate:
    given = table.counts[:, k] if len(table.units) else np.zeros(0)
    n_given = int(table.units @ given)
    bare = Estimate(name=label, n_left_out=left_out, reference="cicchetti_feinstein_1990")
    if n_given == 0:
        return replace(
            bare,
            n_ratings=0,
            status=Status.NO_RECORDS,
            status_note="No rater of a double-scored unit gave this level.",
        )
    share = specific(table, k)
    n_clusters = _holding(table, given)
    se = math.sqrt(table.variance(share.influence)) if n_clusters > 1 else math.nan
    interval = _interval(share.value, se, n_clusters, confidence)
    return replace(
        bare,
        value=share.value,
        se=math.nan if interval.status is Status.BOUNDARY else se,
        low=interval.low,
        high=interval.high,
        confidence=confidence if interval.method != "none" else math.nan,
        interval_method=interval.method,
        generalises_to=to if interval.method != "none" else "",
        n_units=int(table.units[given > 0].sum()),
        n_raters=table.n_raters,
        n_ratings=n_given,
        n_clusters=n_clusters,
        p_observed=share.value,
        p_expected=float(n_given / (table.units @ table.per_unit)),
        status=interval.status,
        status_note=interval.note,
    )


def _holding(table: Tabulation, given: npt.NDArray[np.float64]) -> int:
    """Clusters in which somebody gave the level; the fewest where clusters are crossed."""
    held = (given > 0).astype(float)
    if not table.clusters:
        return int(table.units @ held)
    return min(int(np.count_nonzero(way.members @ held)) for way in table.clusters if way.single)


def _interval(value: float, se: float, n_clusters: int, confidence: float) -> intervals.Interval:
    refused = intervals.too_few(n_clusters)
    if refused is not None:
        return refused
    if not 0 < value < 1 or se < _EPS:
        return intervals.Interval(
            status=Status.BOUNDARY, note="Agreement at this level was all or nothing; there is no interval."
        )
    return intervals.linearised_z(value, se, n_clusters, confidence, 0.0)
