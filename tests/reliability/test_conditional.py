"""Error at a cut: balanced data by mean squares, others by the spread within each candidate."""

import numpy as np
import pytest
from simulated import drawn

from mentorstats.estimate import Status
from mentorstats.reliability import d_study, g_study
from mentorstats.reliability.components.cells import as_array
from mentorstats.reliability.plans.cut import own_error, spread_within

EXACT = 1e-6  # relative: a likelihood at its optimum against mean squares
OF = {"p": 1, "r": 0.3, "p × r": 0.5}


def spreading(seed=0, raters=4):
    """Candidates who score high are scored with twice the error."""
    scores = drawn({"p": 60, "r": raters}, {"p": 1}, seed=seed)
    noise = np.random.default_rng(seed).standard_normal(len(scores))
    return scores.assign(score=scores.score + np.where(scores.score > 5, 1.0, 0.5) * noise)


def studied(scores, method="auto"):
    return g_study(scores, object="p", facets="r", score="score", method=method)


def test_spread_within_an_object_is_its_own_error_where_data_are_balanced():
    """p × r: each object's variance over its raters, over what the components make it [brennan_1998]."""
    for seed in range(40):
        scores = drawn({"p": 20, "r": 4}, OF, seed=seed)
        study = studied(scores, "reml")
        if (study.components.variance_raw > 0).all():
            break
    times, weight = spread_within(study)
    absolute = d_study(study, {"r": 3}).absolute_error[0]
    own = own_error(study.design, study.design, as_array(study.cells), [{"r": 3}])[:, 0]
    np.testing.assert_allclose(times * absolute, own, rtol=EXACT)
    assert set(weight) == {3}


def test_unbalanced_data_give_what_balanced_data_give():
    scores = spreading()
    for cut in (4.0, 5.0, 6.0):
        balanced = d_study(studied(scores), {"r": 2}, cut=cut).iloc[0]
        same = d_study(studied(scores, "reml"), {"r": 2}, cut=cut).iloc[0]
        assert balanced.conditional_sem_status == Status.OK
        assert same.conditional_sem_status == Status.BY_ASSUMPTION
        assert same.conditional_sem == pytest.approx(balanced.conditional_sem, rel=1e-3)


def test_error_that_grows_with_the_score_is_seen_in_incomplete_data():
    scores = spreading(seed=1, raters=8).sample(frac=0.6, random_state=1)
    low, high = (d_study(studied(scores), {"r": 1}, cut=cut).iloc[0] for cut in (4.0, 6.0))
    assert low.conditional_sem == pytest.approx(0.5, rel=0.25)
    assert high.conditional_sem == pytest.approx(1.0, rel=0.25)


def test_a_cut_beyond_all_scores_has_a_status():
    scores = spreading().iloc[1:]
    plan = d_study(studied(scores), {"r": 1}, cut=40).iloc[0]
    assert np.isnan(plan.conditional_sem)
    assert plan.conditional_sem_status == Status.NOT_IDENTIFIED
    assert plan.status == Status.OK
