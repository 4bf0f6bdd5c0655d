"""From a long table to plans of visits."""

import numpy as np
import pandas as pd
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status
from mentorstats.reliability.plan import visit_plans
from mentorstats.report import plain

SAME = 1e-6
TRUE = {"candidate": 0.4, "observation in candidate": 0.1, "rater": 0.1, "candidate × rater": 0.1}
SIZES = {"candidate": 30, "observation": 4, "rater": 4}


def ratings(seed=1, **sizes):
    nested = {"observation": "candidate"}
    found = drawn(SIZES | sizes, TRUE | {"observation × rater in candidate": 0.3}, nested=nested, seed=seed)
    found = found.rename(columns={"score": "rank"}).assign(rater_role="supervisor", criterion="a", week=1)
    found["rater"] = "r" + found["rater"].astype("str")
    return found.assign(observation=found["candidate"] * 10 + found["observation"])


def test_a_plan_is_what_its_components_make_it():
    found = visit_plans(ratings(), raters=[2], visits=[3])
    plan, v = found.table.iloc[0], found.study.components.variance
    per_rater = (v["rater"] + v["candidate × rater"]) / 2
    per_visit = (v["observation in candidate"] + v.iloc[-1]) / 6
    assert (plan.n_raters, plan.n_visits, plan.cost) == (2, 6, 6)
    assert plan.absolute_error == pytest.approx(per_rater + per_visit)


def test_what_more_would_bring_is_the_difference_of_two_plans():
    found = visit_plans(ratings(), raters=[1, 2], visits=[2, 4, 6])
    value = found.table.set_index(["n_raters", "n_visits"]).dependability
    gain = found.trade(1, 4)
    assert gain.rater == pytest.approx(value[2, 4] - value[1, 4], abs=SAME)
    assert gain.visits == pytest.approx(value[1, 6] - value[1, 4], abs=SAME)


def test_the_sentence_and_the_cheapest_plan():
    target = visit_plans(ratings()).table.dependability.median()
    found = visit_plans(ratings(), target=target, visit_cost=2, rater_cost=1)
    text = plain.visit_plans(found)
    row = found.chosen.iloc[0]
    assert f"reaches {target:.2f}: {row.n_visits} visits by {row.n_raters} rater" in text
    assert f"{row.dependability:.2f} [{row.dependability_low:.2f}, {row.dependability_high:.2f}]" in text
    assert "not a sole basis" in text
    assert "No plan in the table reaches 0.99" in plain.visit_plans(visit_plans(ratings(), target=0.99))


def test_ratings_that_are_not_independent_and_other_versions_are_left_out():
    table = ratings().assign(independent=True, rubric="x", rubric_version="2")
    extra = table.head(40).assign(independent=False, observation=999)
    old = table.head(20).assign(rubric_version="1", rank=9)
    found = visit_plans(pd.concat([table, extra, old]))
    pd.testing.assert_frame_equal(found.table, visit_plans(table).table)
    assert any(note.startswith("40 ratings that were not independent") for note in found.notes)
    assert any("2 versions" in note for note in found.notes)


def test_criteria_are_averaged():
    table = ratings()
    other = table.assign(criterion="b", rank=table["rank"] + 1)
    one, both = visit_plans(table), visit_plans(pd.concat([table, other]))
    np.testing.assert_allclose(both.table.dependability, one.table.dependability)


def test_one_rater_says_what_is_not_estimable():
    found = visit_plans(ratings(rater=1), raters=[1, 2])
    assert set(found.table.status[found.table.n_raters == 2]) == {Status.NOT_IDENTIFIED}
    assert set(found.estimable.n_raters) == {1}
    assert "too high" in plain.visit_plans(found)


def test_nothing_to_plan_from():
    text = plain.visit_plans(visit_plans(ratings().assign(rank=3)))
    assert text.startswith("No plan can be judged")
    assert "nothing varies" in text
    assert "No row" in plain.visit_plans(visit_plans(ratings().assign(rank=np.nan)))


def test_what_is_wrongly_asked():
    with pytest.raises(ColumnError, match="rater_role"):
        visit_plans(ratings().drop(columns="rater_role"))
    with pytest.raises(ArgumentError, match="target"):
        visit_plans(ratings(), target=80)
