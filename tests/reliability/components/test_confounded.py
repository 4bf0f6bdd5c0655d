"""Facets that lie within others or cannot be told from them are named, with the status they have."""

import numpy as np
import pytest
from simulated import drawn

from mentorstats.errors import ColumnError
from mentorstats.estimate import Status
from mentorstats.reliability import g_study

TRUE = {
    "candidate": 0.4,
    "lesson in candidate": 0.1,
    "rater": 0.1,
    "candidate × rater": 0.05,
    "lesson × rater in candidate": 0.3,
}
NEAR = 0.25  # relative: information of a likelihood against 2 MS² / (df + 2), equal in large samples only
SIZES = {"candidate": 30, "lesson": 3, "rater": 6}


def placements():
    return drawn(SIZES, TRUE, nested={"lesson": "candidate"}).assign(
        site=lambda x: x.rater // 2,
        region=lambda x: x.candidate % 3,
        week=lambda x: x.lesson + x.candidate,
        badge=lambda x: "b" + x.rater.astype("str"),
        country="here",
        tool=lambda x: (x.rater + x.candidate) % 2,
    )


def studied(scores, **more):
    return g_study(
        scores,
        object="candidate",
        facets=["lesson", "rater"],
        nested={"lesson": "candidate"},
        score="score",
        **more,
    )


def test_columns_that_are_no_facets():
    beside = ["site", "region", "week", "badge", "country", "tool"]
    found = studied(placements(), beside=beside)
    held = found.hidden.held_by.to_dict()
    assert held == {
        "site": "rater",
        "region": "candidate",
        "week": "lesson in candidate",
        "badge": "rater",
        "country": "",
    }
    status = found.hidden.status
    assert set(status[["site", "region", "week"]]) == {Status.BY_ASSUMPTION}
    assert set(status[["badge", "country"]]) == {Status.NOT_IDENTIFIED}
    assert any("counts as differences of rater" in note for note in found.notes)
    plain = studied(placements())
    assert plain.hidden.empty
    np.testing.assert_array_equal(plain.components.variance, found.components.variance)


def test_missing_values_beside_leave_no_score_out():
    scores = placements()
    scores["site"] = scores.site.where(scores.index % 7 > 0)
    found = studied(scores, beside="site")
    assert found.n_left_out == 0
    assert found.hidden.held_by["site"] == "rater"
    assert studied(scores.assign(site=np.nan), beside="site").hidden.empty
    with pytest.raises(ColumnError, match="town"):
        studied(scores, beside="town")


def test_a_component_that_holds_more_than_its_name_is_read_so_by_assumption():
    scores = placements()
    own = scores[scores["rater"] == scores["candidate"] % 6]
    found = studied(own)
    assert found.components.status["candidate"] == Status.BY_ASSUMPTION
    assert "Holds candidate × rater as well" in found.components.status_note["candidate"]


def test_facets_of_the_design_that_divide_the_scores_alike():
    scores = drawn({"candidate": 10, "rater": 4}, {"candidate": 1, "rater": 0.5, "candidate × rater": 0.3})
    found = g_study(
        scores.assign(site=scores["rater"]), object="candidate", facets=["rater", "site"], score="score"
    )
    assert found.hidden.held_by.to_dict() == {"site": "rater"}
    assert found.hidden.status["site"] == Status.NOT_IDENTIFIED


def test_one_member():
    found = studied(placements().query("rater == 0"))
    assert found.hidden.status["rater"] == Status.NOT_IDENTIFIED
    assert found.hidden.held_by["rater"] == ""


def test_covariance_of_the_components_that_are_not_at_zero():
    """Those at zero of a likelihood have none; the rest have that of the likelihood without them."""
    for seed in range(60):
        scores = drawn(SIZES, TRUE | {"candidate × rater": 0.0}, nested={"lesson": "candidate"}, seed=seed)
        found = studied(scores.iloc[1:])
        if found.components.variance["candidate × rater"] == 0:
            break
    assert found.components.status["candidate × rater"] == Status.BOUNDARY
    free = found.covariance.drop(index="candidate × rater", columns="candidate × rater")
    assert found.covariance["candidate × rater"].isna().all()
    values = free.to_numpy()
    assert np.isfinite(values).all()
    np.testing.assert_allclose(values, values.T)
    assert (np.linalg.eigvalsh(values) > 0).all()
    assert any("held at zero" in note for note in found.notes)
    balanced = drawn(SIZES, TRUE, nested={"lesson": "candidate"}, seed=3)
    one, other = (studied(balanced, method=method).covariance for method in ("anova", "reml"))
    np.testing.assert_allclose(np.sqrt(np.diagonal(other)), np.sqrt(np.diagonal(one)), rtol=NEAR)
