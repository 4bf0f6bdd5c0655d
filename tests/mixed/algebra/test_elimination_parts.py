"""Networks without a link between them: the same numbers as by dense arithmetic."""

import numpy as np
import pandas as pd
import pytest
from engine import linear

from mentorstats.mixed.algebra import blocks
from mentorstats.mixed.algebra.elimination import Elimination
from mentorstats.mixed.design.terms import by

CLOSE = 1e-9


def unlinked(networks, left, right, rows, seed=1):
    """Crossed designs, each with members of its own, rows in random order."""
    rng = np.random.default_rng(seed)
    network = rng.permutation(np.repeat(np.arange(networks), rows))
    frame = pd.DataFrame(
        {
            "a": network * left + rng.integers(0, left, len(network)),
            "b": network * right + rng.integers(0, right, len(network)),
            "x": rng.normal(size=len(network)),
        }
    )
    effects = rng.normal(size=networks * left)[frame["a"]] + rng.normal(size=networks * right)[frame["b"]]
    return frame.assign(y=effects + 0.5 * frame["x"] + rng.normal(size=len(network)))


def dense(problem, theta):
    """Restricted criterion from the covariance matrix of Λ'Z'y, all of it written out."""
    factors = problem.triangles.unpack(theta)
    entries = problem.matrix(factors)
    full = np.zeros((problem.triangles.n,) * 2)
    full[problem.blocks.rows, problem.blocks.cols] = entries
    full[problem.blocks.cols, problem.blocks.rows] = entries
    inverse = np.linalg.inv(full)
    cross = problem.triangles.spread(factors, problem.products.random_fixed, transposed=True)
    left = problem.products.fixed - cross.T @ inverse @ cross
    p = problem.p
    residual = left[p, p] - left[p, :p] @ np.linalg.solve(left[:p, :p], left[:p, p])
    logs = np.linalg.slogdet(full)[1] + np.linalg.slogdet(left[:p, :p])[1]
    freedom = problem.freedom
    value = logs + freedom * (1 + np.log(2 * np.pi * residual / freedom) + 2 * problem.log_scale)
    return value, inverse, cross


@pytest.fixture(params=["each on its own", "in groups", "small together", "some of each"])
def divided(request, monkeypatch):
    limits = {
        "each on its own": (1, 0, 1),
        "in groups": (1000, 30, 40),
        "small together": (1000, 1000, 1000),
        "some of each": (20, 0, 1),
    }
    for name, limit in zip(("_LARGE", "_TAIL", "_GROUP"), limits[request.param], strict=True):
        monkeypatch.setattr(blocks, name, limit)
    return request.param


@pytest.mark.parametrize("slope", [(), "x"])
def test_three_unlinked_networks_agree_with_dense_arithmetic(divided, slope):
    small = unlinked(1, 8, 6, 60)
    small[["a", "b"]] += 1000
    frame = pd.concat([unlinked(2, 30, 25, 200), small], ignore_index=True)
    engine, _ = linear(frame, "y", ["x"], [by("a", slope=slope), by("b")])
    problem, factor = engine.problem, engine.solution.factor
    assert isinstance(factor, blocks.PartsFactor) == (divided != "small together")
    value, inverse, cross = dense(problem, engine.solution.theta)
    assert engine.solution.criterion == pytest.approx(value, abs=1e-7)
    rows, cols = problem.blocks.rows, problem.blocks.cols
    np.testing.assert_allclose(factor.inverse(), inverse[rows, cols], atol=CLOSE)
    np.testing.assert_allclose(factor.inverse_diagonal(), np.diagonal(inverse), atol=CLOSE)
    np.testing.assert_allclose(factor.solve(cross), inverse @ cross, atol=CLOSE)
    half = factor.half(cross)
    np.testing.assert_allclose(half.T @ half, cross.T @ inverse @ cross, atol=CLOSE * len(frame))


def test_divided_or_not_gives_the_same_fit(monkeypatch):
    frame = unlinked(3, 40, 30, 300)
    together, _ = linear(frame, "y", ["x"], [by("a"), by("b")])
    assert not isinstance(together.solution.factor, blocks.PartsFactor)
    monkeypatch.setattr(blocks, "_LARGE", 1)
    divided, _ = linear(frame, "y", ["x"], [by("a"), by("b")])
    assert len(divided.solution.factor.factors) == 3
    assert divided.log_likelihood == pytest.approx(together.log_likelihood, abs=1e-7)
    for t in (0, 1):
        for ours, theirs in zip(divided.joint.effects(t), together.joint.effects(t), strict=True):
            np.testing.assert_allclose(ours, theirs, atol=1e-6)


def test_back_turns_unit_noise_into_noise_of_covariance_inverse(monkeypatch):
    monkeypatch.setattr(blocks, "_LARGE", 1)
    engine, _ = linear(unlinked(3, 12, 9, 80), "y", [], [by("a"), by("b")])
    factor = engine.solution.factor
    n = engine.triangles.n
    turned = factor.back(np.eye(n))
    np.testing.assert_allclose(turned @ turned.T, factor.solve(np.eye(n)), atol=CLOSE)


def test_one_factor_or_one_network_is_not_divided():
    for grouped in ([by("a")], [by("a"), by("b")]):
        engine, _ = linear(unlinked(1, 12, 9, 80), "y", [], grouped)
        assert isinstance(engine.problem.blocks.elimination, Elimination)
