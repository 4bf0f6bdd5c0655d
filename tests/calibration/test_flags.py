"""Marks against the procedure written out, chance marks against simulation, ranks against the definition."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from mentorstats import policy
from mentorstats.calibration import expected_by_chance, mark
from mentorstats.calibration.flags import ranks
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status

DRAWS, SEED = 20_000, 5
# P-values of the example of [benjamini_hochberg_1995], section 4.1; from memory.
PUBLISHED = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344]
PUBLISHED += [0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000]


def raters(z, se, role="supervisor", scale=0.5):
    """A table of contrasts with a level scale that bends a little."""
    z, se = np.asarray(z, dtype=float), np.broadcast_to(np.asarray(se, dtype=float), np.shape(z))
    half = norm.ppf(0.975) * se
    ends = {"_low": z * se - half, "": z * se, "_high": z * se + half}
    level = {f"contrast_level{end}": 2 * np.tanh(scale * at / 2) for end, at in ends.items()}
    return pd.DataFrame(
        {
            "rater": [f"{role[0]}{i:02}" for i in range(len(z))],
            "rater_role": role,
            **{f"contrast{end}": at for end, at in ends.items()},
            "contrast_se": se,
            "p": 2 * norm.sf(np.abs(z)),
            "confidence": 0.95,
            "status": "ok",
            **level,
        }
    )


def test_the_published_example_has_four_discoveries() -> None:
    table = raters(norm.isf(np.array(PUBLISHED) / 2), 1.0)
    found = mark(table, q=0.05, smallest=0.0)
    assert found["marked"].tolist() == [True] * 4 + [False] * 11
    assert found["p_adjusted"].iloc[3] == pytest.approx(15 * 0.0095 / 4)


def test_the_whole_interval_has_to_lie_beyond_the_smallest_effect() -> None:
    table = raters([5.0, -5.0, 0.0, 0.3], 0.2)
    nearest = table["contrast_level_low"].iloc[0]
    assert mark(table, q=0.05, smallest=nearest - 1e-6)["marked"].tolist() == [True, True, False, False]
    assert not mark(table, q=0.05, smallest=nearest)["marked"].any()
    on_contrast = mark(table, q=0.05, smallest=0.5, scale="contrast")
    assert on_contrast["marked"].tolist() == [True, True, False, False]


def test_roles_are_families_of_their_own() -> None:
    one, other = raters([2.5, 0.1, 0.2, 0.3], 0.2), raters(np.zeros(200), 0.2, role="mentor")
    both = mark(pd.concat([one, other], ignore_index=True), q=0.05, smallest=0.0)
    assert both["marked"].iloc[0]
    pooled = mark(pd.concat([one, other.assign(rater_role="supervisor")]), q=0.05, smallest=0.0)
    assert not pooled["marked"].any()


def test_no_call_without_value_by_assumption_or_where_assignment_is_not_ignorable() -> None:
    table = raters([6.0] * 4, 0.2)
    table.loc[0, "status"] = Status.NOT_IDENTIFIED.value
    table.loc[0, ["contrast", "p"]] = np.nan
    table.loc[1, "status"] = Status.BY_ASSUMPTION.value
    found = mark(table, q=0.05, smallest=0.1)
    assert found["call_status"].tolist() == ["not_identified", "by_assumption", "ok", "ok"]
    assert found["marked"].isna().tolist() == [True, True, False, False]
    assert found["rank_low"].isna().tolist() == [True, True, False, False]
    allowed = mark(table, q=0.05, smallest=0.1, by_assumption=True)
    assert allowed["marked"].isna().tolist() == [True, False, False, False]
    withheld = mark(table, q=0.05, smallest=0.1, not_ignorable=["supervisor"])
    assert withheld["marked"].isna().all()
    assert set(withheld["call_status"]) == {"not_identified", "assignment_not_ignorable"}
    assert expected_by_chance(table, q=0.05, smallest=0.1, not_ignorable=["supervisor"]).empty
    assert expected_by_chance(table, q=0.05, smallest=0.1).loc["supervisor", "n_raters"] == 2


def test_ranks_are_what_joint_intervals_leave_open() -> None:
    table = raters([-40.0, 0.0, 1.0, 40.0, 44.0], 1.0)
    found = mark(table, q=0.05, smallest=0.1)
    assert found["rank_low"].tolist() == [1, 2, 2, 4, 4]
    assert found["rank_high"].tolist() == [1, 3, 3, 5, 5]
    half = norm.isf((1 - 0.95 ** (1 / 5)) / 2)
    apart = raters([-40.0, 0.0, 2 * half + 0.01, 40.0, 80.0], 1.0)
    assert mark(apart, q=0.05, smallest=0.1)["rank_high"].tolist() == [1, 2, 3, 4, 5]


def test_joint_ranks_cover() -> None:
    rng = np.random.default_rng(SEED)
    true = np.sort(rng.normal(0, 2, 10))
    place, inside = np.arange(1, 11), 0
    for _ in range(DRAWS // 10):
        low, high = ranks(pd.Series(true + rng.normal(size=10)), pd.Series(np.ones(10)), 0.95)
        inside += bool(((low <= place) & (place <= high)).all())
    assert inside / (DRAWS // 10) >= 0.95 - 2 * np.sqrt(0.05 * 0.95 / (DRAWS // 10))


@pytest.mark.parametrize("smallest", [0.0, 0.15, 0.3])
def test_chance_marks_are_those_of_a_simulation(smallest) -> None:
    se = np.linspace(0.05, 0.6, 12)
    told = expected_by_chance(raters(np.zeros(12), se), q=0.2, smallest=smallest)
    rng = np.random.default_rng(SEED)
    z = rng.normal(size=(DRAWS, 12))
    p, at = 2 * norm.sf(np.abs(z)), z * se
    ordered = np.sort(p, axis=1)
    passed = (ordered <= 0.2 * np.arange(1, 13) / 12) * np.arange(1, 13)
    rejected = p <= 0.2 * passed.max(axis=1, keepdims=True) / 12
    ends = 2 * np.tanh(0.25 * (at[..., None] + norm.ppf(0.975) * se[:, None] * np.array([-1, 1])))
    marks = (rejected & ((ends[..., 0] > smallest) | (ends[..., 1] < -smallest))).sum(axis=1)
    error = marks.std() / np.sqrt(DRAWS)
    assert told.loc["supervisor", "marks_by_chance"] == pytest.approx(marks.mean(), abs=3 * error)


def test_a_smallest_effect_only_takes_marks_away() -> None:
    table = raters(np.zeros(500), 0.3)
    chance = [
        expected_by_chance(table, q=0.05, smallest=size)["marks_by_chance"].iloc[0]
        for size in (0.0, 0.1, 0.4, 3.0)
    ]
    assert chance == sorted(chance, reverse=True)
    assert 0.05 <= chance[0] < 0.06  # q, and a little more for programmes with several
    assert chance[3] == pytest.approx(0.0, abs=1e-9)  # beyond what the level scale reaches


def test_an_empty_table_and_bad_input() -> None:
    table = raters([1.0, 2.0], 0.2)
    assert mark(table.iloc[:0], q=0.05, smallest=0.1)["marked"].tolist() == []
    assert expected_by_chance(table.iloc[:0], q=0.05, smallest=0.1).empty
    with pytest.raises(ColumnError, match="contrast_se"):
        mark(table.drop(columns="contrast_se"), q=0.05, smallest=0.1)
    for q in (0.0, 1.0, np.nan):
        with pytest.raises(ArgumentError, match="q ="):
            mark(table, q=q, smallest=0.1)
    with pytest.raises(ArgumentError, match="smallest"):
        expected_by_chance(table, q=0.05, smallest=-0.1)


def test_the_shipped_policy_holds_both_rules() -> None:
    shipped = policy.read()
    assert 0 < shipped.value("calls_q") < 1
    assert shipped.rule("smallest_effect_level").unit == "levels"
