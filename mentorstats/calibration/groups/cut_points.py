"""Shifts of criteria and cut-points where both sides have cut-points of their own already."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.stats import chi2

from mentorstats.calibration.base.base import Base, fit_again
from mentorstats.calibration.base.rows import MEASURE
from mentorstats.calibration.groups.criterion_shifts import Joint, Shifts, nothing, sum_to_zero
from mentorstats.calibration.groups.sides import Sides
from mentorstats.estimate import has_value
from mentorstats.mixed.engines.ordinal import Cuts
from mentorstats.mixed.local.score_test import inverse

Floats = NDArray[np.float64]

_CELL = "measure_of_side"


def between_versions(base: Base, sides: Sides, met: Callable[[float], bool]) -> Shifts:
    """Criteria of the same code in two versions, from the base fit, where they have cut-points of their own.

    Parameters
    ----------
    met
        Whether a number of candidates, under each version, is large enough.
    """
    problem = base.model.levels.problem
    names = list(base.model.found.threshold_groups)
    both = [
        base.rows[side].drop_duplicates("criterion").set_index("criterion")
        for side in (sides.inside, sides.rest)
    ]
    counts = [
        base.rows[side].groupby("criterion")["candidate"].nunique() for side in (sides.inside, sides.rest)
    ]
    codes = [c for c in both[0].index.intersection(both[1].index) if all(met(n[c]) for n in counts)]
    pairs = [
        (names.index(both[0].loc[code, MEASURE]), names.index(both[1].loc[code, MEASURE]))
        for code in sorted(codes)
    ]
    tau, covariance = base.joint.beta[: problem.c], base.joint.covariance[: problem.c, : problem.c]
    found = _apart(tau, covariance, problem.cut, pairs, [""] * len(pairs))
    measures = [both[0].loc[code, MEASURE] for code in sorted(codes)]
    named = found.criteria.assign(measure=measures[: len(found.criteria)])
    return Shifts(named, found.cuts, found.tests)


def refitted(base: Base, sides: Sides, screened: Shifts) -> Shifts | None:
    """Shifts from a fit in which both sides have cut-points of their own; None where it does not settle.

    Errors are widened as those of the step that screened them.
    """
    measures = screened.criteria["measure"].tolist()
    side = np.where(sides.inside, "group", np.where(sides.rest, "rest", "neither"))
    cell = base.rows[MEASURE].astype("str").str.cat(pd.Series(side, dtype="str"), sep=" · ")
    made = fit_again(base, {_CELL: cell}, thresholds_by=_CELL)
    if not has_value(made.status):
        return None
    engine = made.model.levels
    names = list(made.model.found.threshold_groups)
    pairs = [(names.index(f"{m} · group"), names.index(f"{m} · rest")) for m in measures]
    cut = engine.problem.cut
    tau = engine.state.psi[engine.problem.q :][: cut.count]
    covariance = inverse(engine.state.conditional)[: cut.count, : cut.count]
    one = base.rows.drop_duplicates(MEASURE).set_index(MEASURE).loc[measures]
    version = (one["rubric"].astype("str") + " " + one["rubric_version"].astype("str")).tolist()
    found = _apart(tau, covariance, cut, pairs, version)
    if len(found.criteria) != len(measures) or not measures:
        return None
    named = Shifts(found.criteria.assign(measure=measures), found.cuts, found.tests)
    return _widened(named, {name: test.scatter for name, test in screened.tests.items()})


def _widened(found: Shifts, scatter: dict[str, float]) -> Shifts:
    tests = {}
    for name, test in found.tests.items():
        statistic = test.statistic / scatter[name]
        tests[name] = Joint(statistic, test.df, float(chi2.sf(statistic, test.df)), scatter[name])
    criteria = found.criteria.assign(se=found.criteria["se"] * np.sqrt(scatter["criteria"]))
    return Shifts(criteria, found.cuts.assign(se=found.cuts["se"] * np.sqrt(scatter["cut_points"])), tests)


def _apart(
    tau: Floats, covariance: Floats, cut: Cuts, pairs: list[tuple[int, int]], version: list[str]
) -> Shifts:
    """Differences of cut-points between pairs of groups of cut-points, taken apart.

    The difference at a cut-point that both of a pair have is the pair's part and the cut-point's part, by
    generalised least squares. A criterion's shift is minus its part less the mean of its version; a
    cut-point's is its part less the mean over cut-points.
    """
    cells = [
        (a, pair, _at(cut, one, pair), _at(cut, other, pair))
        for a, (one, other) in enumerate(pairs)
        for pair in sorted(set(cut.between))
    ]
    cells = [cell for cell in cells if cell[2] >= 0 and cell[3] >= 0]
    met = sorted({pair for _, pair, _, _ in cells})
    k, j = len(pairs), len(met)
    if k < 2 or {a for a, *_ in cells} != set(range(k)):
        return nothing()
    design, differences = np.zeros((len(cells), k + j)), np.zeros((len(cells), len(tau)))
    for row, (a, pair, one, other) in enumerate(cells):
        design[row, [a, k + met.index(pair)]] = 1.0
        differences[row, one] += 1.0
        differences[row, other] -= 1.0
    weight = inverse(differences @ covariance @ differences.T)
    taken = inverse(design.T @ weight @ design) @ design.T @ weight @ differences
    blocks = [np.flatnonzero(np.array(version) == name) for name in sorted(set(version))]
    basis = np.zeros((k, k - len(blocks)))
    basis[np.concatenate(blocks)] = block_diag(*(sum_to_zero(len(block)) for block in blocks))
    by_criterion = -basis.T @ taken[:k]
    by_cut = sum_to_zero(j).T @ taken[k:]
    rows = {"criteria": by_criterion, "cut_points": by_cut, "both": np.concatenate([by_criterion, by_cut])}
    tests = {name: _wald(each @ tau, each @ covariance @ each.T) for name, each in rows.items()}
    criteria = _out(basis @ by_criterion, tau, covariance)
    cuts = _out(sum_to_zero(j) @ by_cut, tau, covariance)
    return Shifts(criteria, cuts.assign(above=[high + 1 for _, high in met]), tests)


def _at(cut: Cuts, group: int, pair: tuple[int, int]) -> int:
    """Number of a group's cut-point between two levels, or -1 where it has none."""
    at = int(cut.upper[group, pair[0]])
    return at if at >= 0 and cut.between[at] == pair else -1


def _wald(estimates: Floats, covariance: Floats) -> Joint:
    information = inverse(covariance)
    df = round(float(np.trace(information @ covariance)))
    if df < 1:
        return Joint(np.nan, 0, np.nan, np.nan)
    statistic = float(estimates @ information @ estimates)
    return Joint(statistic, df, float(chi2.sf(statistic, df)), 1.0)


def _out(rows: Floats, tau: Floats, covariance: Floats) -> pd.DataFrame:
    variance = np.einsum("ka,ab,kb->k", rows, covariance, rows)
    return pd.DataFrame({"estimate": rows @ tau, "se": np.sqrt(np.where(variance > 0, variance, np.nan))})
