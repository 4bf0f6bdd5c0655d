"""Belenky et al. (2003), reaction times of 18 persons over ten days [bates_2015]."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.mixed import by, fit

VARIANCE = 3e-4  # relative: the printed values are those of another optimiser
CORRELATION = 5e-4
FIXED = 5e-4  # three printed decimals
CRITERION = 5e-4
LIMIT = 1e-3  # relative: the reference reads its limits off splines


def fitted(example, method, *, correlated=True):
    subjects = example["data"]["subjects"]
    frame = pd.DataFrame({"subject": np.repeat(subjects, 10), "day": np.tile(np.arange(10), len(subjects))})
    frame["reaction"] = example["data"]["Reaction"]
    grouped = by("subject", slope="day", correlated=correlated)
    return fit(frame, response="reaction", fixed="day", grouped=grouped, method=method)


@pytest.mark.parametrize("method", ["REML", "ML"])
def test_estimates(block, method):
    example = block("LMM-05")
    expected = example["expected"][method]
    found = fitted(example, method.lower())
    variance = found.components.variance
    assert variance["subject"] == pytest.approx(expected["var_int"], rel=VARIANCE)
    assert variance["subject: day"] == pytest.approx(expected["var_slope"], rel=VARIANCE)
    assert variance["residual"] == pytest.approx(expected["residual"], rel=VARIANCE)
    assert found.correlations.correlation.item() == pytest.approx(expected["corr"], abs=CORRELATION)
    assert found.coefficients.se["intercept"] == pytest.approx(expected["se0"], abs=FIXED)
    assert found.coefficients.se["day"] == pytest.approx(expected["se1"], abs=FIXED)
    criterion = expected["REMLcrit" if method == "REML" else "minus2loglik"]
    assert -2 * found.log_likelihood == pytest.approx(criterion, abs=CRITERION)
    if method == "REML":
        assert found.coefficients.estimate["intercept"] == pytest.approx(expected["b0"], abs=FIXED)
        assert found.coefficients.estimate["day"] == pytest.approx(expected["b1"], abs=FIXED)


def test_uncorrelated(block):
    example = block("LMM-05")
    expected = example["expected"]["REML_uncorrelated"]
    found = fitted(example, "reml", correlated=False)
    variance = found.components.variance
    assert variance["subject"] == pytest.approx(expected["var_int"], rel=VARIANCE)
    assert variance["subject: day"] == pytest.approx(expected["var_slope"], rel=VARIANCE)
    assert variance["residual"] == pytest.approx(expected["residual"], rel=VARIANCE)
    assert found.correlations.empty


def test_profile_limits(block):
    example = block("LMM-05")
    expected = example["expected"]["profile_ci95_ML"]
    found = fitted(example, "ml")
    rows = {"sd_int": "subject", "sd_slope": "subject: day", "sigma": "residual"}
    for key, name in rows.items():
        limits = np.sqrt(found.components.loc[name, ["low", "high"]].to_numpy(dtype=float))
        assert limits == pytest.approx(expected[key], rel=LIMIT), key
    correlation = found.correlations.iloc[0]
    assert [correlation.low, correlation.high] == pytest.approx(expected["corr"], rel=LIMIT)
