"""Published data, one JSON block a worked example, and the shapes they come in."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

BLOCKS = Path(__file__).parent / "blocks"


@pytest.fixture
def block():
    """Data and answers of one worked example; ``origin`` says how far its numbers are published."""

    def read(name):
        return json.loads((BLOCKS / f"{name}.json").read_text(encoding="utf-8"))

    return read


@pytest.fixture
def from_table():
    """Long ratings of two raters from a square table of counts."""

    def expand(table):
        counts = np.asarray(table)
        first, second = np.unravel_index(np.repeat(np.arange(counts.size), counts.ravel()), counts.shape)
        unit = np.arange(len(first))
        return pd.concat(
            [
                pd.DataFrame({"unit": unit, "rater": "one", "level": first}),
                pd.DataFrame({"unit": unit, "rater": "two", "level": second}),
            ],
            ignore_index=True,
        )

    return expand


@pytest.fixture
def from_rows():
    """Long ratings from rows of units by raters, None where there is no rating."""

    def expand(rows):
        return pd.DataFrame(
            [
                {"unit": unit, "rater": rater, "level": level}
                for unit, row in enumerate(rows)
                for rater, level in enumerate(row)
            ]
        )

    return expand


@pytest.fixture
def from_counts():
    """Long ratings from counts of levels, one row a unit; which rater gave which level is free."""

    def expand(counts):
        rows = []
        for unit, of_unit in enumerate(counts):
            given = [level for level, times in enumerate(of_unit) for _ in range(times)]
            rows += [{"unit": unit, "rater": rater, "level": level} for rater, level in enumerate(given)]
        return pd.DataFrame(rows)

    return expand


@pytest.fixture
def from_array():
    """Long scores from an array, one axis a factor, members counted from 0."""

    def expand(array, names):
        values = np.asarray(array)
        places = np.indices(values.shape).reshape(values.ndim, -1)
        return pd.DataFrame(dict(zip(names, places, strict=True))).assign(score=values.ravel())

    return expand
