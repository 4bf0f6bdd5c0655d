"""How far do raters agree, beyond what blind raters would? The whole family in one table."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients import chance, intervals, resample, scope
from mentorstats.agreement.coefficients.chance import Coefficient
from mentorstats.agreement.coefficients.members import Asked, Kind, kinds
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.coding import names
from mentorstats.agreement.counts.tabulate import Tabulation, from_grid
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]
Columns: TypeAlias = str | Sequence[str]

RESAMPLED = ("bca", "percentile")
SPARSE = 5  # common practice, no source: a median of fewer ratings a rater makes rater margins shaky

_EPS = 1e-12
_SINGLE_LEVEL = (
    "One of the two raters used a single level, so the coefficient is 0 whatever the lessons were."
)


@entry(named=True)
def coefficients(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    weights: str | npt.ArrayLike = "identity",
    cluster: Columns | None = None,
    by: Columns | None = None,
    interval: str = "auto",
    replicates: int = 2000,
    confidence: float = 0.95,
    seed: int = 0,
    unit_weights: str | None = None,
) -> pd.DataFrame:
    """Agreement coefficients of any number of raters, ratings missing or not.

    Parameters
    ----------
    ratings
        One row a rating.
    unit, rater
        Column, or several, that name what was rated (for example lesson and criterion) and who
        rated it. To compare roles, name the role column as the rater.
    level
        Column of the level given. A row whose level, unit or rater is missing is left out and
        counted; the answer is that of the table without the row.
    levels
        Every declared level, lowest first. Required unless the column is an ordered categorical;
        numbers are used as they are by linear, quadratic, radical and ratio weights, other labels
        count 1, 2, ….
    weights
        ``identity``, ``linear``, ``quadratic``, ``ordinal``, ``radical``, ``ratio``, or a square
        array of agreement weights [gwet_2014]. ``krippendorff_alpha`` takes Krippendorff's own
        metric where he has one (identity nominal, ordinal his ordinal, quadratic interval, ratio
        ratio) and says so where it goes by the weights.
    cluster
        Column whose members are independent of each other, for example the candidate; a unit lies
        in one cluster. Several columns: one that is nested in another adds nothing, crossed ones
        (candidate and supervisor) both count [cameron_2011]. The interval generalises to new members
        of what it is clustered by. Without it every unit is its own cluster, which gives intervals
        far too narrow when ratings of one candidate go together.
    by
        Column, or several: one set of rows for each combination, in sorted order. A unit that occurs
        in several groups is another unit in each.
    interval
        ``auto`` is ``linearised_z``: linearised variance between clusters, Student's t, on Fisher's
        z. ``bca`` and ``percentile`` resample clusters. ``fixed_count`` reproduces [gwet_2014] for
        units without clusters: plain scale, cut at 1, and a variance that takes the number of
        units with two ratings as fixed, which is too large where many units have one.
    replicates, seed
        Resampled data sets, and the seed that makes them the same again.
    confidence
        Nominal coverage, a fraction.
    unit_weights
        Column of a weight above zero that all ratings of a unit share, for example from
        `inverse_probability_weights`; only ratios matter, and they are scaled to a mean of 1 over the
        units that enter. The counts stay those of units and ratings.

    Returns
    -------
    DataFrame
        Indexed by coefficient (after ``by``): value, se, low, high, confidence, interval_method,
        generalises_to, n_units (with two ratings or more), n_raters, n_ratings, n_clusters, n_left_out,
        p_observed, p_expected, status, status_note, reference. ``scott_pi``, ``cohen_kappa``,
        ``pabak`` and ``bias_index`` need exactly two raters and use the units both rated;
        ``prevalence_index`` and ``bias_index`` also need two levels: both count the lower declared
        level as positive, and the first rater is the first in category order, else sorted. ``pabak``
        never uses the weights. Single ratings can pull ``fleiss_kappa`` and ``conger_kappa`` below -1.

        The standard error of two raters without clusters is the large-sample one of
        [fleiss_cohen_everitt_1969] and its like for the other coefficients. Otherwise it is linearised
        between clusters: a cluster's sum of influence is divided by one minus its share of the
        pairable units, and the squares add up with (c - 1) / c. With ``unit_weights`` the sums and
        shares are weighted, units without clusters are clusters of one, and the weights count as known.
        That of ``fleiss_kappa`` is of this
        kind, for intervals, not the one under no agreement.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; levels are undeclared or unknown; a rater rated a unit twice.
    """
    if by is not None and not names(by):
        by = None
    coded = coding.code(
        ratings,
        unit=unit,
        rater=rater,
        level=level,
        levels=levels,
        cluster=cluster,
        by=by,
        unit_weights=unit_weights,
    )
    to = scope.of_columns(ratings, coded.clustered_by, names(rater))
    asked = Asked(coded.levels, weights, interval, replicates, confidence, seed, to)
    if interval == "fixed_count" and (cluster is not None or unit_weights is not None):
        raise ArgumentError(
            "interval 'fixed_count' knows no clusters and no unit weights", remedy="Use 'auto' with them."
        )
    if coded.cluster is not None:
        _refuse_crossed(coded.cluster, interval)
    if by is None:
        return to_frame(_family(coded.tabulate(), asked, len(ratings) - len(coded.rows)), index="coefficient")
    columns = names(by)
    frames, rows = [], []
    for row, keep, left_out in _groups(ratings, columns, coded):
        frames.append(to_frame(_family(coded.tabulate(keep), asked, left_out), index="coefficient"))
        rows += [row] * len(frames[-1])
    if not frames:
        raise ArgumentError("no row has a value in every column of by", where=", ".join(columns))
    found = pd.concat(frames)
    # Not concat's own keys, which refuse a group whose name is missing; and a column at a time, since a
    # row of several columns would turn large integers into floats.
    groups = [_labels(ratings[column].iloc[rows]) for column in columns]
    return found.set_axis(pd.MultiIndex.from_arrays([*groups, found.index], names=[*columns, "coefficient"]))


def _labels(column: pd.Series) -> pd.Index:
    """Values of a column as an index of their own kind, categories as what they are."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        column = column.astype("object" if column.isna().any() else column.cat.categories.dtype)
    labels: pd.Index = pd.Index(column)
    return labels


@entry()
def from_codes(
    codes: npt.NDArray[np.integer],
    *,
    levels: Sequence[object],
    weights: str | npt.ArrayLike = "identity",
    cluster: npt.NDArray[np.integer] | None = None,
    interval: str = "auto",
    replicates: int = 2000,
    confidence: float = 0.95,
    seed: int = 0,
) -> pd.DataFrame:
    """Compute the same family from a grid of integer codes.

    Parameters
    ----------
    codes : integer array (n, r)
        Level codes from zero, one row a unit and one column a rater; negative is missing.
    levels
        Every declared level, lowest first; a code is a position in it.
    cluster : integer array (n,) or (n, m), optional
        Cluster code of each unit, from zero; a column for each crossed way.
    weights, interval, replicates, confidence, seed
        As in `coefficients`.

    Returns
    -------
    DataFrame
        As from `coefficients`.

    Raises
    ------
    ArgumentError
        A code beyond the declared levels, or an array of another shape or type.
    """
    n_ways = 0 if cluster is None else np.atleast_2d(np.asarray(cluster).T).shape[0]
    to = scope.of_codes(n_ways)
    asked = Asked(coding.legal_levels(levels), weights, interval, replicates, confidence, seed, to)
    grid = np.asarray(codes)
    if grid.ndim != 2 or not np.issubdtype(grid.dtype, np.integer):
        raise ArgumentError(
            f"codes are {grid.dtype} of {grid.ndim} dimensions", allowed="integers, units by raters"
        )
    if grid.size and grid.max() >= len(asked.levels):
        raise ArgumentError(f"code {grid.max()} is beyond the {len(asked.levels)} declared levels")
    if not np.issubdtype(grid.dtype, np.signedinteger):
        grid = grid.astype(np.int64)
    rated = np.array([of_rater.max(initial=-1) >= 0 for of_rater in grid.T], dtype=bool)
    grid = grid if rated.all() else grid[:, rated]
    grid = grid if not grid.size or grid.min() >= -1 else np.maximum(grid, -1)
    ways = None if cluster is None else _legal_clusters(np.asarray(cluster), len(grid))
    if ways is not None:
        _refuse_crossed(ways, interval)
    table = from_grid(grid, q=len(asked.levels), cluster=ways)
    return to_frame(_family(table, asked, None), index="coefficient")


def _legal_clusters(cluster: npt.NDArray[np.integer], n_units: int) -> npt.NDArray[np.integer]:
    legal = cluster.ndim in (1, 2) and len(cluster) == n_units and np.issubdtype(cluster.dtype, np.integer)
    if not legal or (cluster.size and cluster.min() < 0):
        raise ArgumentError(
            f"cluster is {cluster.dtype} of shape {cluster.shape}",
            allowed=f"integers from zero, one for each of {n_units} units (a column for each crossed way)",
        )
    return cluster.reshape(n_units, -1)


def _refuse_crossed(cluster: npt.NDArray[np.integer], interval: str) -> None:
    if cluster.shape[1] > 1 and interval in RESAMPLED:
        raise ArgumentError(
            f"interval {interval!r} cannot resample crossed clusters",
            remedy="Use 'auto', or cluster by one column.",
        )


def _groups(
    ratings: pd.DataFrame, by: list[str], coded: coding.Coded
) -> Iterator[tuple[int, npt.NDArray[np.intp], int]]:
    """First row, positions of the ratings that enter, and rows left out, for each combination of ``by``."""
    number = coding.group_numbers(ratings, by)
    n_groups = int(number.max()) + 1 if len(number) else 0
    first = np.unique(number, return_index=True)[1]
    entering = number[coded.rows]
    order = np.argsort(entering, kind="stable")
    sizes = np.bincount(entering, minlength=n_groups)
    left_out = np.bincount(number, minlength=n_groups) - sizes
    ends = np.cumsum(sizes)
    for group in range(n_groups):
        yield int(first[group]), order[ends[group] - sizes[group] : ends[group]], int(left_out[group])


def _family(table: Tabulation, asked: Asked, left_out: int | None) -> list[Estimate]:
    members = kinds(asked, table.n_raters)
    refused = _refusal(table)
    if refused is not None:
        status, note = refused
        return [replace(_bare(kind, table, left_out), status=status, status_note=note) for kind in members]
    drawn = _resampled(members, table, asked)
    pairable = table.only_pairable()
    rows = []
    for number, kind in enumerate(members):
        of_kind = None if drawn is None else drawn[:, number]
        rows.append(estimate(kind, pairable if kind.paired else table, asked, left_out, of_kind))
    return rows


def _resampled(members: list[Kind], table: Tabulation, asked: Asked) -> Array | None:
    """Replicates by coefficient (b, members), or None where no interval needs them."""
    if asked.interval not in RESAMPLED:
        return None

    def values(sample: Tabulation) -> list[float]:
        if sample.n_pairable < 1:
            return [math.nan] * len(members)
        both = sample.only_pairable()
        return [kind.compute(both if kind.paired else sample, False).value for kind in members]

    return resample.replicates(table, values, n=asked.replicates, seed=asked.seed)


def _refusal(table: Tabulation) -> tuple[Status, str] | None:
    """Why there is no coefficient at all, if there is none."""
    if not len(table.units):
        return Status.NO_RECORDS, "No rating has a level, a unit and a rater."
    if table.n_raters < 2:
        return Status.ONE_RATER, "All ratings come from one rater."
    n_pairable = int(table.times[table.pairable].sum())
    if n_pairable == 0:
        return Status.NO_DOUBLE_SCORES, "No unit was rated by two raters."
    if n_pairable == 1:
        return Status.ONE_UNIT, "One unit was rated by two raters."
    return None


def _bare(kind: Kind, table: Tabulation, left_out: int | None) -> Estimate:
    return Estimate(
        name=kind.name,
        reference=kind.reference,
        n_units=int(table.times[table.pairable].sum()),
        n_raters=table.n_raters,
        n_ratings=int(table.times @ table.per_unit),
        n_left_out=left_out,
    )


def estimate(
    kind: Kind, table: Tabulation, asked: Asked, left_out: int | None, drawn: Array | None
) -> Estimate:
    """One member of the family on one table, with its interval and status.

    ``left_out`` counts the rows that did not enter; ``drawn`` holds the member's replicates, where the
    interval is made of them.
    """
    found = kind.compute(table, asked.interval == "fixed_count")
    n_clusters = table.n_clusters()
    bare = _bare(kind, table, left_out)
    bare = replace(bare, n_clusters=n_clusters, p_observed=found.observed, p_expected=found.expected)
    without = _degenerate(kind, table, found)
    if without is not None:
        return replace(bare, status=without[0], status_note=without[1])
    se = math.sqrt(table.variance(found.influence, factor=_factor(table, asked)))
    interval = _interval(kind, table, found, se, n_clusters, asked, drawn)
    status, note = _sparse(kind, table, interval)
    return replace(
        bare,
        value=found.value,
        se=math.nan if interval.status in (Status.NO_DISAGREEMENT, Status.BOUNDARY) else se,
        low=interval.low,
        high=interval.high,
        confidence=asked.confidence if interval.method != "none" else math.nan,
        interval_method=interval.method,
        generalises_to=asked.generalises_to if interval.method != "none" else "",
        status=status,
        status_note=" ".join(part for part in (note, kind.note) if part),
    )


def _degenerate(kind: Kind, table: Tabulation, found: Coefficient) -> tuple[Status, str] | None:
    """Why this coefficient has no value although there are double scores, if it has none."""
    if kind.is_share or math.isnan(found.expected):
        return None
    if 1 - found.expected < chance.COMPLETE:
        return Status.ONE_LEVEL_USED, "Every rating is the same level, so chance agreement is complete."
    if (
        kind.by_rater
        and table.n_raters == 2
        and table.pairable.all()
        and (chance.rater_levels(table) > 0).sum(axis=1).min() == 1
    ):
        return Status.NO_SPREAD, _SINGLE_LEVEL
    return None


def _factor(table: Tabulation, asked: Asked) -> float | None:
    """Small-sample factor of the variance where it is not c / (c - 1)."""
    if asked.interval == "fixed_count":
        n = float(table.units.sum())
        return n / (n - 1)
    return 1.0 if not table.clusters and table.n_raters == 2 else None


def _interval(
    kind: Kind,
    table: Tabulation,
    found: Coefficient,
    se: float,
    n_clusters: int,
    asked: Asked,
    drawn: Array | None,
) -> intervals.Interval:
    if found.observed > 1 - _EPS:
        return _none_seen(kind, table, found, n_clusters, asked)
    refused = None if asked.interval in ("none", "fixed_count") else intervals.too_few(n_clusters)
    if refused is not None:
        return refused
    if se < _EPS or found.value >= 1:
        return intervals.Interval(
            status=Status.BOUNDARY,
            note="Every cluster gives the same value, so its variance is not estimable.",
        )
    if asked.interval == "none":
        return intervals.Interval()
    if asked.interval == "fixed_count":
        return intervals.fixed_count(found.value, se, int(table.units.sum()), asked.confidence)
    if drawn is not None and asked.interval == "bca":
        made = resample.bca(found.value, drawn, table.skewness(found.influence), asked.confidence)
        status, note = intervals.clusters_status(n_clusters)
        return (
            made
            if made.status is not Status.OK
            else replace(made, status=status, note=f"{note} {made.note}".strip())
        )
    if drawn is not None:
        return resample.percentile(drawn, n_clusters, asked.confidence)
    return intervals.linearised_z(found.value, se, n_clusters, asked.confidence, kind.lowest)


def _none_seen(
    kind: Kind, table: Tabulation, found: Coefficient, n_clusters: int, asked: Asked
) -> intervals.Interval:
    """Exact bound where every pair agrees, if one is asked for and holds."""
    if asked.interval in ("none", "fixed_count"):
        return intervals.none_seen()
    if kind.least_weight < 0:
        return intervals.none_seen("There is no exact bound where a disagreement can weigh less than 0.")
    if table.weighted:
        return intervals.none_seen("There is no exact bound for weighted units.")
    return intervals.no_disagreement(n_clusters, 0.0 if kind.is_share else found.expected, asked.confidence)


def _sparse(kind: Kind, table: Tabulation, interval: intervals.Interval) -> tuple[Status, str]:
    """Status and note, naming thin rater margins where nothing else is wrong."""
    if kind.by_rater and interval.status is Status.OK and table.n_raters > 2:
        middle = float(np.median(chance.rater_levels(table).sum(axis=1)))
        if middle < SPARSE:
            return Status.SPARSE_RATERS, f"Half of the raters gave {middle:g} ratings or fewer."
    return interval.status, interval.note
