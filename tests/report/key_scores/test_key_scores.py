"""The section on key-scored recordings: verdicts in words, what the rules do, and what is missing."""

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.key_scores import analyse
from mentorstats.report.key_scores import accuracy

LEVELS = ["help", "part", "steady", "lead"]


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


@pytest.fixture(scope="module")
def section():
    rules = policy.read()
    frame = ratings({"sure": 0.98, "off": 0.4, "few": 0.9})
    found, chances = analyse.certify_records(frame, rules, confidence=0.95, seed=0)
    return accuracy.section(found, chances, rules)


def test_verdicts_stand_in_words_beside_the_figures(section):
    raters, rules = section.tables
    words = raters.data.set_index("rater")["verdict"].to_dict()
    assert words == {"few": "too few to say", "off": "not met", "sure": "met"}
    assert raters.data.set_index("rater").loc["off", "exact"] == pytest.approx(0.4, abs=0.07)
    passes = rules.data.set_index("rater")["passes"]
    assert passes["90 % exact"] > passes["60 % exact"]
    assert passes["blind"] == 0
    assert "1 rater met the rules, 1 rater missed them and 1 rater scored too few" in section.answer
    assert any("sole basis" in text for text in section.caution)


def test_without_key_scored_recordings_the_section_says_what_would_fill_it():
    rules = policy.read()
    found = analyse.certify_records(ratings({}), rules, confidence=0.95, seed=0)
    section = accuracy.section(*found, rules)
    assert section.status == "no_records"
    assert "key_ratings" in section.answer
