"""Do two raters use the levels equally often? Tests of marginal homogeneity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement.coefficients import intervals
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.coding import Columns
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

_REFERENCES = {"stuart_maxwell": "stuart_1955", "bhapkar": "bhapkar_1966"}
CLUSTERED = "between_clusters"
_EPS = 1e-9


@entry(named=True)
def marginal_homogeneity(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    cluster: str | None = None,
) -> pd.DataFrame:
    """Test whether two raters use all levels equally often on the units that both rated.

    Parameters
    ----------
    ratings
        One row a rating; two raters. To compare roles, name the role column as the rater.
    unit, rater
        Column, or several, that name what was rated and who rated it.
    level, levels
        As in `coefficients`. A row whose level, unit or rater is missing is left out and counted, and so
        is a unit that one rater alone rated.
    cluster
        Column within which units go together, such as the candidate; adds a third test that allows for it.

    Returns
    -------
    DataFrame
        Indexed by test: ``stuart_maxwell`` [stuart_1955] [maxwell_1970] and ``bhapkar``
        [bhapkar_1966], which does not assume the hypothesis in the variance: statistic (chi-squared), df,
        p, n_units, n_raters, n_ratings, n_clusters, n_left_out, status, status_note, reference. With two
        levels Stuart and Maxwell's is McNemar's test without correction. Degrees of freedom are the levels
        in which the raters ever disagreed, less one for each set of levels connected by disagreements.

        Both take units as independent. With ``cluster`` there is also ``between_clusters``: the variance
        of the differences is that between c clusters, c / (c − 1) times the squared sums of their
        deviations [liang_zeger_1986], and (c − df) / (df (c − 1)) times the statistic is held against F
        with df and c − df degrees of freedom. Where each unit is a cluster it is Bhapkar's statistic times
        (c − 1) / c.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; levels are undeclared or unknown; there are more than two raters; a rater
        rated a unit twice; a unit lies in two clusters.
    """
    coded = coding.code(ratings, unit=unit, rater=rater, level=level, levels=levels, cluster=cluster)
    n_raters = int(coded.rater.max(initial=-1)) + 1
    if n_raters > 2:
        raise ArgumentError(
            f"{n_raters} raters",
            where=", ".join(coding.names(rater)),
            allowed="two",
            remedy="Choose two raters, or name the role column as the rater.",
        )
    both, of_cluster = _both_rated(coded)
    table = _square(both, len(coded.levels))
    n = len(both)
    refused = _refusal(coded, n_raters, table)
    references = _REFERENCES | ({} if cluster is None else {CLUSTERED: "liang_zeger_1986"})
    rows = []
    for name, reference in references.items():
        if refused is not None:
            found, (status, note) = _Test(), refused
        elif name == CLUSTERED:
            found, status, note = _between_clusters(both, of_cluster, table)
        else:
            found = homogeneity(table, name)
            status, note = _status(found)
        rows.append(
            {
                "statistic": found.statistic if status in _WITH_TEST else math.nan,
                "df": found.df,
                "p": found.p if status in _WITH_TEST else math.nan,
                "n_units": n,
                "n_raters": n_raters,
                "n_ratings": 2 * n,
                "n_clusters": pd.NA if cluster is None else int(of_cluster.max(initial=-1)) + 1,
                "n_left_out": len(ratings) - 2 * n,
                "status": str(status),
                "status_note": note,
                "reference": reference,
            }
        )
    frame = pd.DataFrame(rows, index=pd.Index(list(references), name="test", dtype="str"))
    counts = ["n_units", "n_raters", "n_ratings", "n_clusters", "n_left_out"]
    return frame.astype(dict.fromkeys(counts, "Int64") | {"status": "str", "status_note": "str"})


_WITH_TEST = (Status.OK, Status.FEW_CLUSTERS)


@dataclass(frozen=True, slots=True)
class _Test:
    """A statistic; infinite where the variance of the differences is zero.

    Chi-squared, or with a number of clusters Hotelling's.
    """

    statistic: float = math.nan
    df: float = math.nan
    n_clusters: int = 0

    @property
    def p(self) -> float:
        if not self.n_clusters:
            return float(stats.chi2.sf(self.statistic, self.df))
        left = self.n_clusters - self.df
        return float(stats.f.sf(left / (self.df * (self.n_clusters - 1)) * self.statistic, self.df, left))


def homogeneity(table: Array, method: str) -> _Test:
    """Chi-squared of a square table of counts (q, q), which holds some disagreement.

    Stuart and Maxwell: d'S⁻d with d the differences of the margins, S_ii = n_i. + n_.i − 2 n_ii,
    S_ij = −(n_ij + n_ji); S has the rank that the degrees of freedom are. Bhapkar's variance is
    S − dd'/n, so that his statistic is X² / (1 − X²/n).
    """
    n = table.sum()
    d = table.sum(axis=1) - table.sum(axis=0)
    both = table + table.T
    np.fill_diagonal(both, 0.0)
    s = np.diag(both.sum(axis=1)) - both
    df = int(np.linalg.matrix_rank(s, hermitian=True))
    statistic = float(d @ np.linalg.pinv(s, hermitian=True) @ d)
    if method == "bhapkar":
        left = 1 - statistic / n
        statistic = statistic / left if left > _EPS else math.inf
    return _Test(statistic, float(df))


def _both_rated(coded: coding.Coded) -> tuple[Codes, Codes]:
    """Levels of the two raters of each unit that both rated (n, 2), and its cluster (n,), zero without."""
    n_units = int(coded.unit.max(initial=-1)) + 1
    grid = np.full((n_units, 2), -1, dtype=np.intp)
    cluster = np.zeros(n_units, dtype=np.intp)
    if len(coded.unit):
        grid[coded.unit, coded.rater] = coded.level
        if coded.cluster is not None:
            cluster[coded.unit] = coded.cluster[:, 0]
    both = (grid >= 0).all(axis=1)
    return grid[both], coding.renumber(cluster[both])


def _square(both: Codes, q: int) -> Array:
    """Counts of the levels of the two raters (q, q)."""
    return np.bincount(both[:, 0] * q + both[:, 1], minlength=q * q).reshape(q, q).astype(float)


def _between_clusters(both: Codes, cluster: Codes, table: Array) -> tuple[_Test, Status, str]:
    """Wald test of the differences of the margins with their variance between clusters."""
    n, n_clusters = len(both), int(cluster.max()) + 1
    refused = intervals.too_few(n_clusters)
    if refused is not None:
        return _Test(), refused.status, refused.note
    each = np.eye(len(table))[both[:, 0]] - np.eye(len(table))[both[:, 1]]
    d = each.sum(axis=0)
    sums = np.zeros((n_clusters, len(table)))
    np.add.at(sums, cluster, each - d / n)
    variance = n_clusters / (n_clusters - 1) * sums.T @ sums
    df = homogeneity(table, "stuart_maxwell").df
    if np.linalg.matrix_rank(variance, hermitian=True) < df or n_clusters <= df:
        return _Test(math.nan, df), Status.BOUNDARY, "Too few clusters disagree to tell the variance."
    statistic = float(d @ np.linalg.pinv(variance, hermitian=True) @ d)
    return _Test(statistic, df, n_clusters), *intervals.clusters_status(n_clusters)


def _refusal(coded: coding.Coded, n_raters: int, table: Array) -> tuple[Status, str] | None:
    """Why there is no test at all, if there is none."""
    if not len(coded.unit):
        return Status.NO_RECORDS, "No rating has a level, a unit and a rater."
    if n_raters < 2:
        return Status.ONE_RATER, "All ratings come from one rater."
    if not table.sum():
        return Status.NO_DOUBLE_SCORES, "No unit was rated by both raters."
    if np.trace(table) == table.sum():
        if np.count_nonzero(table) == 1:
            return Status.ONE_LEVEL_USED, "Both raters gave one level only."
        return Status.NO_DISAGREEMENT, "The raters never disagreed, so their margins are the same."
    return None


def _status(found: _Test) -> tuple[Status, str]:
    if math.isinf(found.statistic):
        note = "All ratings differ, and in one direction: the variance of the difference is zero."
        return Status.BOUNDARY, note
    return Status.OK, ""
