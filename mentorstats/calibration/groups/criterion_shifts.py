"""Does a group get more or less than others on some criteria, or at some cut-points, all else held?

The common difference between the groups is free, so that only differences between criteria, and between
cut-points, are left: a true gap between the groups moves nothing here. Candidates have strengths of their
own on single criteria, which the base fit does not hold; errors are widened by what the scores of
candidates scatter beyond the fit [rao_scott_1984].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import block_diag
from scipy.stats import chi2

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import MEASURE
from mentorstats.calibration.groups import effect_rows
from mentorstats.calibration.groups.sides import Sides, candidates, within
from mentorstats.mixed.local.score_test import Step, beside, cut_points, inverse, parts, shifts, turned

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

REFERENCE = "rao_1948"


@dataclass(frozen=True, slots=True)
class Joint:
    """A test that several effects are all zero; ``scatter`` is what the errors were widened by, squared."""

    statistic: float
    df: int
    p: float
    scatter: float


@dataclass(frozen=True, slots=True)
class Shifts:
    """Effects of a group beside its common difference from the rest, on the latent scale.

    Attributes
    ----------
    criteria
        One row a criterion of a version that both sides rated often enough: ``measure``, ``estimate``,
        ``se``; estimates of a version add up to zero. Positive: the group gets more than others there.
    cuts
        One row a cut-point: ``above`` (rank), ``estimate``, ``se``, adding up to zero. Positive: it lies
        higher for the group, which is harder to reach.
    tests
        ``criteria`` with cut-points free, ``cut_points`` with criteria free, and ``both`` at once.
    """

    criteria: pd.DataFrame
    cuts: pd.DataFrame
    tests: dict[str, Joint]


def shifts_of(base: Base, sides: Sides, met: Callable[[float], bool]) -> Shifts:
    """Shifts of criteria and cut-points for one side against the other.

    Parameters
    ----------
    met
        Whether a number of candidates, on each side of a criterion, is large enough.
    """
    codes, names = pd.factorize(base.rows[MEASURE], sort=True)
    codes, k = codes.astype(np.int64), len(names)
    both = [candidates(base, codes, side, k) for side in (sides.inside, sides.rest)]
    enough = np.array([met(a) and met(b) for a, b in zip(*both, strict=True)], dtype=bool)
    version = base.rows["rubric"].astype("str") + " " + base.rows["rubric_version"].astype("str")
    of = pd.Series(version.to_numpy()).groupby(codes).first().reindex(range(k)).to_numpy()
    chosen = [np.flatnonzero(enough & (of == name)) for name in sorted(set(of))]
    chosen = [each for each in chosen if len(each) > 1]
    if not chosen:
        return nothing()
    picked = np.concatenate(chosen)
    own = within(base, sides.inside, MEASURE)
    main = own @ sparse.csr_array(
        np.column_stack([np.isin(np.arange(k), each).astype(float) for each in chosen])
    )
    others = [own[:, ~np.isin(np.arange(k), picked)]] if len(picked) < k else []
    neither = [within(base, ~sides.known, "rater_role")] if (~sides.known).any() else []
    aside = sparse.csr_array(sparse.hstack([main, *others, *neither]))
    cuts, above = cut_points(base.at, (np.isin(codes, picked) & sides.inside)[:, None].astype(float))
    cluster = pd.factorize(base.rows["candidate"])[0].astype(np.int64)
    found, scores = parts(base.at, beside([shifts(own[:, picked]), cuts, shifts(aside)]), cluster)
    bases = [block_diag(*(sum_to_zero(len(each)) for each in chosen)), sum_to_zero(len(above))]
    turn = block_diag(*bases, np.eye(aside.shape[1]))
    free = np.repeat([0, 1, 2], [bases[0].shape[1], bases[1].shape[1], aside.shape[1]])
    found, scores = _aside(turned(found, turn), scores @ turn, free < 2)
    count = int(cluster.max()) + 1
    return _judged(found, scores, count, free[free < 2], bases, names[picked], above)


def _judged(
    found: Step,
    scores: Floats,
    clusters: int,
    block: Ints,
    bases: list[Floats],
    measures: pd.Index[str],
    above: list[int],
) -> Shifts:
    """Tests and estimates of criteria (block 0) and cut-points (1), each with the other free."""
    tests, tables = {}, {}
    for name, kept in (("criteria", block == 0), ("cut_points", block == 1), ("both", block < 2)):
        tests[name], estimates, covariance = _joint(*_aside(found, scores, kept), clusters)
        tables[name] = (estimates, covariance)
    criteria = _back(*tables["criteria"], bases[0])
    cuts = _back(*tables["cut_points"], bases[1])
    return Shifts(criteria.assign(measure=measures), cuts.assign(above=above), tests)


def sum_to_zero(k: int) -> Floats:
    """Orthonormal basis of what adds up to zero, (k, k − 1)."""
    return np.linalg.qr(np.column_stack([np.ones(k), np.eye(k)[:, 1:]]))[0][:, 1:]


def _aside(found: Step, scores: Floats, kept: Bools) -> tuple[Step, Floats]:
    """Step and parts of the scores when the columns not kept may move too."""
    if kept.all():
        return found, scores
    through = found.information[np.ix_(kept, ~kept)] @ inverse(found.information[np.ix_(~kept, ~kept)])
    left = found.information[np.ix_(kept, kept)] - through @ found.information[np.ix_(~kept, kept)]
    return (
        Step(found.score[kept] - through @ found.score[~kept], (left + left.T) / 2),
        scores[:, kept] - scores[:, ~kept] @ through.T,
    )


def _joint(block: Step, scores: Floats, clusters: int) -> tuple[Joint, Floats, Floats]:
    """Test, estimates and their covariance."""
    unscaled = inverse(block.information)
    df = round(float(np.trace(unscaled @ block.information)))
    estimates = unscaled @ block.score
    if df < 1:
        return Joint(np.nan, 0, np.nan, np.nan), np.full(len(estimates), np.nan), unscaled * np.nan
    observed = scores.T @ scores * clusters / max(clusters - 1, 1)
    scatter = max(1.0, float(np.trace(unscaled @ observed)) / df)
    statistic = float(block.score @ estimates) / scatter
    return Joint(statistic, df, float(chi2.sf(statistic, df)), scatter), estimates, unscaled * scatter


def _back(estimates: Floats, covariance: Floats, basis: Floats) -> pd.DataFrame:
    """Effects that add up to zero from their free combinations."""
    variance = np.einsum("ka,ab,kb->k", basis, covariance, basis)
    known = variance > 0
    se = np.sqrt(np.where(known, variance, np.nan))
    return pd.DataFrame({"estimate": np.where(known, basis @ estimates, np.nan), "se": se})


def nothing() -> Shifts:
    """No shifts, where fewer than two criteria of a version can be compared."""
    none = pd.DataFrame({"estimate": np.zeros(0), "se": np.zeros(0)})
    test = Joint(np.nan, 0, np.nan, np.nan)
    return Shifts(
        none.assign(measure=np.zeros(0, dtype=object)),
        none.assign(above=np.zeros(0, dtype=np.int64)),
        {"criteria": test, "cut_points": test, "both": test},
    )


def criterion_rows(base: Base, found: Shifts, *, bound: float, confidence: float) -> pd.DataFrame:
    """Shifts of criteria as rows of a result, each on the level scale of its own criterion.

    Also ``measure``, ``criterion``, ``rubric``, ``rubric_version`` and ``p_adjusted`` over all rows.
    """
    keys = ["rubric", "rubric_version", "criterion"]
    named = base.rows.drop_duplicates(MEASURE).set_index(MEASURE)[keys].astype("str")
    made = []
    for row in found.criteria.itertuples():
        scale = partial(on_level_of, base, str(row.measure))
        slope = float(np.diff(scale(np.array([-1e-4, 1e-4])))[0]) / 2e-4
        one = (np.array([row.estimate]), np.array([row.se]))
        made.append(
            effect_rows.rows(
                *one,
                bound=bound,
                confidence=confidence,
                scale=scale,
                slope=slope,
                suffix="level",
                reference=REFERENCE,
            ).assign(measure=str(row.measure))
        )
    if not made:
        return pd.DataFrame()
    table = pd.concat(made, ignore_index=True)
    table["p_adjusted"] = effect_rows.adjusted(table["p"].to_numpy())
    return pd.concat([named.loc[table["measure"]].reset_index(drop=True), table], axis=1)


def on_level_of(base: Base, measure: str, shift: Floats) -> Floats:
    """What shifts do to the expected rank of a middling candidate on one criterion, in ranks, (n,)."""
    rows = base.model.rows
    code = int(rows.threshold_group[np.flatnonzero((base.rows[MEASURE] == measure).to_numpy())[0]])
    middling = float((base.predictor - base.random_columns @ base.joint.b).mean())
    given = np.asarray(shift, dtype=np.float64)
    at = middling + np.append(np.where(np.isnan(given), 0.0, given).ravel(), 0.0)
    ranks = base.shares_at(at, np.full(len(at), code)) @ np.arange(1.0, len(base.model.found.levels) + 1)
    return np.where(np.isnan(given), np.nan, (ranks[:-1] - ranks[-1]).reshape(given.shape))
