"""Calls on all effects together: what `mark` says of each, families by hand, and who is withheld."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from mentorstats import policy
from mentorstats.calibration import talks
from mentorstats.calibration.flags import expected_by_chance, mark
from mentorstats.errors import ArgumentError, ColumnError


def table(contrasts, se=0.1, level=1.0, role="supervisor"):
    """Rater table with given contrasts, all with one error; the level scale is a multiple of the latent."""
    contrast = np.asarray(contrasts, dtype=float)
    low, high = contrast - 1.96 * se, contrast + 1.96 * se
    return pd.DataFrame(
        {
            "rater": [f"r{i}" for i in range(len(contrast))],
            "rater_role": role,
            "n_candidates": 12,
            "n_lessons": 30,
            "contrast": contrast,
            "contrast_se": se,
            "contrast_low": low,
            "contrast_high": high,
            "contrast_level": level * contrast,
            "contrast_level_low": level * low,
            "contrast_level_high": level * high,
            "p": 2 * norm.sf(np.abs(contrast) / se),
            "confidence": 0.95,
            "status": "ok",
        }
    )


@pytest.fixture
def rules():
    return policy.read()


def test_marks_are_those_of_the_single_effects(rules) -> None:
    severe, halo = table([-1.0, 0.0, 0.05, 0.9]), table([0.0, 0.6, 0.0, 0.0])
    found = talks({"severity": severe, "halo": halo}, rules)
    assert list(found.marks["rater"]) == ["r0", "r1", "r3"]
    assert list(found.marks["about"]) == ["severity", "halo", "severity"]
    assert list(found.marks["words"]) == [
        "rates lower",
        "rates the criteria of a lesson alike",
        "rates higher",
    ]
    q, smallest = rules.value("calls_q"), rules.value("smallest_effect_level")
    single = mark(severe, q=q, smallest=smallest)
    assert found.tables["severity"]["marked"].tolist() == single["marked"].tolist()
    chance = expected_by_chance(severe, q=q, smallest=smallest)
    assert found.families.set_index("about").loc["severity", "marks_by_chance"] == pytest.approx(
        chance.loc["supervisor", "marks_by_chance"]
    )
    assert found.families["n_marked"].tolist() == [2, 1]


def test_an_effect_beyond_chance_but_too_small_to_matter_is_not_marked(rules) -> None:
    small = table([0.09, -0.001, 0.001], se=0.005)
    assert small["p"].iloc[0] < 1e-6
    assert talks({"severity": small}, rules).marks.empty


def test_a_role_whose_assignment_is_not_ignorable_is_judged_on_nothing(rules) -> None:
    both = pd.concat([table([1.0, 0.0, 0.0]), table([1.0, 0.0, 0.0], role="mentor")], ignore_index=True)
    found = talks({"severity": both, "halo": both}, rules, not_ignorable=["mentor"])
    assert set(found.marks["rater_role"]) == {"supervisor"}
    mentors = found.families[found.families["rater_role"] == "mentor"]
    assert mentors["n_raters"].tolist() == [0, 0]
    assert mentors["n_no_call"].tolist() == [3, 3]
    assert mentors["marks_by_chance"].tolist() == [0, 0]


def test_raters_without_a_value_are_counted_as_no_call(rules) -> None:
    some = table([1.0, 0.0, 0.0])
    some.loc[2, ["contrast", "contrast_level", "p"]] = np.nan
    some.loc[2, "status"] = "not_identified"
    family = talks({"severity": some}, rules).families.iloc[0]
    assert (family["n_raters"], family["n_no_call"], family["n_marked"]) == (2, 1, 1)


def test_no_tables_give_no_marks_and_unknown_names_are_refused(rules) -> None:
    assert talks({}, rules).marks.empty
    with pytest.raises(ArgumentError, match="no effect 'height'"):
        talks({"height": table([0.0])}, rules)


def test_raters_of_too_few_candidates_or_lessons_are_not_judged(rules) -> None:
    some = table([1.0, 1.0, 1.0, 1.0, 0.0, 0.0]).assign(
        n_candidates=pd.array([3, 2, 3, pd.NA, 12, 12], dtype="Int64"), n_lessons=[6, 6, 5, 6, 30, 30]
    )
    found = talks({"severity": some}, rules)
    assert found.marks["rater"].tolist() == ["r0"]
    called = found.tables["severity"]
    assert called["call_status"].tolist() == ["ok"] + ["too_few_to_assess"] * 3 + ["ok"] * 2
    assert called["marked"].isna().tolist() == [False, True, True, True, False, False]
    family = found.families.iloc[0]
    assert family[["n_raters", "n_no_call", "n_too_few", "n_marked"]].tolist() == [3, 3, 3, 1]
    judged = table([1.0, 0.0, 0.0])
    of_judged = talks({"severity": judged}, rules).families.iloc[0]
    assert family["marks_by_chance"] == pytest.approx(of_judged["marks_by_chance"])


def test_the_policy_says_how_many_are_enough(rules) -> None:
    two = table([1.0, 0.0, 0.0]).assign(n_candidates=2, n_lessons=4)
    assert talks({"severity": two}, rules).families["n_raters"].tolist() == [0]
    less = {"calls_candidates": 2, "calls_lessons": 4}
    own = policy.Policy(tuple(replace(r, value=less.get(r.id, r.value)) for r in rules.rules))
    assert talks({"severity": two}, own).marks["rater"].tolist() == ["r0"]


def test_a_mark_without_a_minimum_asks_for_no_counts(rules) -> None:
    bare = table([1.0, 0.0, 0.0]).drop(columns=["n_candidates", "n_lessons"])
    assert mark(bare, q=0.05, smallest=0.1)["marked"].tolist() == [True, False, False]
    with pytest.raises(ColumnError, match="n_lessons"):
        mark(bare, q=0.05, smallest=0.1, fewest={"n_lessons": 6})
