"""Coverage of intervals and level of tests, against the committed table of 20 situations (recovery.py)."""

import csv

import pytest
from recovery import CELLS, DATA_SETS, SUBSET, TABLE, run

LEAST, MOST = 0.93, 0.97
CHOSEN = [0, 6, 9, 13]  # cells run again every time


def stored():
    found = {}
    with TABLE.open(encoding="utf-8", newline="") as handle:
        for *cell, quantity, count, hits, first in csv.reader(handle):
            place = next(i for i, each in enumerate(CELLS) if [str(x) for x in vars(each).values()] == cell)
            found[place, quantity] = (int(count), float(hits), float(first))
    return found


def shares(kind, *quantities):
    return {
        key: hits / count
        for key, (count, hits, _) in stored().items()
        if CELLS[key[0]].kind == kind and key[1] in quantities
    }


@pytest.mark.parametrize("number", CHOSEN)
def test_the_first_data_sets_give_the_stored_hits(number):
    again = run(CELLS[number], SUBSET)
    for (place, quantity), (_, _, first) in stored().items():
        if place == number:
            assert again.get(quantity, (0, 0.0))[1] == pytest.approx(first, abs=1e-6), quantity


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(CELLS)))
def test_all_data_sets_give_the_stored_hits(number):
    again = run(CELLS[number], DATA_SETS[CELLS[number].kind])
    for (place, quantity), (count, hits, _) in stored().items():
        if place == number:
            assert again[quantity] == (count, pytest.approx(hits, abs=1e-5))
