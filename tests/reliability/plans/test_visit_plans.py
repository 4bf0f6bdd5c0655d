"""From a long table to plans of visits."""

import numpy as np
import pandas as pd
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status
from mentorstats.reliability import change_study, g_study
from mentorstats.reliability.criteria.by_criterion import by_criterion
from mentorstats.reliability.plans.halves import change_between_halves
from mentorstats.reliability.plans.visit_plans import visit_plans
from mentorstats.reliability.plans.visit_scores import SCORE, visit_scores
from mentorstats.report.render import text as plain

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
    assert f"{target:.2f} or more is {row.n_visits} visits by {row.n_raters} rater" in text
    assert f"{row.dependability:.2f} [{row.dependability_low:.2f}, {row.dependability_high:.2f}]" in text
    assert "not a sole basis" in text
    assert "No plan in the table reaches a dependability of 0.99" in plain.visit_plans(
        visit_plans(ratings(), target=0.99)
    )


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


# Weights of criteria ------------------------------------------------------------------------------------


def two_criteria():
    table = ratings().assign(rubric="x", rubric_version="1")
    noise = np.random.default_rng(5).standard_normal(len(table))
    return pd.concat([table, table.assign(criterion="b", rank=table["rank"] + noise)], ignore_index=True)


def weighing(**weights):
    rows = [("x", "1", name, weight) for name, weight in weights.items()]
    return pd.DataFrame(rows, columns=["rubric", "version", "criterion", "weight"])


def test_criteria_are_weighted_as_the_rubric_declares():
    table = two_criteria()
    found = visit_scores(table, weighing(a=3, b=1))
    keys = ["candidate", "observation", "rater"]
    wide = table.astype(dict.fromkeys(keys, "str")).pivot(index=keys, columns="criterion", values="rank")
    expected = (3 * wide["a"] + wide["b"]) / 4
    got = found.table.set_index(keys)[SCORE]
    np.testing.assert_allclose(got[expected.index], expected)
    assert "a 3, b 1" in found.notes[-1]
    alone = visit_plans(table, rubrics=weighing(a=1, b=0)).table
    pd.testing.assert_frame_equal(alone, visit_plans(table[table.criterion == "a"]).table)


def test_a_criterion_that_was_not_rated_does_not_weigh():
    table = two_criteria()
    first = table.index[table.criterion == "b"][0]
    found = visit_scores(table.drop(index=first), weighing(a=3, b=1)).table
    row = found[(found.observation == str(table.observation[first])) & (found.rater == table.rater[first])]
    other = table[table.criterion == "a"].set_index(["observation", "rater"])["rank"]
    assert row[SCORE].iloc[0] == other[table.observation[first], table.rater[first]]


@pytest.mark.parametrize(
    ("weights", "words"),
    [
        ({}, "weigh the same."),
        ({"a": 2, "b": 2}, "weigh the same."),
        ({"a": 2}, "no weight for b"),
        ({"a": 2, "b": np.nan}, "no weight for b"),
    ],
)
def test_without_weights_criteria_weigh_the_same(weights, words):
    found = visit_scores(two_criteria(), weighing(**weights))
    assert words in found.notes[-1]
    pd.testing.assert_frame_equal(found.table, visit_scores(two_criteria()).table)


@pytest.mark.parametrize("weights", [{"a": 0, "b": 0}, {"a": -1, "b": 2}])
def test_weights_that_cannot_be(weights):
    with pytest.raises(ArgumentError, match="weights of the criteria"):
        visit_scores(two_criteria(), weighing(**weights))


# What hides, and what is taken at zero -------------------------------------------------------------------


def test_sites_within_candidates_are_named():
    table = ratings().assign(site=lambda x: x.candidate % 3, week=lambda x: x.observation % 10)
    found = visit_plans(table)
    assert found.study.hidden.held_by["site"] == "candidate"
    assert found.study.hidden.held_by["week"] == "observation in candidate"
    assert any("one site" in note for note in found.notes)


def test_what_is_taken_at_zero_has_a_column_at_worst():
    for seed in range(3, 60):  # the first whose interaction is at zero
        table = ratings(seed=seed, rater=3, candidate=15, observation=2)
        found = visit_plans(table.query("rater != 'r2' or candidate > 3"))
        if not found.pessimistic.empty:
            break
    assert (found.pessimistic.dependability.to_numpy() <= found.estimable.dependability.to_numpy()).all()
    assert "at worst" in plain.visit_plans(found)


def test_error_of_a_difference_through_one_lesson():
    found = visit_plans(ratings())
    v = found.study.components.variance
    assert found.one_lesson_error == pytest.approx(np.sqrt(2 * (v["candidate × rater"] + v.iloc[-1])))


# Criteria singly, and change -----------------------------------------------------------------------------


def test_criteria_singly():
    """Each is the study of that criterion alone; one trait behind both gives a correlation of one."""
    scores = visit_scores(two_criteria())
    found = by_criterion(scores, 2, 3)
    alone = visit_plans(two_criteria().query("criterion == 'b'"), raters=[2], visits=[3]).table.iloc[0]
    assert found.dependability["b"] == pytest.approx(alone.dependability, rel=SAME)
    assert found.n_ratings.to_dict() == {"a": 480, "b": 480}
    assert (found.correlation > 0.9).all()
    assert (found.correlation <= 1).all()
    boundary = found.correlation_status == Status.BOUNDARY
    assert (boundary == (found.correlation == 1)).all()


def test_correlation_of_universe_scores_is_that_of_mean_products():
    """Balanced data: a quarter of what the component of the sum exceeds that of the difference by."""
    table = two_criteria().assign(week=np.nan)
    first = table["rank"][table.criterion == "a"].to_numpy()
    second = 0.7 * ratings(seed=9)["rank"].to_numpy() + 0.5 * first
    table.loc[table.criterion == "b", "rank"] = second
    found = by_criterion(visit_scores(table), 1, 1)

    def component(values):
        rows = table[table.criterion == "a"].assign(score=values)
        study = g_study(
            rows,
            object="candidate",
            facets=["rater", "observation"],
            nested={"observation": "candidate"},
            score="score",
        )
        assert study.method == "anova"
        assert (study.components.variance_raw > 0).all()
        return study.components.variance["candidate"]

    covariance = (component(first + second) - component(first - second)) / 4
    expected = covariance / np.sqrt(component(first) * component(second))
    assert found.correlation["a"] == pytest.approx(expected, rel=1e-4)
    assert found.correlation["b"] == pytest.approx(expected, rel=1e-4)


def halves_of(table):
    return table.assign(week=1 + 9 * (table.observation % 10 > 1))


def test_change_between_halves_is_change_study_of_balanced_data():
    scores = visit_scores(halves_of(ratings(observation=2)).assign(week=lambda x: x.observation % 10))
    found = change_between_halves(scores, raters=[1, 2])
    crossed = scores.table.assign(half=scores.table.week)
    study = g_study(crossed, object="candidate", facets=["half", "rater"], score=SCORE)
    expected = change_study(study, {"rater": [1, 2]}, occasion="half", same="rater")
    shown = found.table[found.table.scenario == "as_estimated"].reset_index(drop=True)
    for column in ("universe_variance", "relative_error", "absolute_error", "generalizability"):
        np.testing.assert_allclose(shown[column], np.maximum(expected[column], 0), rtol=1e-5)
    assert found.n_visits == 1


def test_change_with_visits_in_one_half_only():
    table = halves_of(ratings())
    scores = visit_scores(table[(table.rater != "r0") | (table.week == 1)])
    found = change_between_halves(scores)
    assert found.n_visits == 2
    assert found.notes == ("30 pairs of rater and candidate with visits in one half only were left out.",)
    none = change_between_halves(visit_scores(table[table.week == 1].assign(week=1)))
    assert none.study.status == Status.NO_RECORDS
    assert none.table.dependability.isna().all()


def test_criteria_of_which_nothing_can_be_told():
    """A criterion that never varies, one alone, and no ratings at all."""
    constant = two_criteria()
    constant.loc[constant.criterion == "b", "rank"] = 3
    found = by_criterion(visit_scores(constant), 2, 2)
    assert found.status["b"] == Status.NO_SPREAD
    assert np.isnan(found.dependability["b"])
    assert np.isnan(found.correlation[["a", "b"]]).all()
    assert set(found.correlation_status) == {Status.NOT_IDENTIFIED}
    alone = by_criterion(visit_scores(ratings()), 1, 1)
    assert np.isnan(alone.correlation["a"])
    none = by_criterion(visit_scores(ratings().assign(rank=np.nan)), 1, 1)
    assert none.empty
