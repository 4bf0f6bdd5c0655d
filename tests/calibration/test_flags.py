"""Flags against the procedure written out, and those expected by chance against simulation."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from mentorstats import policy
from mentorstats.calibration import expected_by_chance, flag
from mentorstats.calibration.flags import Enough
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
    found = flag(table, q=0.05, smallest=0.0)
    assert found["flagged"].tolist() == [True] * 4 + [False] * 11
    assert found["p_adjusted"].iloc[3] == pytest.approx(15 * 0.0095 / 4)


def test_the_whole_interval_has_to_lie_beyond_the_smallest_effect() -> None:
    table = raters([5.0, -5.0, 0.0, 0.3], 0.2)
    nearest = table["contrast_level_low"].iloc[0]
    assert flag(table, q=0.05, smallest=nearest - 1e-6)["flagged"].tolist() == [True, True, False, False]
    assert not flag(table, q=0.05, smallest=nearest)["flagged"].any()
    on_contrast = flag(table, q=0.05, smallest=0.5, scale="contrast")
    assert on_contrast["flagged"].tolist() == [True, True, False, False]


def test_roles_are_families_of_their_own() -> None:
    one, other = raters([2.5, 0.1, 0.2, 0.3], 0.2), raters(np.zeros(200), 0.2, role="mentor")
    both = flag(pd.concat([one, other], ignore_index=True), q=0.05, smallest=0.0)
    assert both["flagged"].iloc[0]
    pooled = flag(pd.concat([one, other.assign(rater_role="supervisor")]), q=0.05, smallest=0.0)
    assert not pooled["flagged"].any()


def test_no_call_without_value_by_assumption_or_where_assignment_is_not_ignorable() -> None:
    table = raters([6.0] * 4, 0.2)
    table.loc[0, "status"] = Status.NOT_IDENTIFIED.value
    table.loc[0, ["contrast", "p"]] = np.nan
    table.loc[1, "status"] = Status.BY_ASSUMPTION.value
    found = flag(table, q=0.05, smallest=0.1)
    assert found["flag_status"].tolist() == ["not_identified", "by_assumption", "ok", "ok"]
    assert found["flagged"].isna().tolist() == [True, True, False, False]
    allowed = flag(table, q=0.05, smallest=0.1, by_assumption=True)
    assert allowed["flagged"].isna().tolist() == [True, False, False, False]
    withheld = flag(table, q=0.05, smallest=0.1, not_ignorable=["supervisor"])
    assert withheld["flagged"].isna().all()
    assert set(withheld["flag_status"]) == {"not_identified", "assignment_not_ignorable"}
    assert expected_by_chance(table, q=0.05, smallest=0.1, not_ignorable=["supervisor"]).empty
    assert expected_by_chance(table, q=0.05, smallest=0.1).loc["supervisor", "n_raters"] == 2


def test_few_candidates_or_lessons_are_not_assessed_and_make_no_family_larger() -> None:
    table = raters([9.0, 9.0, 9.0, 0.0], 0.2).assign(n_candidates=[2, 3, 3, 9], n_lessons=[9, 5, 6, 9])
    rules = policy.read()
    enough = Enough(rules.rule("flag_candidates"), rules.rule("flag_lessons"))
    found = flag(table, q=0.05, smallest=0.1, enough=enough)
    assert found["flag_status"].tolist() == ["too_few_to_assess", "too_few_to_assess", "ok", "ok"]
    assert found["flagged"].isna().tolist() == [True, True, False, False]
    assert found["flagged"].tolist()[2:] == [True, False]
    chance = expected_by_chance(table, q=0.05, smallest=0.1, enough=enough)
    assert chance.loc["supervisor", "n_raters"] == 2


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
    assert told.loc["supervisor", "flagged_by_chance"] == pytest.approx(marks.mean(), abs=3 * error)


def test_a_smallest_effect_only_takes_marks_away() -> None:
    table = raters(np.zeros(500), 0.3)
    chance = [
        expected_by_chance(table, q=0.05, smallest=size)["flagged_by_chance"].iloc[0]
        for size in (0.0, 0.1, 0.4, 3.0)
    ]
    assert chance == sorted(chance, reverse=True)
    assert 0.05 <= chance[0] < 0.06  # q, and a little more for programmes with several
    assert chance[3] == pytest.approx(0.0, abs=1e-9)  # beyond what the level scale reaches


def test_an_empty_table_and_bad_input() -> None:
    table = raters([1.0, 2.0], 0.2)
    assert flag(table.iloc[:0], q=0.05, smallest=0.1)["flagged"].tolist() == []
    assert expected_by_chance(table.iloc[:0], q=0.05, smallest=0.1).empty
    with pytest.raises(ColumnError, match="contrast_se"):
        flag(table.drop(columns="contrast_se"), q=0.05, smallest=0.1)
    for q in (0.0, 1.0, np.nan):
        with pytest.raises(ArgumentError, match=r"q (=|is)"):
            flag(table, q=q, smallest=0.1)
    with pytest.raises(ArgumentError, match="smallest"):
        expected_by_chance(table, q=0.05, smallest=-0.1)


def test_the_shipped_policy_holds_both_rules() -> None:
    shipped = policy.read()
    assert 0 < shipped.value("flag_q") < 1
    assert shipped.rule("smallest_effect_level").unit == "levels"
