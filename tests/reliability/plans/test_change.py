"""Change between two occasions: by its formula, by differences themselves, and where it cannot be told."""

import numpy as np
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.reliability import change_study, g_study

OF = {"p": 1, "r": 0.4, "o": 0.5, "p × r": 0.2, "p × o": 0.5, "r × o": 0.1, "p × r × o": 0.4}
SCORES = drawn({"p": 60, "r": 3, "o": 2}, OF, seed=3)
STUDY = g_study(SCORES, object="p", facets=["r", "o"], score="score")


def test_the_formula():
    v = STUDY.components.variance_raw
    plan = change_study(STUDY, {"r": 3}, occasion="o", same="r").iloc[0]
    assert plan.universe_variance == pytest.approx(2 * v["p × o"])
    assert plan.relative_error == pytest.approx(2 * v["p × r × o, residual"] / 3)
    assert plan.absolute_error == pytest.approx(2 * (v["p × r × o, residual"] + v["r × o"]) / 3)
    fresh = change_study(STUDY, {"r": 3}, occasion="o").iloc[0]
    assert fresh.relative_error == pytest.approx(2 * (v["p × r × o, residual"] + v["p × r"]) / 3)
    assert fresh.generalizability < plan.generalizability
    assert plan.generalizability_low < plan.generalizability < plan.generalizability_high


def test_differences_studied_themselves_say_the_same():
    wide = SCORES.pivot(index=["p", "r"], columns="o", values="score")
    differences = (wide[1] - wide[0]).rename("score").reset_index()
    direct = g_study(differences, object="p", facets="r", score="score").components.variance_raw
    plan = change_study(STUDY, {"r": 1}, occasion="o", same="r").iloc[0]
    assert plan.universe_variance == pytest.approx(direct["p"])
    assert plan.relative_error == pytest.approx(direct["p × r, residual"])


def test_one_score_an_occasion_tells_no_change():
    single = SCORES[SCORES.r == 0]
    for facets, name in (("o", "error"), (["r", "o"], "p × r × o")):
        study = g_study(single, object="p", facets=facets, score="score")
        plan = change_study(study, {"r": 1} if "r" in facets else {}, occasion="o").iloc[0]
        assert plan.status == Status.NOT_IDENTIFIED
        assert f"from {name}" in plan.status_note
        assert np.isnan(plan.generalizability)


@pytest.mark.parametrize(
    ("more", "words"), [({"occasion": "x"}, "occasion"), ({"occasion": "o", "same": "x"}, "same names")]
)
def test_what_is_wrongly_asked(more, words):
    with pytest.raises(ArgumentError, match=words):
        change_study(STUDY, {"r": 1}, **more)
