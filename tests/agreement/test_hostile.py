"""Hostile ratings: the right number or a named status, never a silent wrong one."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import by_level, coefficients, from_codes, paired_counts
from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError
from mentorstats.estimate import has_value


def pairs(first, second, **more):
    n = len(first)
    return pd.DataFrame(
        {"unit": np.tile(range(n), 2), "rater": np.repeat(["a", "b"], n), "level": [*first, *second], **more}
    )


def family(frame, levels=(1, 2, 3, 4), **more):
    return coefficients(frame, unit="unit", rater="rater", level="level", levels=levels, **more)


def test_one_level_used():
    found = family(pairs([3] * 30, [3] * 30))
    for name in ("cohen_kappa", "scott_pi", "conger_kappa", "fleiss_kappa", "krippendorff_alpha"):
        assert found.status[name] == "one_level_used"
        assert np.isnan(found.value[name])
        assert found.status_note[name]
    for name in ("percent_agreement", "gwet_ac", "brennan_prediger", "pabak"):
        assert found.status[name] == "no_disagreement"
        assert found.value[name] == 1
        assert 0 < found.low[name] < 1
        assert found.interval_method[name] == "clopper_pearson"


def test_perfect_agreement_has_an_exact_lower_bound():
    found = family(pairs([1, 2, 3, 4] * 10, [1, 2, 3, 4] * 10))
    assert (found.status[["cohen_kappa", "percent_agreement"]] == "no_disagreement").all()
    assert found.low["percent_agreement"] == pytest.approx(0.025 ** (1 / 40))
    assert found.low["cohen_kappa"] == pytest.approx((0.025 ** (1 / 40) - 0.25) / 0.75)
    assert (found.high.dropna() == 1).all()


def test_one_rater_used_a_single_level():
    """[[25, 5], [0, 0]]: libraries give kappa 0 with a standard error of 1e-8."""
    found = family(pairs([1] * 30, [1] * 25 + [2] * 5), levels=(1, 2))
    assert found.status["cohen_kappa"] == "no_spread"
    assert np.isnan(found.se["cohen_kappa"])
    assert found.status["scott_pi"] == "ok"
    assert found.value["scott_pi"] == pytest.approx(-1 / 11)


def test_upper_bound_stays_below_one():
    found = family(pairs([1, 2] * 8, [1, 2] * 7 + [2, 2]), levels=(1, 2))
    assert found.high["cohen_kappa"] < 1
    assert found.status["cohen_kappa"] == "few_clusters"


def test_few_and_too_few_clusters():
    frame = pairs([1, 2, 3, 4] * 10, [1, 2, 3, 3] * 10)
    few = family(frame.assign(cluster=frame["unit"] % 10), cluster="cluster")
    assert few.status["cohen_kappa"] == "few_clusters"
    assert np.isfinite(few.low["cohen_kappa"])
    none = family(frame.assign(cluster=frame["unit"] % 7), cluster="cluster")
    assert none.status["cohen_kappa"] == "too_few_clusters"
    assert np.isnan(none.low["cohen_kappa"])
    assert np.isfinite(none.value["cohen_kappa"])
    assert none.interval_method["cohen_kappa"] == "none"


@pytest.mark.parametrize(
    ("frame", "status"),
    [
        (pairs([], []), "no_records"),
        (pairs([1, 2, None], [None, None, None]), "one_rater"),
        (pairs([1, 2, None, None], [None, None, 2, 3]), "no_double_scores"),
        (pairs([1, 2, None, 2], [1, None, 2, None]), "one_unit"),
    ],
)
def test_nothing_to_compare_is_named(frame, status):
    found = family(frame)
    assert set(found["status"]) == {status}
    assert found["value"].isna().all()
    assert (found["status_note"] != "").all()
    assert not has_value(found["status"].iloc[0])


def test_everybody_always_disagrees():
    found = family(pairs([1] * 20 + [2] * 20, [2] * 20 + [1] * 20), levels=(1, 2))
    assert found.value["cohen_kappa"] == pytest.approx(-1)
    assert found.status["cohen_kappa"] == "boundary"
    assert found.value["percent_agreement"] == 0
    assert np.isnan(found.low["percent_agreement"])


def test_unequal_numbers_of_raters():
    frame = pd.DataFrame(
        {"unit": [0, 0, 0, 1, 1, 2], "rater": ["a", "b", "c", "a", "b", "c"], "level": [1, 1, 2, 2, 2, 3]}
    )
    found = family(frame)
    assert found.n_units["fleiss_kappa"] == 2
    assert found.n_ratings["fleiss_kappa"] == 6
    assert found.n_ratings["krippendorff_alpha"] == 5


def test_levels_are_never_inferred():
    with pytest.raises(ArgumentError, match="not declared"):
        family(pairs(["Low", "High"], ["Low", "Mid"]), levels=None)
    unordered = pairs([1, 2], [1, 2]).astype({"level": "category"})
    with pytest.raises(ArgumentError, match="not declared"):
        family(unordered, levels=None)


def test_a_level_outside_the_declared_ones_is_named_with_its_rows():
    with pytest.raises(ArgumentError, match=r"'5'.*index 1.*Allowed: 1, 2, 3, 4"):
        family(pairs([1, 5, 2], [1, 2, 2]))


def test_the_same_rating_twice_is_named_with_its_rows():
    frame = pd.concat(
        [pairs([1, 2], [1, 2]), pd.DataFrame({"unit": [1], "rater": ["b"], "level": [4]})], ignore_index=True
    )
    with pytest.raises(DuplicateRatingError, match="index 3, 4"):
        family(frame)


def test_a_blank_duplicate_is_no_duplicate():
    frame = pd.concat(
        [pairs([1, 2], [1, 2]), pd.DataFrame({"unit": [1], "rater": ["b"], "level": [None]})],
        ignore_index=True,
    )
    assert family(frame).n_left_out["cohen_kappa"] == 1


def test_a_transposed_call_is_refused():
    """Swapping unit and rater would answer another question; a unit in two clusters is caught."""
    frame = pairs([1, 2, 3] * 4, [1, 2, 2] * 4)
    frame["cluster"] = frame["rater"]
    with pytest.raises(ArgumentError, match="two clusters"):
        family(frame, cluster="cluster")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"level": "levels"}, "no column 'levels'"),
        ({"weights": "cubic"}, "unknown weights"),
        ({"weights": [[1, 0], [0, 1]]}, "shape"),
        ({"weights": np.ones((4, 4)) * 2}, "1 on the diagonal"),
        ({"weights": np.eye(4) + np.triu(np.full((4, 4), 0.1), 1)}, "symmetric"),
        ({"interval": "wald"}, "unknown interval"),
        ({"confidence": 95}, "confidence"),
        ({"levels": [1, 1, 2]}, "declared twice"),
        ({"levels": [1]}, "two declared levels"),
        ({"replicates": 10}, "100 or more"),
        ({"interval": "fixed_count", "cluster": "unit"}, "no clusters"),
        ({"levels": [-1, 1, 2, 3, 4], "weights": "ratio"}, "not negative"),
        ({"levels": [1, 3, 2, 4], "weights": "ratio"}, "rise"),
        ({"levels": [4, 3, 2, 1], "weights": "ratio"}, "rise"),
        ({"unit_weights": "weight"}, "no column 'weight'"),
    ],
)
def test_wrong_arguments(change, message):
    arguments = {"unit": "unit", "rater": "rater", "level": "level", "levels": [1, 2, 3, 4], **change}
    with pytest.raises(ArgumentError, match=message):
        coefficients(pairs([1, 2, 3], [1, 2, 4]), **arguments)


def test_a_missing_cluster_is_refused():
    frame = pairs([1, 2, 3], [1, 2, 4], cluster=[1, 1, None, 1, 1, None])
    with pytest.raises(ArgumentError, match="no cluster in 2 rows"):
        family(frame, cluster="cluster")


def test_wrong_codes():
    with pytest.raises(ArgumentError, match="beyond"):
        from_codes(np.array([[0, 4]]), levels=range(4))
    with pytest.raises(ArgumentError, match="integers"):
        from_codes(np.array([[0.0, 1.0]]), levels=range(4))


def test_the_table_given_is_left_as_it_was():
    frame = pairs([1, 2, 3], [1, 2, 4])
    before = frame.copy()
    family(frame)
    pd.testing.assert_frame_equal(frame, before)


def test_a_column_error_names_what_is_there():
    with pytest.raises(ColumnError, match="Allowed: unit, rater, level"):
        coefficients(pairs([1], [1]), unit="lesson", rater="rater", level="level", levels=[1, 2])


def test_a_level_nobody_gave():
    found = by_level(
        pairs([1, 2] * 10, [1, 2] * 9 + [2, 1]), unit="unit", rater="rater", level="level", levels=[1, 2, 3]
    )
    assert found.status["3"] == "no_records"
    assert found.n_ratings["3"] == 0
    assert found.value["1"] == pytest.approx(0.9)


def test_bias_index_does_not_depend_on_the_order_of_rows():
    frame = pairs([1] * 30 + [2] * 10, [1] * 20 + [2] * 20)
    forward, backward = family(frame, levels=(1, 2)), family(frame.iloc[::-1], levels=(1, 2))
    assert forward.value["bias_index"] == backward.value["bias_index"] == pytest.approx(0.25)
    turned = frame.assign(rater=pd.Categorical(frame["rater"], ["b", "a"], ordered=True))
    assert family(turned, levels=(1, 2)).value["bias_index"] == pytest.approx(-0.25)


def test_single_ratings_can_give_a_rater_the_spread_that_the_pairs_lack():
    codes = np.array([[0, 0]] * 25 + [[0, 1]] * 5 + [[-1, 1]] * 30)
    found = from_codes(codes, levels=[1, 2])
    assert found.status["cohen_kappa"] == "no_spread"
    assert found.status["conger_kappa"] == "ok"
    assert found.value["conger_kappa"] == pytest.approx(
        1 - (1 / 6) / (1 - (30 / 60 * 1)) * 0 - 2 / 7, abs=1e-3
    )


@pytest.mark.parametrize("weights", ["quadratic", "ordinal"])
def test_values_below_minus_one_keep_an_interval(weights):
    frame = pairs([1, 4, 1, 4, 1, 3] * 6, [4, 1, 4, 1, 3, 3] * 6)
    found = family(frame, weights=weights)
    for name in ("brennan_prediger", "gwet_ac"):
        assert found.status[name] == "ok", name
        assert found.low[name] < found.value[name] < found.high[name] < 1, name


def test_many_single_ratings_do_not_take_the_interval_away():
    codes = np.array([[0, 0]] * 14 + [[1, 1]] * 10 + [[0, 1]] * 8 + [[0, -1]] * 600 + [[-1, 0]] * 600)
    found = from_codes(codes, levels=[1, 2])
    assert found.value["fleiss_kappa"] < -1
    assert found.interval_method["fleiss_kappa"] == "linearised_log"
    assert found.low["fleiss_kappa"] < found.value["fleiss_kappa"] < found.high["fleiss_kappa"]


def test_a_level_of_one_cluster_gets_no_interval():
    frame = pairs([1, 2] * 50 + [3] * 5, [1, 2] * 50 + [3, 3, 3, 3, 2])
    frame["cluster"] = np.where(frame["unit"] >= 100, 0, frame["unit"] // 2)
    found = by_level(frame, unit="unit", rater="rater", level="level", levels=[1, 2, 3], cluster="cluster")
    assert found.status["3"] == "too_few_clusters"
    assert found.n_clusters["3"] == 1
    assert np.isnan(found.low["3"])


def test_few_clusters_are_named_by_every_interval():
    frame = pairs([1, 2, 3, 4] * 10, [1, 2, 3, 3] * 10)
    frame["cluster"] = frame["unit"] % 10
    assert (
        family(frame, cluster="cluster", interval="bca", replicates=200).status["cohen_kappa"]
        == "few_clusters"
    )


@pytest.mark.parametrize(
    "cluster",
    [np.zeros(8, dtype=int), np.array([0, 1, 2, -1]), np.array([0.0, 1.0, 2.0, 3.0]), np.zeros(5, dtype=int)],
)
def test_wrong_clusters_of_codes(cluster):
    with pytest.raises(ArgumentError, match="cluster is"):
        from_codes(np.array([[0, 0], [1, 1], [0, 1], [1, 0]]), levels=[1, 2], cluster=cluster)


def test_unsigned_codes_are_codes():
    codes = np.array([[0, 0], [1, 1], [0, 1], [1, 0]] * 5)
    pd.testing.assert_frame_equal(
        from_codes(codes.astype("uint8"), levels=[1, 2]), from_codes(codes, levels=[1, 2])
    )


@pytest.mark.parametrize("levels", [[1], [1, "1", 2], [1, None], [1.0, float("nan")], [1.0, float("inf")]])
def test_levels_that_are_no_scale(levels):
    with pytest.raises(ArgumentError):
        family(pairs([1, 1], [1, 1]), levels=levels)


def test_weights_that_forgive_everything():
    with pytest.raises(ArgumentError, match="full agreement"):
        family(pairs([1, 2], [1, 2]), levels=(1, 2), weights=np.ones((2, 2)))


@pytest.mark.parametrize(
    ("weight", "message"),
    [
        ([1, 1, 0, 1, 1, 0], "no usable weight in 2 rows, first at index 2, 5"),
        ([1, 1, None, 1, 1, 1], "no usable weight in 1 rows"),
        (["1", "1", "much", "1", "1", "1"], "no usable weight"),
        ([1, 1, float("inf"), 1, 1, 1], "no usable weight"),
        ([1, 2, 3, 1, 2, 4], "two weights, first at index 5"),
    ],
)
def test_wrong_unit_weights(weight, message):
    with pytest.raises(ArgumentError, match=message):
        family(pairs([1, 2, 3], [1, 2, 4], weight=weight), unit_weights="weight")


def test_weighted_units_and_the_fixed_count_do_not_go_together():
    frame = pairs([1, 2, 3], [1, 2, 4], weight=[1, 2, 3] * 2)
    with pytest.raises(ArgumentError, match="no unit weights"):
        family(frame, unit_weights="weight", interval="fixed_count")


def test_a_unit_of_two_groups_is_two_units():
    frame = pairs([1, 2, 3, 4] * 5, [1, 2, 3, 3] * 5)
    twice = pd.concat([frame.assign(term="a"), frame.assign(term="b")], ignore_index=True)
    with pytest.raises(DuplicateRatingError):
        family(twice)
    found = family(twice, by="term")
    for term in ("a", "b"):
        pd.testing.assert_frame_equal(found.loc[term], family(frame))


def test_a_rating_twice_within_a_group_is_still_refused():
    frame = pd.concat([pairs([1, 2], [1, 2])] * 2, ignore_index=True).assign(term="a")
    with pytest.raises(DuplicateRatingError):
        family(frame, by="term")


def test_groups_keep_large_integers_as_they_are():
    large = 2**62 + 1  # no float holds it
    frame = pairs([1, 2, 3, 4], [1, 2, 3, 3], number=large, half=0.5)
    found = family(frame, by=["number", "half"])
    assert set(found.index.get_level_values("number")) == {large}
    assert found.index.get_level_values("number").dtype == "int64"
    nullable = frame.astype({"number": "Int64"})
    nullable.loc[nullable["unit"] == 3, "number"] = pd.NA
    names = family(nullable, by="number").index.get_level_values("number")
    assert [name for name in names.unique() if not pd.isna(name)] == [large]


def test_groups_of_categories_are_named_by_their_values():
    frame = pairs([1, 2, 3, 4], [1, 2, 3, 3], term=pd.Categorical(["a", "b", None, "b"] * 2))
    names = family(frame, by="term").index.get_level_values("term").unique()
    assert list(names[:2]) == ["a", "b"]
    assert pd.isna(names[2])


@pytest.mark.parametrize("interval", ["none", "fixed_count"])
def test_perfect_agreement_without_an_exact_bound_has_no_interval(interval):
    found = family(pairs([1, 2, 3, 4] * 10, [1, 2, 3, 4] * 10), interval=interval).loc["cohen_kappa"]
    assert (found.value, found.status, found.interval_method) == (1.0, "no_disagreement", "none")
    assert np.isnan([found.se, found.low, found.high, found.confidence]).all()
    assert found.generalises_to == ""


def test_no_interval_asked_for_is_said():
    found = family(pairs([1, 2, 3, 4] * 10, [1, 2, 3, 3] * 10), interval="none")
    assert set(found["interval_method"]) == {"none"}
    assert found["confidence"].isna().all()
    assert found.status["cohen_kappa"] == "ok"
    assert np.isfinite(found.se["cohen_kappa"])


def test_no_exact_bound_where_a_weight_lies_below_zero():
    harsh = np.full((2, 2), -0.5) + 1.5 * np.eye(2)
    found = family(pairs([1, 2] * 20, [1, 2] * 20), levels=(1, 2), weights=harsh)
    for name in ("cohen_kappa", "krippendorff_alpha", "gwet_ac"):
        assert found.status[name] == "no_disagreement"
        assert np.isnan(found.low[name])
        assert "less than 0" in found.status_note[name]
    assert found.interval_method["percent_agreement"] == "clopper_pearson"
    assert found.interval_method["pabak"] == "clopper_pearson"


def test_no_exact_bound_for_weighted_units():
    frame = pairs([1, 2] * 20, [1, 2] * 20, weight=[1, 2] * 40)
    found = family(frame, levels=(1, 2), unit_weights="weight")
    assert found.status["cohen_kappa"] == "no_disagreement"
    assert np.isnan(found.low["cohen_kappa"])
    assert "weighted units" in found.status_note["cohen_kappa"]


def test_paired_counts_by_hand():
    frame = pairs([1, 1, 2, 3, None], [1, 2, 2, 3, 3])
    found = paired_counts(frame, unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    assert list(found.index.names) == ["a", "b"]
    assert found["n"].unstack().to_numpy().tolist() == [[1, 1, 0], [0, 1, 0], [0, 0, 1]]
    backward = paired_counts(frame[::-1], unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    pd.testing.assert_frame_equal(found, backward)


def test_paired_counts_of_several_raters_go_both_ways():
    frame = pd.DataFrame(
        {"unit": [0, 0, 0, 1, 1, 2], "rater": ["a", "b", "c", "a", "b", "c"], "level": [1, 1, 2, 2, 1, 2]}
    )
    found = paired_counts(frame, unit="unit", rater="rater", level="level", levels=[1, 2])
    assert list(found.index.names) == ["one rater", "another rater"]
    assert found["n"].unstack().to_numpy().tolist() == [[2, 3], [3, 0]]


def test_paired_counts_of_nothing():
    found = paired_counts(
        pairs([1, 2], [None, None]), unit="unit", rater="rater", level="level", levels=[1, 2]
    )
    assert found["n"].tolist() == [0, 0, 0, 0]
