"""Coverage of the intervals of icc_incomplete, against the committed table of 1,000 data sets a cell."""

import pandas as pd
import pytest
from icc_simulation import CELLS, COEFFICIENTS, DATA_SETS, SUBSET, TABLE, run

LEAST, MOST = 0.93, 0.99  # nominal .95; where the unit variance is near zero its edge makes it cover more


def stored():
    return pd.read_csv(TABLE)


def test_intervals_cover():
    table = stored()
    share = table["covered"] / table["intervals"]
    assert len(table) == len(CELLS) * len(COEFFICIENTS)
    assert (table["intervals"] == DATA_SETS).all()
    assert share.between(LEAST, MOST).all()
    assert (table["sem_covered"] / table["intervals"]).between(LEAST, MOST).all()


@pytest.mark.parametrize("number", [1, 8])
def test_the_first_data_sets_give_the_stored_counts(number):
    rows = stored()["subset"].to_numpy().reshape(len(CELLS), len(COEFFICIENTS))
    assert run(CELLS[number], SUBSET)[:, 1].tolist() == rows[number].tolist()


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(CELLS)))
def test_all_data_sets_give_the_stored_counts(number):
    rows = stored()["covered"].to_numpy().reshape(len(CELLS), len(COEFFICIENTS))
    assert run(CELLS[number], DATA_SETS)[:, 1].tolist() == rows[number].tolist()
