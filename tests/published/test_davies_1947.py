"""Davies (1947), five yields of each of six batches of dyestuff: one random factor, balanced."""

import pandas as pd
import pytest

from mentorstats.mixed import fit

VARIANCE = 1e-4  # relative: the printed values are those of another optimiser
THIRD_DIGIT = 5e-4
FOURTH_DIGIT = 5e-5


def fitted(example, method):
    data = pd.DataFrame({name: example["data"][name] for name in ("batch", "yield")})
    return fit(data, response="yield", grouped="batch", method=method)


def test_restricted(block):
    example = block("LMM-01")
    expected = example["expected"]["REML"]
    found = fitted(example, "reml")
    components, intercept = found.components, found.coefficients.loc["intercept"]
    assert components.variance["batch"] == pytest.approx(expected["batch"], rel=VARIANCE)
    assert components.sd["batch"] == pytest.approx(expected["batch_sd"], abs=2 * THIRD_DIGIT)
    assert components.variance["residual"] == pytest.approx(expected["residual"], rel=VARIANCE)
    assert components.sd["residual"] == pytest.approx(expected["residual_sd"], abs=5e-3)
    assert intercept.estimate == pytest.approx(expected["intercept"], abs=FOURTH_DIGIT)
    assert intercept.se == pytest.approx(expected["se"], abs=THIRD_DIGIT)
    assert intercept.df == pytest.approx(5, rel=VARIANCE)
    assert -2 * found.log_likelihood == pytest.approx(expected["REMLcrit"], abs=FOURTH_DIGIT)


def test_full(block):
    example = block("LMM-01")
    expected = example["expected"]["ML"]
    found = fitted(example, "ml")
    assert found.components.variance["batch"] == pytest.approx(expected["batch"], rel=VARIANCE)
    assert found.components.variance["residual"] == pytest.approx(expected["residual"], rel=VARIANCE)
    assert found.coefficients.se["intercept"] == pytest.approx(expected["se"], rel=VARIANCE)
    criterion = -2 * found.log_likelihood
    assert criterion == pytest.approx(expected["minus2loglik"], abs=FOURTH_DIGIT)
    assert criterion + 2 * found.n_parameters == pytest.approx(expected["AIC"], abs=FOURTH_DIGIT)
