"""Stuart (1955), unaided distance vision of 7477 women, right eye against left [stuart_1955]."""

import pytest

from mentorstats.agreement import marginal_homogeneity

PRINTED = 5e-4


def test_vision(block, from_table):
    example = block("MAR-01")
    expected = example["expected"]
    found = marginal_homogeneity(
        from_table(example["data"]["right_by_left"]),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(4),
    )
    for name in ("stuart_maxwell", "bhapkar"):
        assert found.loc[name, "statistic"] == pytest.approx(expected[name], abs=PRINTED)
        assert found.loc[name, "df"] == expected["df"]
