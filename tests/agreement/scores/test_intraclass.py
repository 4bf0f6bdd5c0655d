"""Complete ratings go to one function, all others to the other, by their published arguments."""

import pandas as pd
import pytest

from mentorstats import agreement
from mentorstats.agreement.scores.intraclass import intraclass, is_complete

FULL = pd.DataFrame(
    {
        "lesson": [0, 0, 1, 1],
        "part": ["x"] * 4,
        "who": ["a", "b"] * 2,
        "lev": [1, 2, 2, 2],
        "candidate": [0, 0, 1, 1],
    }
)
ASKED = {"unit": ["lesson", "part"], "rater": ["who"], "level": "lev", "levels": [1, 2, 3]}


@pytest.fixture
def calls(monkeypatch):
    made = []

    def standing_in(name):
        def compute(table, **asked):
            made.append((name, asked))
            named = {"value": [0.5], "components": ["unit, candidate, rater, residual"]}
            return pd.DataFrame(named, index=["icc_a_1"])

        return compute

    for name in ("icc", "icc_incomplete"):
        monkeypatch.setattr(agreement, name, standing_in(name), raising=False)
    return made


@pytest.mark.parametrize(
    ("rows", "complete"),
    [(FULL, True), (FULL[:3], False), (FULL.assign(lev=[1, 2, None, None]), True), (FULL[:0], True)],
)
def test_completeness_is_of_the_rows_that_count(rows, complete):
    assert is_complete(rows, unit=["lesson", "part"], rater=["who"], level="lev") is complete


def test_complete_ratings(calls):
    found = intraclass(FULL, **ASKED, confidence=0.9)
    assert calls == [("icc", {**ASKED, "confidence": 0.9})]
    assert found.note == "Every rater rated every unit."


def test_incomplete_ratings(calls):
    found = intraclass(FULL[:3], **ASKED, seed=4)
    assert calls == [("icc_incomplete", {**ASKED, "confidence": 0.95, "seed": 4})]
    assert found.note == "Not every rater rated every unit."


def test_clusters_need_the_model_also_of_complete_ratings(calls):
    clusters = ["candidate", "supervisor"]
    found = intraclass(FULL, **ASKED, cluster=clusters)
    assert calls == [("icc_incomplete", {**ASKED, "confidence": 0.95, "seed": 0, "cluster": clusters})]
    assert "units of one candidate be alike" in found.note
    assert "No use was made of supervisor, which holds one unit each or the same units" in found.note


def test_without_the_functions_there_is_no_block(monkeypatch):
    for name in ("icc", "icc_incomplete"):
        monkeypatch.delattr(agreement, name, raising=False)
    assert intraclass(FULL, **ASKED) is None
