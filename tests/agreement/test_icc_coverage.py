"""Coverage of the intervals of icc_incomplete with known variances."""

import pytest
from icc_simulation import CELLS, DATA_SETS, run

LEAST, MOST = 0.93, 0.99  # nominal .95; where the unit variance is near zero its edge makes it cover more
FEW, LEAST_OF_FEW = 60, 0.87  # nominal less three standard errors


@pytest.mark.parametrize("number", [1, 7])
def test_intervals_cover_in_a_few_data_sets(number):
    counts = run(CELLS[number], FEW)
    assert (counts[:, 0] == FEW).all()
    assert (counts[:, 1] >= LEAST_OF_FEW * FEW).all()


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(CELLS)))
def test_intervals_cover(number):
    counts = run(CELLS[number], DATA_SETS)
    share = counts[:, 1] / counts[:, 0]
    assert ((share >= LEAST) & (share <= MOST)).all()
