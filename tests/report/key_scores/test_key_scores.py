"""The section on key-scored recordings: verdicts in words, what the rules do, and what is missing."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.key_scores import analyse
from mentorstats.report.key_scores import accuracy

LEVELS = ["support", "part", "reliable", "adapts"]


def ratings(exact, recordings=24, criteria=8, seed=1):
    """One rater a share of exact ratings; the rest one level off."""
    rng = np.random.default_rng(seed)
    rows = []
    for rater, share in exact.items():
        for recording in range(recordings if rater != "few" else 3):
            for criterion in range(criteria):
                key = int(rng.integers(0, 4))
                off = 0 if rng.random() < share else (1 if key < 3 else -1)
                place = (f"r{recording}", "hearthside", "1", f"c{criterion}")
                rows.append((rater, *place, LEVELS[key + off], LEVELS[key], "2026-01-05"))
    names = ["rater", "recording", "rubric", "rubric_version", "criterion", "level", "key_level", "date"]
    frame = pd.DataFrame(rows, columns=names)
    kind = pd.CategoricalDtype(LEVELS, ordered=True)
    frame["date"] = pd.to_datetime(frame["date"])
    return frame.astype({"level": kind, "key_level": kind})


def certified(rules):
    """Certify three raters by these rules, and say what the rules do."""
    found = analyse.survey(pd.DataFrame(), ratings({"sure": 0.98, "off": 0.4, "few": 0.9}), rules, seed=0)
    return accuracy.section(found.certified, found.chances, rules)


@pytest.fixture(scope="module")
def own_rules():
    """Return the policy of a programme that has set its rules."""
    own = {"certification_recordings": 5, "certification_exact": 0.8, "certification_adjacent": 0.95}
    rules = policy.read().rules
    return policy.Policy(tuple(replace(r, value=own.get(r.id, r.value)) for r in rules))


def test_verdicts_stand_in_words_and_the_chance_of_passing_before_them(own_rules):
    section = certified(own_rules)
    rules, raters = section.tables
    words = raters.data.set_index("rater")["verdict"].to_dict()
    assert (words["few"], words["off"], words["sure"]) == ("not assessed", "not met", "met")
    assert raters.data.set_index("rater").loc["off", "exact"] == pytest.approx(0.4, abs=0.07)
    passes = rules.data.set_index("rater")["passes"]
    assert passes["90 % exact"] > passes["60 % exact"]
    assert passes["blind"] == 0
    assert section.answer.startswith("3 raters scored recordings that experts had scored. Of these: ")
    assert "A rater who guesses" in section.detail[0]
    assert raters.people
    assert section.findings[0].what.startswith("1 of 3 raters did not meet")


def test_without_rules_of_the_programme_nobody_is_judged():
    section = certified(policy.read())
    assert section.answer.endswith("The programme has set no rule, so nobody is judged.")
    (raters,) = section.tables
    assert "verdict" not in [column.name for column in raters.columns]
    assert not section.findings
    assert not section.detail


def test_without_expert_scores_the_section_says_what_would_fill_it():
    section = accuracy.section(None, None, policy.read())
    assert section.status == "no_records"
    assert "key_ratings" in section.needs
