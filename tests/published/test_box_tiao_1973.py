"""Box and Tiao (1973), generated yields of six batches: the variance between batches is exactly zero."""

import pandas as pd
import pytest

from mentorstats.estimate import Status
from mentorstats.mixed import fit

RELATIVE = 1e-6  # seven printed digits
CRITERION = 1e-4  # four printed decimals


@pytest.mark.parametrize("method", ["REML", "ML"])
def test_zero_is_reported_as_zero_and_said_to_be_at_the_edge(block, method):
    example = block("LMM-02")
    expected = example["expected"][method]
    data = pd.DataFrame({name: example["data"][name] for name in ("batch", "yield")})
    found = fit(data, response="yield", grouped="batch", method=method.lower())
    batch = found.components.loc["batch"]
    assert batch.variance == batch.sd == batch.low == expected["batch"] == 0.0
    assert batch.status == Status.BOUNDARY
    assert batch.status_note in found.notes
    assert found.status is Status.OK
    assert found.components.variance["residual"] == pytest.approx(expected["residual"], rel=RELATIVE)
    assert found.coefficients.se["intercept"] == pytest.approx(expected["se"], rel=RELATIVE)
    criterion = expected["REMLcrit" if method == "REML" else "minus2loglik"]
    assert -2 * found.log_likelihood == pytest.approx(criterion, abs=CRITERION)
    assert found.effects("batch").effect.eq(0).all()
