"""What holds for every design: orthogonal squares, two ways that agree, coefficients in order."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated import drawn

from mentorstats.reliability import cheapest, d_study, g_study
from mentorstats.reliability.components.cells import as_array, read
from mentorstats.reliability.components.design import design
from mentorstats.reliability.components.squares import squares
from mentorstats.reliability.plans.cut import own_error

EXACT = 1e-9  # relative: the same sums in another order
SAME = 1e-6  # relative: likelihood at its optimum against mean squares

DESIGNS = {
    "p × i": ({"p": 7, "i": 4}, None),
    "p × i × o": ({"p": 6, "i": 3, "o": 4}, None),
    "p × (r in o)": ({"p": 6, "o": 3, "r": 3}, {"r": "o"}),
    "(o in p) × r": ({"p": 8, "o": 3, "r": 3}, {"o": "p"}),
    "(o in p) × r × i": ({"p": 6, "o": 3, "r": 3, "i": 3}, {"o": "p"}),
    "p × (r in o in t)": ({"p": 5, "t": 3, "o": 2, "r": 3}, {"r": "o", "o": "t"}),
    "r in p": ({"p": 9, "r": 3}, {"r": "p"}),
}


def example(name, seed=0):
    sizes, nested = DESIGNS[name]
    factors = list(sizes)
    plan = design(factors[0], factors[1:], nested)
    variances = {plan.name(effect): 1.0 + 0.5 * len(effect) for effect in plan.effects}
    scores = drawn(sizes, variances, nested=nested, seed=seed)
    return scores, {"object": factors[0], "facets": factors[1:], "nested": nested, "score": "score"}


@pytest.mark.parametrize("name", DESIGNS)
def test_names_and_degrees_of_freedom_and_squares_add_up(name):
    scores, asked = example(name)
    study = g_study(scores, **asked)
    table = study.mean_squares
    assert study.design.text == name
    assert table.df.sum() == len(scores) - 1
    assert table.ss.sum() == pytest.approx(((scores.score - scores.score.mean()) ** 2).sum(), rel=EXACT)
    assert (table.ss > 0).all()


@pytest.mark.parametrize("name", DESIGNS)
def test_expected_mean_squares_from_first_principles(name):
    """E(SS) of effects with covariance σ² Z Z' is σ² times the squares of Z's columns, summed."""
    sizes, nested = DESIGNS[name]
    factors = list(sizes)
    plan = design(factors[0], factors[1:], nested)
    shape = tuple(sizes.values())
    expected = squares(np.zeros(shape), plan, plan.effects).expected
    places = np.indices(shape).reshape(len(shape), -1)
    for j, other in enumerate(plan.effects):
        own = [places[factors.index(name)] for name in factors if name in other]
        member = pd.factorize(pd.MultiIndex.from_arrays(own))[0]
        columns = (member == np.arange(member.max() + 1)[:, None]).astype(float)
        found = [squares(column.reshape(shape), plan, plan.effects).ms for column in columns]
        np.testing.assert_allclose(np.sum(found, axis=0), expected[:, j], atol=EXACT)


@pytest.mark.parametrize("name", DESIGNS)
def test_likelihood_agrees_where_no_mean_square_is_negative(name):
    for seed in range(40):
        scores, asked = example(name, seed)
        by_squares = g_study(scores, **asked)
        if (by_squares.components.variance_raw > 0).all():
            break
    by_likelihood = g_study(scores, method="reml", **asked)
    assert by_likelihood.method == "reml"
    np.testing.assert_allclose(by_likelihood.components.variance, by_squares.components.variance, rtol=SAME)
    plans = [d_study(study, {asked["facets"][0]: [1, 5]}) for study in (by_squares, by_likelihood)]
    for column in ("relative_error", "absolute_error", "generalizability", "dependability"):
        np.testing.assert_allclose(plans[1][column], plans[0][column], rtol=SAME)


@pytest.mark.parametrize("name", DESIGNS)
def test_order_of_rows_and_codes_do_not_matter(name):
    scores, asked = example(name)
    shuffled = scores.sample(frac=1, random_state=1)
    for column in [asked["object"], *asked["facets"]]:
        shuffled[column] = "code " + (97 - shuffled[column]).astype("str")
    one, other = (g_study(table, **asked).components for table in (scores, shuffled))
    np.testing.assert_allclose(other.variance_raw, one.variance_raw, rtol=EXACT, atol=EXACT)


def test_codes_of_nested_facets_may_repeat_or_not():
    scores, asked = example("p × (r in o)")
    unique = scores.assign(r=scores["o"] * 10 + scores["r"])
    one, other = (g_study(table, **asked).components for table in (scores, unique))
    pd.testing.assert_frame_equal(one, other)


@given(seed=st.integers(0, 10_000), factor=st.floats(0.01, 100), shift=st.floats(-100, 100))
@settings(max_examples=25, deadline=None)
def test_the_scale_of_scores(seed, factor, shift):
    scores, asked = example("p × (r in o)", seed)
    scaled = scores.assign(score=scores.score * factor + shift)
    one, other = (g_study(table, **asked) for table in (scores, scaled))
    np.testing.assert_allclose(
        other.components.variance_raw,
        one.components.variance_raw * factor**2,
        rtol=1e-6,
        atol=1e-6 * factor**2,
    )
    plans = [d_study(study, {"o": [1, 4], "r": [1, 2]}) for study in (one, other)]
    np.testing.assert_allclose(plans[1].dependability, plans[0].dependability, atol=1e-6)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_dependability_is_no_more_than_generalizability_and_both_grow(seed):
    scores, asked = example("p × i × o", seed)
    sizes = {"i": [1, 2, 5, 20], "o": [1, 3, 9]}
    plans = d_study(g_study(scores, **asked), sizes)
    for scenario in set(plans.scenario):
        part = plans[plans.scenario == scenario]
        assert (part.dependability <= part.generalizability + EXACT).all()
        for column in ("generalizability", "dependability"):
            square = part[column].to_numpy().reshape(4, 3)
            assert (np.diff(square, axis=0) >= -EXACT).all()
            assert (np.diff(square, axis=1) >= -EXACT).all()


def test_generalizability_of_as_many_items_is_internal_consistency():
    import pingouin

    scores, asked = example("p × i", 3)
    plans = d_study(g_study(scores, **asked), {})
    wide = scores.pivot(index="p", columns="i", values="score")
    assert plans.generalizability[0] == pytest.approx(pingouin.cronbach_alpha(wide)[0], rel=1e-6)


# Fixed facets, nested plans ----------------------------------------------------------------------------


def test_a_fixed_facet_is_averaged_over():
    """As if the mean over its members had been studied; and planned later it is the same."""
    scores, asked = example("p × i × o", 5)
    fixed = g_study(scores, fixed="i", **asked)
    means = scores.groupby(["p", "o"], as_index=False)["score"].mean()
    averaged = g_study(means, object="p", facets="o", score="score")
    np.testing.assert_allclose(fixed.components.variance_raw, averaged.components.variance_raw, rtol=EXACT)
    assert list(fixed.components.index) == ["p", "o", "p × o, residual"]
    late = d_study(g_study(scores, **asked), {"o": [1, 4]}, fixed="i")
    for plans in (d_study(fixed, {"o": [1, 4]}), late):
        other = d_study(averaged, {"o": [1, 4]})
        for column in ("universe_variance", "relative_error", "absolute_error", "generalizability"):
            np.testing.assert_allclose(plans[column], other[column], rtol=EXACT)


def test_a_fixed_facet_by_its_formula():
    """Part C5: σ²(p) + σ²(pi)/n is the object's, and leaves the relative error."""
    scores, asked = example("p × i × o", 5)
    study = g_study(scores, **asked)
    v = study.components.variance_raw
    plan = d_study(study, {"i": 3, "o": 2}, fixed=["i"]).iloc[0]
    assert plan.universe_variance == pytest.approx(v["p"] + v["p × i"] / 3)
    relative = v["p × o"] / 2 + v["p × i × o, residual"] / 6
    assert plan.relative_error == pytest.approx(relative)


def test_a_crossed_study_for_a_nested_plan():
    scores, asked = example("p × i × o", 5)
    study = g_study(scores, **asked)
    v = study.components.variance
    plan = d_study(study, {"i": 3, "o": 2}, nested={"i": "o"}).iloc[0]
    relative = v["p × o"] / 2 + (v["p × i"] + v["p × i × o, residual"]) / 6
    assert plan.relative_error == pytest.approx(relative)
    assert plan.absolute_error == pytest.approx(relative + v["o"] / 2 + (v["i"] + v["i × o"]) / 6)


def test_raters_of_their_own_make_severity_relative_error():
    scores, asked = example("p × i", 5)
    plan = d_study(g_study(scores, **asked), {"i": 3}, nested={"i": "p"}).iloc[0]
    assert plan.relative_error == plan.absolute_error
    assert plan.generalizability == plan.dependability


# At a cut ----------------------------------------------------------------------------------------------


def test_error_within_objects_averages_to_the_absolute_error():
    for name in ("p × i", "p × i × o", "p × (r in o)", "(o in p) × r"):
        scores, asked = example(name, 2)
        study = g_study(scores, **asked)
        point = dict.fromkeys(asked["facets"], 3)
        own = own_error(study.design, study.design, as_array(study.cells), [point]).mean()
        raw = study.components.variance_raw
        plan = study.design
        expected = sum(
            raw.iloc[i] / 3 ** len(effect - {"p"}) for i, effect in enumerate(plan.effects) if effect != {"p"}
        )
        assert own == pytest.approx(expected, rel=EXACT)


def test_consistency_is_what_a_simulation_tends_to():
    scores, asked = example("p × i", 2)
    plan = d_study(g_study(scores, **asked), {"i": 4}, cut=5.5).iloc[0]
    mean = scores.score.mean()
    generator = np.random.default_rng(0)
    own = mean + np.sqrt(plan.universe_variance) * generator.standard_normal(400_000)
    runs = [own + plan["sem"] * generator.standard_normal(own.size) >= 5.5 for _ in range(2)]
    assert plan.decision_consistency == pytest.approx((runs[0] == runs[1]).mean(), abs=0.003)


def test_dependability_at_a_cut_grows_with_its_distance():
    scores, asked = example("p × i", 2)
    study = g_study(scores, **asked)
    found = [d_study(study, {"i": 4}, cut=cut).iloc[0] for cut in (scores.score.mean(), 7, 9, 20)]
    values = [plan.dependability_at_cut for plan in found]
    assert values[0] == pytest.approx(found[0].dependability)
    assert values == sorted(values)
    assert np.isnan(found[-1].conditional_sem)  # beyond all means


# Costs -------------------------------------------------------------------------------------------------


def test_the_cheapest_plan():
    scores, asked = example("(o in p) × r", 4)
    study = g_study(scores, **asked)
    plans = d_study(study, {"o": [1, 2, 4, 8], "r": [1, 2, 3]}, cost={"o": 10, ("o", "r"): 5})
    first = plans.iloc[0]
    assert first.cost == 15
    assert plans.cost.iloc[-1] == 10 * 8 + 5 * 24
    estimated = plans[plans.scenario == "as_estimated"]
    target = estimated.dependability.median()
    found = cheapest(estimated, target)
    assert found.cost[0] == estimated.cost[estimated.dependability >= target].min()
    surer = cheapest(estimated, estimated.dependability_low.max(), limit="low")
    assert surer.dependability_low[0] == estimated.dependability_low.max()
    assert cheapest(plans, 0.99999).empty


def test_coding_of_an_unbalanced_table_is_seen():
    scores, _ = example("p × (r in o)")
    plan = design("p", ["o", "r"], {"r": "o"})
    assert as_array(read(scores, plan, "score")) is not None
    assert as_array(read(scores.iloc[1:], plan, "score")) is None
