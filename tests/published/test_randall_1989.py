"""Randall (1989), bitterness of eight bottles of wine rated by nine judges on five levels."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.mixed import fit

FOURTH_DIGIT = 6e-5  # half of the digit, and the optimiser's own error
ERROR = 1e-4  # the reference differentiates numerically
LOG_LIKELIHOOD = 3e-5  # four or five printed decimals
VARIANCE = 5e-5  # relative

MODELS = {
    "clm_fixed_only": {"grouped": ()},
    "clmm_laplace": {"grouped": "judge"},
    "clmm_agq10": {"grouped": "judge", "quadrature_points": 10},
}


def wine(example):
    data = example["data"]
    table = np.array(data["ratings_rows_bottles_cols_judges"])
    bottles, judges = table.shape
    bottle = np.repeat(np.arange(bottles), judges)
    frame = pd.DataFrame({"bottle": bottle, "judge": np.tile(np.arange(judges), bottles)})
    for name in ("temp", "contact"):
        frame[name] = np.array(data[f"bottle_{name}"])[bottle]
    return frame.assign(level=table.ravel())


@pytest.mark.parametrize("model", MODELS)
def test_fit(block, model):
    example = block("ORD-01")
    expected = example["expected"][model]
    found = fit(
        wine(example),
        response="level",
        kind="ordinal",
        levels=[1, 2, 3, 4, 5],
        fixed=["temp", "contact"],
        **MODELS[model],
    )
    for key, term in (("warm", "temp: warm"), ("yes", "contact: yes")):
        row = found.coefficients.loc[term]
        estimate, error = expected[key]
        assert row.estimate == pytest.approx(estimate, abs=FOURTH_DIGIT), term
        assert row.se == pytest.approx(error, abs=ERROR), term
    cuts = found.thresholds
    assert list(cuts.estimate) == pytest.approx(expected["theta"], abs=FOURTH_DIGIT)
    if "theta_se" in expected:
        assert list(cuts.se) == pytest.approx(expected["theta_se"], abs=ERROR)
    assert found.log_likelihood == pytest.approx(expected["logLik"], abs=LOG_LIKELIHOOD)
    if "judge_var" in expected:
        judge = found.components.loc["judge"]
        assert judge.variance == pytest.approx(expected["judge_var"], rel=VARIANCE)
        assert judge.sd == pytest.approx(expected["judge_sd"], rel=VARIANCE)
        aic = -2 * found.log_likelihood + 2 * found.n_parameters
        assert aic == pytest.approx(expected["AIC"], abs=FOURTH_DIGIT)


def test_the_tutorial(block):
    """Two digits as printed there, with the judges' variance 1.29."""
    found = fit(
        wine(block("ORD-01")),
        response="level",
        kind="ordinal",
        levels=[1, 2, 3, 4, 5],
        fixed=["temp", "contact"],
        grouped="judge",
    )
    assert list(found.coefficients.estimate.round(2)) == [3.06, 1.83]
    assert found.components.sd["judge"] == pytest.approx(1.13, abs=5e-3)
    assert list(found.thresholds.estimate.round(2)) == [-1.62, 1.51, 4.23, 6.09]
