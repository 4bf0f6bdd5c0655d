"""Calls on all effects together: what `flag` says of each, families by hand, and who is withheld."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from mentorstats import policy
from mentorstats.calibration import flags
from mentorstats.calibration.flags import expected_by_chance, flag
from mentorstats.errors import ArgumentError


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
    found = flags({"severity": severe, "halo": halo}, rules)
    assert list(found.flagged["rater"]) == ["r0", "r1", "r3"]
    assert list(found.flagged["about"]) == ["severity", "halo", "severity"]
    assert list(found.flagged["words"]) == [
        "rates lower than others of the role",
        "rates the criteria of a lesson more similarly",
        "rates higher than others of the role",
    ]
    q, smallest = rules.value("flag_q"), rules.value("smallest_effect_level")
    single = flag(severe, q=q, smallest=smallest)
    assert found.tables["severity"]["flagged"].tolist() == single["flagged"].tolist()
    chance = expected_by_chance(severe, q=q, smallest=smallest)
    assert found.families.set_index("about").loc["severity", "flagged_by_chance"] == pytest.approx(
        chance.loc["supervisor", "flagged_by_chance"]
    )
    assert found.families["n_flagged"].tolist() == [2, 1]


def test_an_effect_beyond_chance_but_too_small_to_matter_is_not_marked(rules) -> None:
    small = table([0.09, -0.001, 0.001], se=0.005)
    assert small["p"].iloc[0] < 1e-6
    assert flags({"severity": small}, rules).flagged.empty


def test_a_role_whose_assignment_is_not_ignorable_is_judged_on_nothing(rules) -> None:
    both = pd.concat([table([1.0, 0.0, 0.0]), table([1.0, 0.0, 0.0], role="mentor")], ignore_index=True)
    found = flags({"severity": both, "halo": both}, rules, not_ignorable=["mentor"])
    assert set(found.flagged["rater_role"]) == {"supervisor"}
    mentors = found.families[found.families["rater_role"] == "mentor"]
    assert mentors["n_raters"].tolist() == [0, 0]
    assert mentors["n_not_assessed"].tolist() == [3, 3]
    assert mentors["flagged_by_chance"].tolist() == [0, 0]


def test_raters_without_a_value_are_counted_as_no_call(rules) -> None:
    some = table([1.0, 0.0, 0.0])
    some.loc[2, ["contrast", "contrast_level", "p"]] = np.nan
    some.loc[2, "status"] = "not_identified"
    family = flags({"severity": some}, rules).families.iloc[0]
    assert (family["n_raters"], family["n_not_assessed"], family["n_flagged"]) == (2, 1, 1)


def test_no_tables_give_no_marks_and_unknown_names_are_refused(rules) -> None:
    assert flags({}, rules).flagged.empty
    with pytest.raises(ArgumentError, match="no effect 'height'"):
        flags({"height": table([0.0])}, rules)


def test_flags_say_between_which_days_the_lessons_lie(rules) -> None:
    ratings = pd.DataFrame(
        {
            "rater": ["r0", "r0", "r0", "r1"],
            "rater_role": ["supervisor", "supervisor", "mentor", "supervisor"],
            "date": ["2025-03-04", "2025-01-09", "2024-01-01", "2025-02-02"],
        }
    )
    found = flags({"severity": table([-1.0, 0.0, 0.05, 0.9])}, rules, ratings=ratings).flagged
    days = found[["first_day", "last_day"]]
    assert days.iloc[0].dt.date.astype("str").tolist() == ["2025-01-09", "2025-03-04"]
    assert days.iloc[1].isna().all()
    assert flags({"severity": table([-1.0, 0.0])}, rules).flagged["first_day"].isna().all()


def test_nobody_flagged_has_no_days(rules) -> None:
    ratings = pd.DataFrame({"rater": ["r0"], "rater_role": "supervisor", "date": ["2025-03-04"]})
    found = flags({"severity": table([0.0, 0.0])}, rules, ratings=ratings)
    assert found.flagged.empty
    assert {"first_day", "last_day"} <= set(found.flagged)
    assert flags({}, rules, ratings=ratings.iloc[:0]).flagged.empty
