"""What raters' candidates are like, by group means: each rater's share of a candidate's ratings."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.raters.rater_variance import Between, between, members_of_estimates

Floats = NDArray[np.float64]

ROUNDING = 1e-3  # of the largest: information, or variance, below which there is only rounding


def by_group_means(
    base: Base, raters: pd.DataFrame, level: float, smallest: float
) -> tuple[Between, Between]:
    """How far severities move, and how far the candidates of different raters differ [mundlak_1978].

    ``smallest``: variance of a direction of the moves below which it says nothing; ``level``: of the test,
    the intervals have confidence 1 − 2 ``level``.
    """
    moved, covariance, means, of_means = group_means(base, raters)
    rounding = ROUNDING**2 * float(np.diagonal(of_means).max(initial=0.0))
    return (
        between(members_of_estimates(moved, covariance, smallest), 1 - 2 * level),
        between(members_of_estimates(means, of_means, rounding), 1 - 2 * level),
    )


def group_means(base: Base, raters: pd.DataFrame) -> tuple[Floats, Floats, Floats, Floats]:
    """What severities move by, and coefficients of the group means, with covariances, (r,) and (r, r) each.

    Each rater's share of a candidate's ratings by the role stands beside all ratings of that candidate,
    whoever gave them; its one-step coefficient is what the rater's candidates are beyond the others. With
    scores U and joint information I of the raters' own columns R and the shares X, the contrast of rater j
    is U_j/I_jj, and (U_j − I_jX γ)/I_jj once the coefficients γ = I_XX⁻U_X are taken out. Their mean is set
    aside: it tells candidates whom none of the raters met from others.
    """
    keys, r = ["rater", "rater_role"], len(raters)
    at = pd.MultiIndex.from_frame(base.raters[keys]).get_indexer(pd.MultiIndex.from_frame(raters[keys]))
    own, shares = base.by_rater()[:, at], caseload_columns(base, raters)
    step = base.one_step(sparse.csr_array(sparse.hstack([own, shares])))
    score, information = _without_mean(step.score[r:], step.information[r:, r:])
    of_means: Floats = np.asarray(
        np.linalg.pinv(information, rcond=ROUNDING, hermitian=True), dtype=np.float64
    )
    means = of_means @ score
    toward = step.information[:r, r:] / np.diagonal(step.information)[:r, None]
    return toward @ means, toward @ of_means @ toward.T, means, of_means


def _without_mean(score: Floats, information: Floats) -> tuple[Floats, Floats]:
    """Score and information of the coefficients' differences, a shift of all of them free to move."""
    toward = information.sum(axis=1)
    total = float(toward.sum())
    if total <= ROUNDING * float(np.trace(information)):
        return score, information
    return score - toward * (float(score.sum()) / total), information - np.outer(toward, toward) / total


def caseload_columns(base: Base, raters: pd.DataFrame) -> sparse.csr_array:
    """Share of a candidate's ratings by the raters' role that each of ``raters`` gave, (n, raters)."""
    candidate = pd.factorize(base.rows["candidate"])[0]
    m = int(candidate.max()) + 1
    keys = ["rater", "rater_role"]
    column = pd.MultiIndex.from_frame(raters[keys]).get_indexer(pd.MultiIndex.from_frame(base.rows[keys]))
    of_role = base.rows["rater_role"].isin(raters["rater_role"]).to_numpy(dtype=bool)
    total = np.maximum(np.bincount(candidate[of_role], minlength=m), 1)
    own = column >= 0
    entries = (1 / total[candidate[own]], (candidate[own], column[own]))
    shares = sparse.csr_array(sparse.coo_array(entries, shape=(m, len(raters))))
    return sparse.csr_array(shares[candidate])
