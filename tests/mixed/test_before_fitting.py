"""What is seen before fitting: aliased columns, groupings that cannot be told apart, separation."""

import numpy as np
import pandas as pd
import pytest
from engine import linear

from mentorstats.estimate import Status
from mentorstats.mixed.design.crossproducts import cross_products
from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.design.scan import rows, survey
from mentorstats.mixed.design.terms import by
from mentorstats.mixed.engines import identifiable
from mentorstats.mixed.engines.ordinal import cuts


def frame(n=120, seed=1):
    rng = np.random.default_rng(seed)
    made = pd.DataFrame(
        {"candidate": rng.integers(0, 12, n), "rater": rng.integers(0, 6, n), "week": rng.normal(size=n)}
    )
    made["score"] = rng.normal(size=n)
    return made


def looked_at(data, grouped, fixed=()):
    found = survey(lambda: [data], Declared("score", tuple(fixed), tuple(grouped), "linear"))
    sizes = tuple((member.m, member.k) for member in found.layout.members)
    products = cross_products(rows(data, found), sizes, shift=found.mean, scale=max(found.sd, 1e-300))
    result = identifiable.Screening(whole=identifiable.of_response(found))
    identifiable.of_groupings([member.name for member in found.layout.members], products, result)
    result.aliased = identifiable.of_columns(products.fixed[:-1, :-1], found.layout.names)
    return result


def test_a_sound_model_passes():
    result = looked_at(frame(), [by("candidate"), by("rater")], ["week"])
    assert result.whole is None
    assert not result.groupings
    assert not result.aliased


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"rater": 1}, Status.NOT_IDENTIFIED),
        ({"rater": range(120)}, Status.NOT_IDENTIFIED),
    ],
)
def test_a_single_rater_or_one_row_a_rater_is_not_identified(change, status):
    result = looked_at(frame().assign(**change), [by("candidate"), by("rater")])
    assert result.groupings["rater"].status is status
    assert "rater" in result.set_aside


def test_two_names_for_one_grouping_share_their_verdict():
    data = frame().assign(site=lambda x: "s" + x["rater"].astype(str))
    result = looked_at(data, [by("rater"), by("site")])
    assert {verdict.status for verdict in result.groupings.values()} == {Status.NOT_IDENTIFIED}
    assert len(result.set_aside) == 1


def test_a_combination_of_columns_is_named():
    result = looked_at(frame().assign(twice=lambda x: 2 * x["week"]), [by("candidate")], ["week", "twice"])
    assert [verdict.status for verdict in result.aliased.values()] == [Status.RANK_DEFICIENT]
    assert "twice" in next(iter(result.aliased.values())).note


def test_a_constant_response_has_no_spread():
    assert looked_at(frame().assign(score=3.0), [by("candidate")]).whole.status is Status.NO_SPREAD


def test_separation_is_seen_and_its_absence_too():
    rng = np.random.default_rng(2)
    for level, expected in (
        (lambda x: (x > 0).astype(int), True),
        (lambda x: rng.integers(0, 2, len(x)), False),
    ):
        data = pd.DataFrame({"x": rng.normal(size=60)})
        data["level"] = level(data["x"])
        found = survey(lambda data=data: [data], Declared("level", ("x",), (), "ordinal", levels=(0, 1)))
        given = rows(data, found)
        verdict = identifiable.separation(given, cuts(np.ones((1, 2), dtype=bool)), found.layout.names)
        assert (verdict is not None) == expected
        if verdict is not None:
            assert verdict.status is Status.SEPARATED
            assert "x" in verdict.note


def test_a_shifted_and_scaled_response_gives_the_same_model():
    data = frame()
    plain, _ = linear(data, "score", ["week"], [by("candidate"), by("rater")])
    moved, _ = linear(
        data.assign(score=1000 + 10 * data["score"]), "score", ["week"], [by("candidate"), by("rater")]
    )
    assert moved.residual == pytest.approx(100 * plain.residual, rel=1e-6)
    assert moved.joint.beta[1] == pytest.approx(10 * plain.joint.beta[1], rel=1e-6)
    assert moved.joint.beta[0] == pytest.approx(1000 + 10 * plain.joint.beta[0], rel=1e-9)
