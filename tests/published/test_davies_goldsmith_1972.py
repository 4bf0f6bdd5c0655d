"""Davies and Goldsmith (1972), penicillin: six samples on each of 24 plates, as targets by raters."""

import pandas as pd
import pytest

from mentorstats.mixed import fit

THIRD_DIGIT = 5e-4
FOURTH_DIGIT = 6e-5  # half of the digit, and the optimiser's own error
RELATIVE = 1e-4


def fitted(example, method):
    data = example["data"]
    frame = pd.DataFrame({name: list(data[name]) for name in ("plate", "sample")})
    frame["diameter"] = data["diameter"]
    return fit(frame, response="diameter", grouped=["plate", "sample"], method=method)


def test_restricted(block):
    example = block("LMM-03")
    expected = example["expected"]["REML"]
    found = fitted(example, "reml")
    for name in ("plate", "sample", "residual"):
        row = found.components.loc[name]
        assert row.variance == pytest.approx(expected[name], rel=RELATIVE), name
        assert row.sd == pytest.approx(expected[f"{name}_sd"], abs=FOURTH_DIGIT), name
        assert row.low < row.variance < row.high, name
    intercept = found.coefficients.loc["intercept"]
    assert intercept.estimate == pytest.approx(expected["intercept"], abs=5e-6)
    assert intercept.se == pytest.approx(expected["se"], abs=FOURTH_DIGIT)
    assert -2 * found.log_likelihood == pytest.approx(expected["REMLcrit"], abs=FOURTH_DIGIT)


def test_full(block):
    example = block("LMM-03")
    expected = example["expected"]["ML"]
    found = fitted(example, "ml")
    for name in ("plate", "sample", "residual"):
        assert found.components.sd[name] == pytest.approx(expected[f"{name}_sd"], rel=RELATIVE), name
    assert found.coefficients.se["intercept"] == pytest.approx(expected["se"], rel=RELATIVE)
    assert -2 * found.log_likelihood == pytest.approx(expected["minus2loglik"], abs=FOURTH_DIGIT)
