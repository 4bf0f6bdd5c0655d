"""The information of variances against dense matrices, and the polished optimum."""

import numpy as np
import pytest

from mentorstats.agreement.scores import variance_draws
from mentorstats.agreement.scores.variance_draws import Design


def indicators(codes):
    return np.eye(codes.max() + 1)[codes]


def dense(design, variances):
    """P and the V_i, written out."""
    n = len(design.unit)
    groupings = [indicators(codes) for codes in (design.unit, *design.others)]
    parts = [*(z @ z.T for z in groupings), np.eye(n)]
    inverse = np.linalg.inv(sum(v * part for v, part in zip(variances, parts, strict=True)))
    fixed = np.ones((n, 1)) if design.fixed is None else indicators(design.fixed)
    hat = inverse @ fixed
    return inverse - hat @ np.linalg.pinv(fixed.T @ hat) @ hat.T, parts


def incomplete():
    generator = np.random.default_rng(0)
    unit, rater = np.nonzero(generator.random((30, 6)) < 0.6)
    return np.unique(unit, return_inverse=True)[1], rater


def designs():
    unit, rater = incomplete()
    return [
        (Design(unit, (rater,)), (1, 0.5, 0.8)),
        (Design(unit, (unit // 3, rater)), (1, 4.0, 0.5, 0.8)),
        (Design(unit, (unit // 3, unit % 4, rater)), (1, 4.0, 2.0, 0.5, 0.8)),
        (Design(unit, (), rater), (1, 0.8)),
        (Design(unit, (unit // 3,), rater), (1, 4.0, 0.8)),
    ]


@pytest.mark.parametrize(("design", "variances"), designs())
@pytest.mark.parametrize("zero", [None, 0, 1])
def test_information_is_that_of_dense_matrices(design, variances, zero):
    at = np.array(variances, dtype=float)
    if zero is not None and zero < len(at) - 1:
        at[zero] = 0
    projector, parts = dense(design, at)
    wanted = [[np.trace(projector @ a @ projector @ b) / 2 for b in parts] for a in parts]
    assert variance_draws.information(design, at) == pytest.approx(np.array(wanted), rel=1e-10)


@pytest.mark.parametrize(("design", "variances"), designs())
def test_polished_estimates_have_no_slope_left(design, variances):
    generator = np.random.default_rng(1)
    score = sum(
        np.sqrt(v) * generator.normal(size=codes.max() + 1)[codes]
        for v, codes in zip(variances, (design.unit, *design.others), strict=False)
    ) + generator.normal(size=len(design.unit))
    at = np.array(variances, dtype=float)
    for _ in range(20):
        at = variance_draws.polished(design, at, score)
    projector, parts = dense(design, at)
    py = projector @ score
    slopes = [np.trace(projector @ part) - py @ part @ py for part in parts]
    assert (at > 0).all()
    assert slopes == pytest.approx(np.zeros(len(parts)), abs=1e-8)


def test_complete_data_have_the_degrees_of_freedom_of_mean_squares():
    """Ten units by four raters: 27 for the residual, 9 for units, 3 for raters."""
    design = Design(np.repeat(np.arange(10), 4), (np.tile(np.arange(4), 10),))
    variances = np.array([1.0, 0.5, 0.8])
    draws = variance_draws.draws(design, variances, 200_000, np.random.default_rng(2))
    residual = 0.8 * 27 / draws[:, 2]
    units = (1 + 0.8 / 4) * 9 / (draws[:, 0] + draws[:, 2] / 4)[draws[:, 0] > 0]
    assert residual.mean() == pytest.approx(27, rel=0.01)
    assert residual.var() == pytest.approx(54, rel=0.02)
    assert units.mean() == pytest.approx(9, rel=0.02)
    assert (draws >= 0).all()
