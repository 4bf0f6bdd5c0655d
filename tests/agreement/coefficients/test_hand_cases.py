"""Small cases that were worked by hand, and exact and adjacent agreement of four raters."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import coefficients


def long_of(rows):
    return pd.DataFrame(
        [{"unit": u, "rater": r, "level": v} for u, row in enumerate(rows) for r, v in enumerate(row)]
    )


@pytest.mark.parametrize(
    ("rows", "levels", "alpha"),
    [
        ([[1, 1], [1, 0], [0, 0], [0, 0]], [0, 1], 8 / 15),
        ([["x", "x", "x"], ["y", "y"], ["x", "y"]], ["x", "y"], 0.5),  # catches a missing 1 / (r - 1)
        ([["x", "x", "x"], ["y", "x"]], ["x", "y"], 0.0),
    ],
)
def test_alpha_by_hand(rows, levels, alpha):
    """Worked by hand in a public test suite, the arithmetic done again."""
    found = coefficients(long_of(rows), unit="unit", rater="rater", level="level", levels=levels)
    assert found.value["krippendorff_alpha"] == pytest.approx(alpha, abs=1e-12)


@pytest.mark.parametrize("weights", ["identity", "ordinal", "quadratic", "ratio"])
def test_two_zeros_are_alike_on_the_ratio_scale(weights):
    rows = [[0, 0], [1, 1], [0, 1], [1, 0]]
    found = coefficients(
        long_of(rows), unit="unit", rater="rater", level="level", levels=[0, 1], weights=weights
    )
    assert found.value["krippendorff_alpha"] == pytest.approx(0.125, abs=1e-12)


def test_exact_and_adjacent_over_pairs_of_raters():
    """Twenty videotapes by four raters, six levels: values computed by two libraries."""
    rows = (
        "4434 4445 4455 4444 4324 4434 4325 4434 4334 4334 4434 4334 4444 4444 4434 4444 4444 4444 4444 4554"
    )
    codes = [[int(level) for level in row] for row in rows.split()]
    found = coefficients(long_of(codes), unit="unit", rater="rater", level="level", levels=range(1, 7))
    assert found.value["percent_agreement"] == pytest.approx(0.59167, abs=5e-6)
    assert found.value["percent_adjacent"] == pytest.approx(0.95833, abs=5e-6)


def test_rater_pairs_average_to_conger():
    """Conger's chance agreement is the mean over pairs of raters on complete data."""
    rng = np.random.default_rng(3)
    codes = rng.integers(0, 3, (40, 4))
    whole = coefficients(long_of(codes), unit="unit", rater="rater", level="level", levels=range(3))
    chance = []
    for a in range(4):
        for b in range(a):
            pair = coefficients(
                long_of(codes[:, [a, b]]), unit="unit", rater="rater", level="level", levels=range(3)
            )
            chance.append(pair.p_expected["cohen_kappa"])
    assert whole.p_expected["conger_kappa"] == pytest.approx(np.mean(chance), abs=1e-12)
