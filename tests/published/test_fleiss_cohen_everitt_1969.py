"""Fleiss, Cohen & Everitt (1969): large-sample variances [fleiss_cohen_everitt_1969].

The printed figures are from memory; the table was read in two reprints.
"""

import numpy as np
import pytest

from mentorstats.agreement import coefficients, precision

ROUNDED_WEIGHTS = 5e-4  # the printed weights .4444 and .6667 stand for 4/9 and 2/3


def test_kappa_and_its_variance(block, from_table):
    example = block("KAP-02")
    ratings = from_table(example["data"]["table"])
    found = coefficients(ratings, unit="unit", rater="rater", level="level", levels=[0, 1, 2]).loc[
        "cohen_kappa"
    ]
    assert found.value == pytest.approx(example["expected"]["kappa"], abs=5e-4)
    assert found.se**2 == pytest.approx(example["expected"]["var_kappa"], abs=5e-7)


def test_weighted_kappa_and_its_variance(block, from_table):
    example = block("KAP-02")
    found = coefficients(
        from_table(example["data"]["table"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=[0, 1, 2],
        weights=example["data"]["agreement_weights"],
    ).loc["cohen_kappa"]
    assert found.value == pytest.approx(example["expected"]["weighted_kappa"], abs=ROUNDED_WEIGHTS)
    assert found.se**2 == pytest.approx(example["expected"]["weighted_var"], abs=5e-7)


def test_a_plan_without_clusters_has_the_printed_variance(block):
    """As many pairs as the published table holds, with its shares: the variance that it prints."""
    example = block("KAP-02")
    table = np.asarray(example["data"]["table"], dtype=float)
    n, kappa = int(table.sum()), example["expected"]["kappa"]
    planned = precision(n, kappa=kappa, margins=table / n).iloc[0]
    assert planned.se**2 == pytest.approx(example["expected"]["var_kappa"], abs=5e-7)
