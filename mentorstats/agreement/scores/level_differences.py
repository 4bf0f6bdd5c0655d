"""How far apart two roles are: mean signed differences, and which levels were paired."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients import scope
from mentorstats.agreement.coefficients.means import clustered
from mentorstats.agreement.counts.pairing import VERSION, each_version
from mentorstats.errors import need_columns
from mentorstats.estimate import Estimate, no_rows, to_frame

Array = npt.NDArray[np.float64]


def differences(
    pairs: pd.DataFrame, *, by: Sequence[str] = (*VERSION, "criterion"), confidence: float = 0.95
) -> pd.DataFrame:
    """Mean signed difference of ranks, first side minus second.

    The variance is that of a mean over clusters (candidates), c / (c - 1) times the squared cluster
    sums of the deviations over n squared, with Student's t on c - 1 degrees of freedom
    [liang_zeger_1986].

    Returns
    -------
    DataFrame
        Indexed by ``by``: value in levels, se, low, high, confidence, interval_method, n_units
        (pairs), n_clusters, status, status_note, reference and the rest of the shared columns.
    """
    need_columns(pairs.columns, [*by, "difference", "candidate"], where="pairs")
    found, keys = [], []
    for key, group in pairs.groupby(list(by), observed=True, dropna=False, sort=True):
        values = group["difference"].to_numpy(dtype=float)
        cluster, _ = pd.factorize(group["candidate"], use_na_sentinel=False)
        found.append(_mean(values, np.asarray(cluster), confidence))
        keys.append(key)
    frame = to_frame(found, index="what")
    if not keys:
        return no_rows(list(by))
    return frame.set_axis(pd.MultiIndex.from_tuples(keys, names=list(by)))


def paired_levels(pairs: pd.DataFrame, rubrics: pd.DataFrame) -> pd.DataFrame:
    """Where the second side stood when the first gave a level, by rubric version.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, rank_first and rank_second, all declared ranks present:
        ``n`` pairs, ``value`` their share of the pairs with that first rank (NaN where there is
        none), and ``n_candidates`` and ``n_units`` of the first rank.
    """
    parts = []
    for version, chosen, n_levels in each_version(pairs, rubrics):
        ranks = range(1, n_levels + 1)
        grid = pd.MultiIndex.from_product([ranks, ranks], names=["rank_first", "rank_second"])
        counted = chosen.astype({"rank_first": "int64", "rank_second": "int64"})
        n = counted.groupby(["rank_first", "rank_second"]).size().reindex(grid, fill_value=0).rename("n")
        given = counted.groupby("rank_first").agg(
            n_units=("candidate", "size"), n_candidates=("candidate", "nunique")
        )
        part = n.to_frame().join(given.reindex(ranks, fill_value=0), on="rank_first")
        part["value"] = (part["n"] / part["n_units"]).astype(float)
        parts.append(pd.concat([part], keys=[version], names=VERSION))
    return pd.concat(parts) if parts else no_rows([*VERSION, "rank_first", "rank_second"])


def _mean(values: Array, cluster: npt.NDArray[np.intp], confidence: float) -> Estimate:
    same = "Every pair differs by the same amount."
    found = clustered("difference", values, cluster, confidence, of="candidates", same=same)
    speaks_of = scope.of_members(["candidates"]) if math.isfinite(found.low) else ""
    return replace(found, generalises_to=speaks_of)
