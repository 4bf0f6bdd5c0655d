"""Eliasziw et al. (1994), two goniometers read three times on 29 knees [eliasziw_1994]; values computed in R.

Several readings by one rater are not the agreement functions' case; the components answer it.
"""

import numpy as np
import pandas as pd
import pytest

from mentorstats.mixed import by, fit

SIX_DIGITS = 1e-5  # relative: the optimiser stops where the criterion no longer changes


def test_inter_and_intra_rater_reliability(block):
    example = block("ICC-05")
    columns = np.array(example["data"]["data_by_column"], dtype=float)
    readings = pd.DataFrame(
        {
            "knee": np.tile(np.arange(29), 6).astype(str),
            "instrument": np.repeat(["universal", "lamoreux"], 3 * 29),
            "angle": columns.ravel(),
        }
    )
    made = fit(
        readings,
        response="angle",
        grouped=("knee", "instrument", by("knee", "instrument")),
        degrees="none",
    )
    knee, instrument, both, residual = made.components["variance"]
    total = knee + instrument + both + residual
    expected = example["expected"]
    assert knee / total == pytest.approx(expected["rho_inter_random"], rel=SIX_DIGITS)
    assert (total - residual) / total == pytest.approx(expected["rho_intra_random"], rel=SIX_DIGITS)
    assert np.sqrt(residual) == pytest.approx(expected["SEM_intra"], rel=SIX_DIGITS)
    assert np.sqrt(total - knee) == pytest.approx(expected["SEM_inter_random"], rel=1e-4)
