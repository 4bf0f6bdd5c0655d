"""Tables as they come: each case gives a status with its reason, or an error that says what to do."""

import numpy as np
import pandas as pd
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError, ModelError
from mentorstats.estimate import Status, has_value
from mentorstats.mixed import by, fit
from mentorstats.reliability import cheapest, d_study, g_study

TRUE = {
    "candidate": 0.4,
    "lesson in candidate": 0.1,
    "rater": 0.06,
    "candidate × rater": 0.05,
    "lesson × rater in candidate": 0.3,
}
SAME = 2e-4  # relative: an optimum found to a tolerance, and sharpened


def placements(candidates=40, lessons=4, raters=5, seed=0, **more):
    return drawn(
        {"candidate": candidates, "lesson": lessons, "rater": raters},
        TRUE | more,
        nested={"lesson": "candidate"},
        seed=seed,
    )


def studied(scores, **more):
    asked = {"object": "candidate", "facets": ["lesson", "rater"], "nested": {"lesson": "candidate"}}
    return g_study(scores, score="score", **(asked | more))


def accounted(study):
    for name, row in study.components.iterrows():
        if has_value(Status(row.status)):
            assert row.low <= row.variance <= row.high, name
            assert row.interval_method != "none"
            assert row.variance == max(row.variance_raw, 0)
        else:
            assert np.isnan(row.variance), name
            assert row.status_note
    assert repr(study)
    return study


def test_incomplete_data_are_those_of_the_mixed_model():
    scores = placements().sample(frac=0.6, random_state=1)
    study = accounted(studied(scores))
    direct = fit(
        scores,
        response="score",
        grouped=["candidate", by("lesson", inside="candidate"), "rater", by("candidate", "rater")],
    ).components.variance
    assert study.method == "reml"
    assert "missing or unequal" in study.notes[0]
    found = study.components.variance.rename({"lesson × rater in candidate, residual": "residual"})
    np.testing.assert_allclose(found[direct.index], direct, rtol=SAME, atol=1e-5)


def test_incomplete_data_come_near_the_truth():
    study = studied(placements(candidates=80, lessons=3, raters=12).sample(frac=0.4, random_state=1))
    for name, row in study.components.iterrows():
        assert row.low < TRUE[name.removesuffix(", residual")] < row.high, name
    plan = d_study(study, {"lesson": 4, "rater": 2}).iloc[0]
    assert plan.dependability_low < plan.dependability < plan.dependability_high


def test_a_trend_over_weeks_is_not_a_difference_of_lessons():
    scores = placements().assign(week=lambda x: 3 * x["lesson"])
    trending = scores.assign(score=scores.score + 0.2 * scores.week)
    plain, allowed = (studied(trending, covariates=terms) for terms in ((), "week"))
    lesson = "lesson in candidate"
    assert plain.components.variance[lesson] > 3 * TRUE[lesson]
    assert allowed.components.variance[lesson] == pytest.approx(
        studied(scores).components.variance[lesson], abs=0.03
    )
    assert "covariates" in allowed.notes[0]
    with pytest.raises(ArgumentError, match="no covariates"):
        studied(trending, covariates="week", method="anova")


def test_a_fixed_facet_by_likelihood():
    asked = {"object": "p", "facets": ["r", "c"], "score": "score", "fixed": "c"}
    of = {"p": 1, "r": 1, "c": 2, "p × r": 0.5, "p × c": 0.5, "r × c": 0.5, "p × r × c": 0.3}
    for seed in range(40):  # until no mean square gives a negative component
        scores = drawn({"p": 30, "r": 5, "c": 3}, of, seed=seed)
        if (g_study(scores, **(asked | {"fixed": ()})).components.variance_raw > 0).all():
            break
    both = [g_study(scores, method=method, **asked).components for method in ("anova", "reml")]
    assert list(both[0].index) == list(both[1].index) == ["p", "r", "p × r, residual"]
    np.testing.assert_allclose(both[1].variance, both[0].variance, rtol=SAME)
    assert set(both[1].interval_method) == {"profile_monte_carlo"}


def test_one_rater():
    study = accounted(studied(placements(raters=1)))
    table = study.components
    assert {"rater", "candidate × rater"} <= set(table.index[table.status == Status.NOT_IDENTIFIED])
    plans = d_study(study, {"lesson": [4], "rater": [1, 2]})
    assert list(plans.status) == [Status.BY_ASSUMPTION, Status.NOT_IDENTIFIED]
    assert "rater" in plans.hidden[0]
    assert np.isnan(plans.dependability[1])
    assert "not estimable" in plans.status_note[1]


def test_each_candidate_with_a_rater_of_their_own():
    scores = placements()
    own = scores[scores["rater"] == scores["candidate"] % 5]
    study = accounted(studied(own))
    assert study.components.status["candidate × rater"] == Status.NOT_IDENTIFIED
    assert study.components.status["rater"] in (Status.OK, Status.BOUNDARY)
    plan = d_study(study, {"lesson": 4, "rater": 1}).iloc[0]
    assert plan.hidden == "candidate × rater"
    assert plan.status == Status.BY_ASSUMPTION
    assert "too high" in plan.status_note


def test_site_and_rater_that_divide_the_rows_alike():
    scores = drawn({"candidate": 10, "rater": 4}, {"candidate": 1, "rater": 0.5, "candidate × rater": 0.3})
    study = accounted(
        g_study(
            scores.assign(site=scores["rater"]), object="candidate", facets=["rater", "site"], score="score"
        )
    )
    assert study.components.status["site"] == Status.NOT_IDENTIFIED
    assert "cannot be told from rater" in study.components.status_note["site"]


def test_one_candidate():
    study = accounted(studied(placements(candidates=1)))
    assert study.components.status["candidate"] == Status.ONE_UNIT
    assert d_study(study, {"lesson": 2, "rater": 2}).status[0] == Status.ONE_UNIT


@pytest.mark.parametrize("method", ["auto", "reml"])
@pytest.mark.parametrize("value", [3, 0.1, 0, -7e9])
def test_constant_scores(method, value):
    study = accounted(studied(placements().assign(score=value), method=method))
    assert study.status is Status.NO_SPREAD
    assert set(study.components.status) == {Status.NO_SPREAD}
    plan = d_study(study, {"lesson": 2, "rater": 2}, cut=3).iloc[0]
    assert plan.status == Status.NO_SPREAD
    assert np.isnan([plan.dependability, plan["sem"], plan.decision_consistency]).all()


def test_no_rows_and_missing_values():
    scores = placements()
    none = accounted(studied(scores.assign(score=np.nan)))
    assert none.status is Status.NO_RECORDS
    assert none.n_left_out == len(scores)
    assert d_study(none, {"lesson": 2, "rater": 2}).status[0] == Status.NO_RECORDS
    holed = scores.assign(score=scores.score.where(scores.index % 5 > 0))
    one, other = studied(holed), studied(scores[scores.index % 5 > 0])
    np.testing.assert_allclose(one.components.variance, other.components.variance)
    assert one.n_left_out == 160
    assert any("left out" in note for note in one.notes)


def test_one_score_each():
    study = accounted(studied(placements().drop_duplicates("candidate")))
    assert study.status is Status.NOT_IDENTIFIED
    assert d_study(study, {"lesson": 2, "rater": 2}).status[0] == Status.NOT_IDENTIFIED


def test_perfect_agreement():
    scores = placements().assign(score=lambda x: x["candidate"] % 7 * 1.0)
    study = accounted(studied(scores))
    assert study.components.share["candidate"] == 1
    plan = d_study(study, {"lesson": 1, "rater": 1}).iloc[0]
    assert plan.dependability == 1
    assert studied(scores, method="reml").status is Status.SATURATED


def test_a_cell_with_two_scores_is_named():
    scores = placements()
    with pytest.raises(DuplicateRatingError, match=r"candidate, lesson, rater: 0, 0, 1"):
        studied(pd.concat([scores, scores.iloc[[1]]]))


def test_an_undeclared_nesting_is_named():
    scores = placements().assign(lesson=lambda x: 10 * x["candidate"] + x["lesson"])
    with pytest.raises(ModelError, match=r"nested=\{'lesson': 'candidate'\}"):
        studied(scores, nested=None)


@pytest.mark.parametrize(
    ("more", "error", "words"),
    [
        ({"facets": ["visit"], "nested": None}, ColumnError, "no column"),
        ({"facets": []}, ModelError, "one facet or more"),
        ({"facets": ["rater", "rater"]}, ModelError, "each once"),
        ({"object": "rater"}, ModelError, "each once"),
        ({"nested": {"lesson": "site"}}, ModelError, "nested names 'site'"),
        ({"nested": {"lesson": "rater", "rater": "lesson"}}, ModelError, "nested in itself"),
        ({"fixed": "site"}, ModelError, "fixed names 'site'"),
        ({"fixed": "lesson"}, ModelError, "nested in what is not"),
        ({"fixed": ["lesson", "rater"], "nested": None}, ModelError, "every facet is fixed"),
        ({"method": "bayes"}, ArgumentError, "Allowed: auto"),
        ({"confidence": 95}, ArgumentError, "fraction"),
        ({"covariates": "rater"}, ModelError, "facet and a covariate"),
    ],
)
def test_what_is_wrongly_asked(more, error, words):
    with pytest.raises(error, match=words):
        studied(placements(), **more)


def test_labels_are_no_scores():
    with pytest.raises(ColumnError, match="no numbers"):
        studied(placements().assign(score="good"))
    with pytest.raises(ArgumentError, match="infinite"):
        studied(placements().assign(score=np.inf))
    with pytest.raises(ArgumentError, match="balanced"):
        studied(placements().iloc[1:], method="anova")


@pytest.mark.parametrize(
    ("sizes", "more", "words"),
    [
        ({"visit": 2}, {}, "sizes names"),
        ({"rater": 0}, {}, "whole numbers"),
        ({"rater": 1.5}, {}, "a whole number"),
        ({"rater": []}, {}, "empty"),
        ({}, {"fixed": ["lesson", "rater"], "nested": None}, "fixed"),
        ({}, {"cost": {"visit": 3}}, "cost names"),
        ({}, {"cost": {"rater": -3}}, "number from 0"),
        ({}, {"confidence": 0}, "fraction"),
    ],
)
def test_plans_that_are_wrongly_asked(sizes, more, words):
    with pytest.raises(ArgumentError, match=words):
        d_study(studied(placements()), sizes, **more)


def test_sizes_that_an_unbalanced_study_does_not_know():
    with pytest.raises(ArgumentError, match="no size for 'lesson'"):
        d_study(studied(placements().iloc[1:]), {"rater": 2})


def test_the_cheapest_plan_needs_costs():
    plans = d_study(studied(placements()), {"rater": 2})
    with pytest.raises(ColumnError, match="cost"):
        cheapest(plans, 0.8)
    with pytest.raises(ArgumentError, match="limit"):
        cheapest(plans.assign(cost=1), 0.8, limit="high")


def test_the_same_seed_gives_the_same_limits():
    one, other, another = (d_study(studied(placements(), seed=seed), {"rater": 2}) for seed in (0, 0, 1))
    pd.testing.assert_frame_equal(one, other)
    assert another.dependability_low[0] != one.dependability_low[0]
