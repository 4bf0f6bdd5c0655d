"""A weighted sum of scores: against the study of the sum itself, and how often its limits hold the truth."""

import numpy as np
import pandas as pd
import pytest
from simulated import drawn

from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.reliability import composite, d_study, g_study, profile_study

EXACT = 1e-9
DRAWN = 0.006  # limits from 10,000 draws, of other mean squares in another order
OF = {"p": 0.4, "r": 0.1, "p × r": 0.3}
WEIGHTS = {"a": 2.0, "b": 1.0, "c": 0.5}


def criteria(seed=0, p=40, r=4, own=OF):
    """Criteria that share half of everything, scored by the same raters."""
    common = drawn({"p": p, "r": r}, own, seed=1000 + seed)
    parts = [
        drawn({"p": p, "r": r}, own, seed=seed * 10 + at).assign(
            score=lambda x: x.score + common.score, criterion=name
        )
        for at, name in enumerate(WEIGHTS)
    ]
    return pd.concat(parts, ignore_index=True)


def summed(scores):
    weighted = scores.assign(score=scores.score * scores.criterion.map(WEIGHTS))
    return weighted.groupby(["p", "r"], as_index=False)["score"].sum()


def study(scores, **more):
    asked = {"object": "p", "facets": "r", "score": "score", "by": "criterion", "linked": "r"}
    return profile_study(scores, **(asked | more))


def test_all_linked_is_the_study_of_the_sum():
    scores = criteria()
    found = composite(study(scores), WEIGHTS, {"r": 3})
    direct = d_study(g_study(summed(scores), object="p", facets="r", score="score"), {"r": 3}).iloc[0]
    for name in ("universe_variance", "relative_error", "absolute_error", "generalizability", "sem"):
        assert found[name] == pytest.approx(direct[name], rel=EXACT)
    for name in ("generalizability_low", "generalizability_high", "dependability_low", "dependability_high"):
        assert found[name] == pytest.approx(direct[name], abs=DRAWN)


def test_nothing_linked_adds_the_errors_of_each():
    scores = criteria()
    one = study(scores, linked=())
    found = composite(one, WEIGHTS, {"r": {"a": 2, "b": 3, "c": 4}})
    sizes = {"a": 2, "b": 3, "c": 4}
    error = sum(
        weight**2 * one.studies[name].components.variance_raw["p × r, residual"] / sizes[name]
        for name, weight in WEIGHTS.items()
    )
    w = np.array(list(WEIGHTS.values()))
    assert found.relative_error == pytest.approx(error, rel=EXACT)
    assert found.universe_variance == pytest.approx(w @ one.universe.to_numpy() @ w, rel=EXACT)
    assert found.dependability_low < found.dependability < found.dependability_high


@pytest.mark.long
@pytest.mark.parametrize("linked", [(), "r"])
def test_limits_hold_the_truth(linked):
    """200 draws, seeds 0 to 199, nominal .95, Monte Carlo error .015; four errors below is .89."""
    w = np.array(list(WEIGHTS.values()))
    common, own = w.sum() ** 2, (w**2).sum()
    universe = OF["p"] * (common + own)
    rest = (common + own if linked else 0) * OF["p × r"]
    inside = []
    for seed in range(200):
        if linked:
            scores = criteria(seed)
        else:
            scores = unlinked(seed)
            rest = own * OF["p × r"]
        found = composite(study(scores, linked=linked), WEIGHTS, {"r": 4}, seed=seed)
        truth = universe / (universe + rest / 4)
        inside.append(found.generalizability_low <= truth <= found.generalizability_high)
    assert np.mean(inside) > 0.89


def unlinked(seed):
    """Universe scores in common as above, raters of each criterion's own."""
    common = drawn({"p": 40, "r": 4}, {"p": OF["p"]}, seed=1000 + seed)
    return pd.concat(
        [
            drawn({"p": 40, "r": 4}, OF, seed=seed * 10 + at).assign(
                score=lambda x: x.score + common.score, criterion=name
            )
            for at, name in enumerate(WEIGHTS)
        ],
        ignore_index=True,
    )


def test_the_same_seed_gives_the_same_limits():
    one = study(criteria())
    first, second, other = (composite(one, WEIGHTS, {"r": 3}, seed=seed) for seed in (0, 0, 1))
    pd.testing.assert_series_equal(first, second)
    assert other.dependability_low != first.dependability_low


def test_one_score_each_has_no_value():
    scores = criteria()
    single = scores[scores.r == 0]
    found = composite(study(single, linked=()), WEIGHTS, {"r": 2})
    assert found.status == Status.NOT_IDENTIFIED
    assert np.isnan(found.dependability)
    with pytest.raises(ArgumentError, match="one member"):
        study(single)


@pytest.mark.parametrize(
    ("weights", "sizes", "more", "words"),
    [
        ({"a": 1}, {"r": 3}, {}, "no weight"),
        (WEIGHTS, {}, {}, "no size"),
        (WEIGHTS, {"r": {"a": 1, "b": 2, "c": 2}}, {}, "differ"),
        (WEIGHTS, {"r": 3}, {"confidence": 95}, "fraction"),
    ],
)
def test_what_is_wrongly_asked(weights, sizes, more, words):
    with pytest.raises(ArgumentError, match=words):
        composite(study(criteria()), weights, sizes, **more)
