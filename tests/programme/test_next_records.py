"""What to record next: each row against the arithmetic that it stands for."""

import closed_lists
import numpy as np
import pandas as pd
import pytest
from test_cohorts import ratings

from mentorstats import programme
from mentorstats.estimate import Status


def presence(long, visits=4):
    """Placements and lessons of the long table, all completed."""
    placed = pd.DataFrame({"candidate": sorted(long["candidate"].unique())})
    placed = placed.assign(placement=placed["candidate"], start="2025-09-01", end="2025-12-01")
    lessons = long.drop_duplicates("observation")
    observations = pd.DataFrame({"observation": lessons["observation"], "placement": lessons["candidate"]})
    observations["date"] = pd.Timestamp("2025-09-01") + pd.to_timedelta(7 * lessons["week"] - 7, unit="D")
    rubrics = pd.DataFrame({"rubric": "r", "version": "1", "criterion": ["a", "b", "d"]})
    given = long.assign(placement=long["candidate"])
    return programme.expected_and_present(placed, observations, given, rubrics, lessons=visits)


def asked(long, bound=0.25):
    model = programme.fit_ratings(long)
    compared = {"cohort": programme.compare_groups(model, by="cohort", bound=bound)}
    changed = programme.rated_change(model)
    found = programme.what_next(presence(long), compared, changed, n_raters=6)
    assert closed_lists.outside(found) == []
    return found.set_index("about"), compared["cohort"], changed


def test_candidates_are_as_many_as_bring_the_interval_within_the_bound():
    long = ratings(seed=2, shift=(0.0, 0.1))
    first = asked(long)[1].contrasts.iloc[0]
    bound = (abs(first["value"]) + first["largest"]) / 2
    found, compared, _ = asked(long, bound=bound)
    row, contrast = found.loc["candidates"], compared.contrasts.iloc[0]
    assert row["now"] == pytest.approx(contrast["largest"] - abs(contrast["value"]))
    assert row["then"] == pytest.approx(row["now"] / 2)
    assert row["n"] == 3 * 24, "half the error needs four times the candidates of a cohort of 24"


def test_without_an_open_contrast_no_candidates_are_asked_for():
    assert "candidates" not in asked(ratings(), bound=5.0)[0].index


def test_two_cohorts_without_a_rater_in_common_need_one_link():
    found, *_ = asked(ratings(apart=True))
    assert found.loc["link", "n"] == 2
    assert found.loc["link", "status"] == Status.NOT_ASSESSED
    assert np.isnan(found.loc["link", "then"])


def test_twice_the_lessons_have_the_reliability_of_two_halves():
    found, _, changed = asked(ratings(seed=1, candidates=80))
    known = changed.slopes["reliability"].iloc[0]
    if not 0 < known < 1:
        assert "lessons" not in found.index
        return
    assert found.loc["lessons", "n"] == 4
    assert found.loc["lessons", "then"] == pytest.approx(known * 2 / (1 + known))


def test_expert_scores_and_late_lessons_are_counted():
    long = ratings()
    found, *_ = asked(long)
    assert found.loc["rechecks", "n"] == 12
    early = long[long["week"] < 8]
    assert asked(early)[0].loc["late", "n"] == long["candidate"].nunique()
