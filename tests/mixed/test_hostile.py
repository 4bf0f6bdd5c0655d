"""What goes wrong in practice: each case gives the right number, a status and its reason, or a clear error.

Warnings are errors here, so that none of numpy's or pandas's leaks either.
"""

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from mentorstats.errors import ArgumentError, ColumnError, ModelError
from mentorstats.estimate import Status, has_value
from mentorstats.mixed import by, fit

SAME = 1e-6  # rows and columns in another order, or of another type
EXACT = 1e-9
BALANCED = 1e-4  # relative: an optimum found to a tolerance against the analysis of variance
SATTERTHWAITE = 1e-4  # relative: it is differentiated at an optimum found to a tolerance

BOTH = ["candidate", "rater"]
LEVELS = [1, 2, 3, 4]
NAMES = {1: "Low", 2: "Mid", 3: "High", 4: "Top"}
ARROW_DICTIONARY = pd.ArrowDtype(pa.dictionary(pa.int32(), pa.string()))


def scored(candidates=40, raters=6, seed=1):
    rng = np.random.default_rng(seed)
    candidate, rater = np.divmod(np.arange(candidates * raters), raters)
    made = pd.DataFrame({"candidate": candidate, "rater": rater})
    made["week"] = rng.normal(size=len(made)).round(3)
    made["score"] = (
        3
        + rng.normal(size=candidates)[candidate]
        + 0.6 * rng.normal(size=raters)[rater]
        + 0.3 * made["week"]
        + 0.7 * rng.normal(size=len(made))
    )
    return made.assign(group="g" + (made["candidate"] % 4).astype("str"))


def rated(candidates=20, raters=6, seed=5):
    made = scored(candidates, raters, seed)
    rng = np.random.default_rng(seed)
    latent = made["score"] - 3 + rng.logistic(size=len(made))
    return made.assign(level=np.digitize(latent, [-1.5, 0, 1.5]) + 1)


def linear(data, fixed="week", grouped=BOTH, **more):
    return fit(data, response="score", fixed=fixed, grouped=grouped, **more)


def ordinal(data, fixed="week", grouped=BOTH, levels=LEVELS, **more):
    return fit(data, response="level", kind="ordinal", levels=levels, fixed=fixed, grouped=grouped, **more)


def accounted(found):
    """Nothing is missing without a status and a reason, and every interval holds its estimate."""
    for table, value in (
        (found.components, "variance"),
        (found.coefficients, "estimate"),
        (found.correlations, "correlation"),
    ):
        for name, row in table.iterrows():
            if not has_value(Status(row.status)):
                assert np.isnan(row[value]), name
                assert row.status_note, name
                continue
            assert np.isfinite(row[value]), name
            if row.interval_method == "none":  # the latent variance is not estimated
                assert row.status_note, name
                continue
            assert np.isfinite([row.low, row.high]).all(), name
            assert row.low <= row[value] <= row.high, name
    if found.status is Status.OK:
        assert np.isfinite(found.log_likelihood)
        assert found.converged
    else:
        assert np.isnan(found.log_likelihood)
        assert found.status_note in found.notes
        assert not has_value(found.status)
    assert {grouping.name for grouping in found.model.declared.grouped if not grouping.within} <= set(
        found.components.index
    )
    assert repr(found)
    return found


def agree(one, other, tolerance=SAME, *, limits=False):
    assert other.log_likelihood == pytest.approx(one.log_likelihood, abs=tolerance)
    for mine, theirs in zip(one.model.fitted.covariances(), other.model.fitted.covariances(), strict=True):
        np.testing.assert_allclose(theirs, mine, rtol=tolerance, atol=tolerance)
    for table, columns in (
        ("coefficients", ["estimate", "se", "df", "low", "high"]),
        ("thresholds", ["estimate", "se", "low", "high"]),
        ("components", ["variance", "sd", "share", "low", "high"]),
    ):
        if table == "components" and not limits:  # which take longer than all else
            continue
        mine, theirs = getattr(one, table), getattr(other, table)
        assert list(mine.index) == list(theirs.index)
        np.testing.assert_allclose(theirs[columns], mine[columns], rtol=tolerance, atol=tolerance)


# Linear models --------------------------------------------------------------------------------------


def test_a_rater_variance_of_zero():
    data = scored()
    data["score"] -= data.groupby("rater")["score"].transform("mean")
    found = accounted(linear(data))
    rater = found.components.loc["rater"]
    assert found.status is Status.OK
    assert rater.status == Status.BOUNDARY
    assert rater.variance == rater.low == 0.0
    assert rater.high > 0
    assert rater.status_note in found.notes
    alone = linear(data, grouped="candidate")
    assert found.log_likelihood == pytest.approx(alone.log_likelihood, abs=EXACT)


def test_the_limit_of_a_variance_that_is_far_below_its_natural_size():
    """The search for it begins where the likelihood has long given up."""
    rng = np.random.default_rng(0)
    candidate, rest = np.divmod(np.arange(40 * 12), 12)
    data = pd.DataFrame({"candidate": candidate, "rater": rest // 3, "criterion": rest % 3})
    noise = rng.normal(size=len(data))
    pairs = [data["candidate"], data["rater"]]
    data["score"] = noise - 0.9 * pd.Series(noise).groupby(pairs).transform("mean")
    pair = accounted(linear(data, (), [by("candidate", "rater"), "criterion"])).components.iloc[0]
    assert pair.status == Status.BOUNDARY
    assert 0 < pair.high < 0.1


@pytest.mark.parametrize("grouped", ["candidate", BOTH])
@pytest.mark.parametrize("fixed", ["week", "term"])
def test_perfect_agreement_is_saturated(grouped, fixed):
    data = scored().assign(term=lambda x: x["candidate"] % 2 * 1.0)
    data["score"] = data["candidate"] % 5 - 0.168 * data["term"]
    found = accounted(linear(data, fixed, grouped))
    assert found.status is Status.SATURATED
    assert set(found.components.status) == set(found.coefficients.status) == {Status.SATURATED}
    assert {"candidate", "residual"} <= set(found.components.index)


@pytest.mark.parametrize("value", [3, 0, 0.1, 1e-9, 1e9, -7.3])
def test_a_constant_score_has_no_spread(value):
    found = accounted(linear(scored().assign(score=value)))
    assert found.status is Status.NO_SPREAD
    assert set(found.components.status) == {Status.NO_SPREAD}
    assert list(found.components.index) == [*BOTH, "residual"]


def test_a_single_rater_is_set_aside_and_the_rest_fitted():
    data = pd.concat([scored(), scored(seed=3)]).query("rater == 0")
    found = accounted(linear(data))
    assert found.components.status["rater"] == Status.NOT_IDENTIFIED
    assert found.components.n_members["rater"] == 1
    assert "rater was set aside; the other components are fitted without it." in found.notes
    alone = linear(data, grouped="candidate")
    assert found.log_likelihood == pytest.approx(alone.log_likelihood, abs=EXACT)


def test_a_single_rater_who_saw_each_candidate_once_identifies_neither():
    found = accounted(linear(scored().query("rater == 0")))
    assert set(found.components.status[BOTH]) == {Status.NOT_IDENTIFIED}
    assert found.components.status["residual"] == Status.OK
    slope = np.polyfit(*scored().query("rater == 0")[["week", "score"]].to_numpy().T, 1)[0]
    assert found.coefficients.estimate["week"] == pytest.approx(slope)


def test_notes_stand_in_the_order_of_the_groupings():
    """Not in the order of a set, which changes from run to run."""
    aside = [note for note in linear(scored().query("rater == 0")).notes if "set aside" in note]
    assert [note.split()[0] for note in aside] == BOTH


def test_one_row_a_group_cannot_be_told_from_the_residual():
    found = accounted(linear(scored().assign(candidate=range(240)), grouped="candidate"))
    assert found.components.status["candidate"] == Status.NOT_IDENTIFIED
    assert "residual" in found.components.status_note["candidate"]


def test_a_group_with_a_single_row_among_others_is_kept():
    data = scored()
    data.loc[len(data)] = [99, 0, 0.1, 3.3, "g0"]
    found = accounted(linear(data))
    assert found.components.n_members["candidate"] == 41
    assert set(found.components.status) == {Status.OK}


@pytest.mark.parametrize("column", ["score", "candidate", "rater", "week", "group"])
@pytest.mark.parametrize("kind", ["linear", "ordinal"])
def test_a_missing_value_and_a_missing_row_are_the_same(column, kind):
    data = rated()
    gone = data.index % 7 == 0
    column = "level" if kind == "ordinal" and column == "score" else column
    fitted = linear if kind == "linear" else ordinal
    holed = accounted(fitted(data.assign(**{column: data[column].mask(gone)}), ["week", "group"]))
    agree(fitted(data[~gone], ["week", "group"]), holed, EXACT)
    assert holed.n_left_out == gone.sum()
    assert any("left out" in note for note in holed.notes)


def test_a_collinear_column_is_named_and_the_rest_stands():
    data = scored().assign(twice=lambda x: 2 * x["week"], flat=7)
    found = accounted(linear(data, ["week", "twice", "flat"]))
    terms = found.coefficients
    assert list(terms.status) == [Status.OK, Status.OK, Status.RANK_DEFICIENT, Status.RANK_DEFICIENT]
    assert "twice" in terms.status_note["twice"]
    plain = linear(data)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=EXACT)
    assert terms.estimate["week"] == pytest.approx(plain.coefficients.estimate["week"], abs=EXACT)


def test_numbers_far_from_zero_say_what_helps():
    days = 20_240_100 + scored().index % 28
    found = accounted(linear(scored().assign(day=days), "day"))
    assert found.coefficients.status["day"] == Status.RANK_DEFICIENT
    assert "subtract a number near its mean" in found.coefficients.status_note["day"]
    counted = linear(scored().assign(day=days - 20_240_100), "day")
    assert counted.coefficients.status["day"] == Status.OK


@pytest.mark.parametrize("kind", ["str", "string[pyarrow]", "category", "bool"])
def test_a_response_that_is_not_a_number(kind):
    with pytest.raises(ModelError, match=r"response 'score' holds .*kind='ordinal'"):
        linear(scored().assign(score=lambda x: x["score"].round().astype(kind)))


@pytest.mark.parametrize(
    ("value", "what"),
    [
        (np.inf, "data, row 17: .*'{}' is infinite"),
        (-np.inf, "data, row 17: .*'{}' is infinite"),
        (1e200, r"column '{}': 1e\+200 at 17. Allowed: numbers between -1e\+50 and 1e\+50"),
    ],
)
@pytest.mark.parametrize("column", ["score", "week"])
def test_an_infinite_number_is_named_with_its_row(column, value, what):
    data = scored()
    data.loc[17, column] = value
    with pytest.raises((ModelError, ArgumentError), match=what.format(column)):
        linear(data)


def test_rows_are_named_without_the_type_of_their_number():
    data = scored().iloc[1::2]
    with pytest.raises(ModelError, match="data, row 17: "):
        linear(data.assign(score=data["score"].mask(data.index == 17, np.inf)))


@pytest.mark.parametrize("weight", [0, -1.0])
def test_weights_are_above_zero(weight):
    data = scored().assign(w=lambda x: np.where(x.index == 3, weight, 1))
    with pytest.raises(ModelError, match="row 3: weight 'w' is not above zero"):
        linear(data, weights="w")


@pytest.mark.parametrize("weight", [1e-9, 7.0, 1e6])
def test_equal_weights_change_the_residual_only(weight):
    plain, found = linear(scored()), accounted(linear(scored().assign(w=weight), weights="w"))
    assert found.components.variance["residual"] == pytest.approx(
        weight * plain.components.variance["residual"], rel=SAME
    )
    columns = ["estimate", "se", "df", "low", "high"]
    np.testing.assert_allclose(found.coefficients[columns], plain.coefficients[columns], rtol=SATTERTHWAITE)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=SAME)


@pytest.mark.parametrize("kind", ["linear", "ordinal"])
@pytest.mark.parametrize("other", ["site", "candidate"])
def test_two_groupings_alike_give_their_sum(other, kind):
    """A second name for the raters, or raters nested one to one in candidates."""
    data = rated()
    fitted = linear if kind == "linear" else ordinal
    if other == "site":
        data, grouped, alone = data.assign(site="s" + data["rater"].astype("str")), [*BOTH, "site"], BOTH
        joint, parts = "rater + site", ["rater", "site"]
    else:
        data, grouped, alone = data.assign(rater=data["candidate"] + 100), BOTH, ["candidate"]
        joint, parts = "candidate + rater", BOTH
    found, plain = accounted(fitted(data, grouped=grouped)), fitted(data, grouped=alone)
    assert set(found.components.status[parts]) == {Status.NOT_IDENTIFIED}
    expected = plain.components.variance[joint.split(" + ")[0]]
    assert found.components.variance[joint] == pytest.approx(expected, abs=EXACT)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=EXACT)


@pytest.mark.parametrize("untyped", [True, False])
@pytest.mark.parametrize("kind", ["linear", "ordinal"])
def test_an_empty_frame(kind, untyped):
    data = pd.DataFrame(columns=rated().columns) if untyped else rated().iloc[:0]
    found = accounted((linear if kind == "linear" else ordinal)(data))
    assert found.status is Status.NO_RECORDS
    assert found.n_ratings == 0


@pytest.mark.parametrize("column", ["score", "week", "rater"])
def test_a_column_without_a_value(column):
    found = accounted(linear(scored().assign(**{column: None})))
    assert found.status is Status.NO_RECORDS
    assert found.n_left_out == 240


def test_two_columns_of_one_name_and_none():
    data = scored()
    with pytest.raises(ColumnError, match="two columns are called 'week'"):
        linear(pd.concat([data, data[["week"]]], axis=1))
    with pytest.raises(ColumnError, match=r"no column 'weak'. Allowed: .*week"):
        linear(data, "weak")
    with pytest.raises(ColumnError, match="no column 'judge'"):
        linear(data, grouped=["candidate", "judge"])


@pytest.mark.parametrize("rows", [1, 2, 3, 4, 7])
def test_a_handful_of_rows(rows):
    accounted(linear(scored().iloc[4 : 4 + rows]))


def test_terms_that_already_tell_the_raters_apart():
    found = accounted(linear(scored().astype({"rater": "str"}), "rater"))
    assert found.components.status["rater"] == Status.NOT_IDENTIFIED
    assert "fixed terms" in found.components.status_note["rater"]


@pytest.mark.parametrize("value", [0.0, 2.0, "candidate"])
@pytest.mark.parametrize("correlated", [True, False])
def test_a_slope_over_a_column_that_does_not_vary(value, correlated):
    data = scored()
    data["stage"] = data["candidate"] % 3 if value == "candidate" else value
    with pytest.raises(ModelError, match="no member of 'candidate' has rows that differ enough in 'stage'"):
        linear(data, grouped=[by("candidate", slope="stage", correlated=correlated), "rater"])


def test_roles_that_nobody_has_both_of_have_no_correlation():
    data = scored(raters=8).assign(role=lambda x: np.where(x["rater"] < 4, "mentor", "tutor"))
    found = accounted(linear(data, grouped=["candidate", by("rater", within="role")]))
    assert list(found.correlations.status) == [Status.NOT_IDENTIFIED]


@pytest.mark.parametrize("data", [scored(), scored().sample(frac=0.7, random_state=3)])
def test_slopes_near_zero_have_an_interval(data):
    """The search for a limit goes far out here, where exponentials overflow."""
    accounted(linear(data, ["week", "group"], [by("candidate", slope="week"), "rater"]))


def test_a_limit_is_found_where_the_profile_bends_the_other_way():
    """Eight rows: going out, the criterion is concave, and a Newton step would be without end."""
    data = pd.DataFrame({"lesson": list("aabbccdd"), "score": [1.0, 1.2, 2.0, 2.1, 3.1, 3.0, 1.9, 2.2]})
    found = accounted(fit(data, response="score", grouped="lesson"))
    inside, between = (0.02 + 0.005 + 0.005 + 0.045) / 4, 2 * data.groupby("lesson")["score"].mean().var()
    expected = [(between - inside) / 2, inside]
    assert list(found.components.variance) == pytest.approx(expected, rel=BALANCED)


@pytest.mark.parametrize("kind", ["datetime64[ns]", "timedelta64[ns]", "timestamp[ns][pyarrow]"])
def test_dates_and_durations_are_refused(kind):
    days = pd.Series(range(240)).astype("timedelta64[ns]" if kind.startswith("timed") else "datetime64[ns]")
    with pytest.raises(ModelError, match=r"'day' holds dates or durations. Count weeks or days"):
        linear(scored().assign(day=days.astype(kind)), "day")


# The same answer ------------------------------------------------------------------------------------

KEYS = ["int64", "int8", "Int64", "float64", "float32", "str", "object", "string[pyarrow]", "category"]
KEYS += ["int64[pyarrow]", "double[pyarrow]", "uint16"]


@pytest.fixture(scope="module")
def fitted():
    return {"linear": linear(scored(), ["week", "group"]), "ordinal": ordinal(rated(), ["week", "group"])}


@pytest.mark.parametrize("kind", ["linear", "ordinal"])
@pytest.mark.parametrize("key", KEYS)
def test_types_of_the_groupings(fitted, kind, key):
    given = dict.fromkeys(BOTH, key)
    if kind == "linear":
        agree(fitted[kind], linear(scored().astype(given), ["week", "group"]))
    else:
        agree(fitted[kind], ordinal(rated().astype(given), ["week", "group"]))


@pytest.mark.parametrize("key", ["Float64", "double[pyarrow]", "object"])
def test_types_of_numbers(fitted, key):
    agree(fitted["linear"], linear(scored().astype({"score": key, "week": key}), ["week", "group"]))


@pytest.mark.parametrize("key", ["string[pyarrow]", "category", "object", ARROW_DICTIONARY])
def test_types_of_categories(fitted, key):
    agree(fitted["linear"], linear(scored().astype({"group": key}), ["week", "group"]))


@pytest.mark.parametrize("key", ["Int64", "float64", "int64[pyarrow]", "object", "category"])
def test_types_of_numbered_levels(fitted, key):
    agree(fitted["ordinal"], ordinal(rated().astype({"level": key}), ["week", "group"]))


@pytest.mark.parametrize("key", ["str", "string[pyarrow]", "object", "category", ARROW_DICTIONARY])
def test_types_of_named_levels(fitted, key):
    data = rated().assign(level=lambda x: x["level"].map(NAMES).astype("str").astype(key))
    found = ordinal(data, ["week", "group"], levels=list(NAMES.values()))
    assert found.log_likelihood == pytest.approx(fitted["ordinal"].log_likelihood, abs=SAME)
    assert list(found.thresholds.index) == ["Low to Mid", "Mid to High", "High to Top"]
    np.testing.assert_allclose(found.thresholds.estimate, fitted["ordinal"].thresholds.estimate, atol=SAME)


def test_an_ordered_categorical_brings_its_levels(fitted):
    data = rated()
    data["level"] = pd.Categorical(data["level"], LEVELS, ordered=True)
    agree(fitted["ordinal"], ordinal(data, ["week", "group"], levels=None))


def test_rows_and_columns_in_another_order(fitted):
    for kind, data, again in (("linear", scored(), linear), ("ordinal", rated(), ordinal)):
        columns = np.random.default_rng(1).permutation(data.columns)
        mixed = data.sample(frac=1, random_state=1)[list(columns)]
        agree(fitted[kind], again(mixed, ["week", "group"]), limits=True)
        agree(fitted[kind], again(mixed.set_axis(["a"] * len(mixed)), ["week", "group"]))


def test_incomplete_rows_with_slopes_in_another_order():
    data = scored().sample(frac=0.7, random_state=3)
    grouped = [by("candidate", slope="week"), "rater"]
    again = linear(data.sample(frac=1, random_state=1), grouped=grouped)
    agree(linear(data, grouped=grouped), again, limits=True)


@pytest.mark.parametrize("factor", [1e6, 1e-6])
def test_a_response_in_other_units(factor):
    grouped = [by("candidate", slope="week"), "rater"]
    plain = linear(scored(), grouped=grouped)
    found = accounted(linear(scored().assign(score=lambda x: factor * x["score"]), grouped=grouped))
    for column in ("variance", "low", "high"):
        np.testing.assert_allclose(
            found.components[column], factor**2 * plain.components[column], rtol=SAME, atol=0
        )
    for column in ("estimate", "se", "low", "high"):
        np.testing.assert_allclose(found.coefficients[column], factor * plain.coefficients[column], rtol=SAME)
    for column in ("df", "p"):
        np.testing.assert_allclose(found.coefficients[column], plain.coefficients[column], rtol=SAME)


@pytest.mark.parametrize("factor", [1e9, 1e-6])
def test_a_fixed_column_in_other_units(fitted, factor):
    for kind, data, again in (("linear", scored(), linear), ("ordinal", rated(), ordinal)):
        plain = fitted[kind]
        found = accounted(again(data.assign(week=factor * data["week"]), ["week", "group"]))
        np.testing.assert_allclose(found.components.variance, plain.components.variance, rtol=SAME)
        for column in ("estimate", "se"):
            mine = found.coefficients[column] * np.where(found.coefficients.index == "week", factor, 1)
            np.testing.assert_allclose(mine, plain.coefficients[column], rtol=SAME)
            np.testing.assert_allclose(found.thresholds[column], plain.thresholds[column], rtol=SAME)


@pytest.mark.parametrize(
    ("degrees", "tolerance"), [("satterthwaite", SATTERTHWAITE), ("kenward_roger", EXACT)]
)
def test_degrees_of_freedom_of_a_balanced_design_are_exact(degrees, tolerance):
    """40 candidates in four groups, each seen by the same six raters: 40 − 4."""
    terms = linear(scored(), "group", degrees=degrees).coefficients
    assert terms.df[["group: g1", "group: g2", "group: g3"]].to_numpy() == pytest.approx(36, rel=tolerance)


def test_kenward_roger_falls_back_at_a_variance_of_zero():
    data = scored()
    data["score"] -= data.groupby("rater")["score"].transform("mean")
    terms = accounted(linear(data, degrees="kenward_roger")).coefficients
    assert set(terms.status) == {Status.KR_NOT_AVAILABLE}
    assert set(terms.interval_method) == {"satterthwaite_t"}


# Ordinal models -------------------------------------------------------------------------------------


def test_levels_without_an_order_are_refused():
    named = rated().assign(level=lambda x: x["level"].map(NAMES))
    for data in (named, named.astype({"level": "category"}), rated()):
        with pytest.raises(ModelError, match="order of the levels of 'level' is not declared"):
            ordinal(data, levels=None)


def test_a_level_that_is_not_declared_is_named_with_its_row():
    data = rated()
    row = int(data.index[data["level"] == 4][0])
    with pytest.raises(ModelError, match=rf"row {row}: 'level' is 4, which .* Allowed: 1, 2, 3\. "):
        ordinal(data, levels=[1, 2, 3])
    named = data.assign(level=data["level"].map(NAMES))
    with pytest.raises(ModelError, match=rf"row {row}: 'level' is 'Top'"):
        ordinal(named, levels=["Low", "Mid", "High"])


def test_digits_in_text_are_not_numbers():
    """The message shows which of the two is text."""
    with pytest.raises(ModelError, match=r"'level' is '\d', which .* Allowed: 1, 2, 3, 4\."):
        ordinal(rated().astype({"level": "str"}))
    with pytest.raises(ModelError, match=r"'level' is \d, which .* Allowed: '1', '2', '3', '4'\."):
        ordinal(rated(), levels=list("1234"))


@pytest.mark.parametrize("value", [np.inf, 2.5])
def test_a_level_between_or_beyond_the_levels(value):
    data = rated().astype({"level": "float64"})
    data.loc[5, "level"] = value
    with pytest.raises(ModelError, match=f"row 5: 'level' is {value}"):
        ordinal(data)


@pytest.mark.parametrize("levels", [[1, 2, 2, 3, 4], [1], []])
def test_levels_listed_twice_or_too_few(levels):
    with pytest.raises(ModelError, match="two or more different levels, lowest first"):
        ordinal(rated(), levels=levels)


@pytest.mark.parametrize("unused", [5, 2, 0])
def test_an_unused_level_has_no_cut_point(unused):
    data = rated().query("level != @unused")
    declared = sorted({*LEVELS, unused})
    found = accounted(ordinal(data, levels=declared))
    agree(ordinal(data, levels=[level for level in declared if level != unused]), found, EXACT)
    assert f"No rating has level {unused}; there is no cut-point for it." in found.notes
    assert len(found.thresholds) == len(declared) - 2


def test_an_unused_category_of_an_ordered_categorical():
    data = rated()
    data["level"] = pd.Categorical(data["level"], [*LEVELS, 5], ordered=True)
    found = ordinal(data, levels=None)
    assert found.log_likelihood == pytest.approx(ordinal(rated()).log_likelihood, abs=EXACT)
    assert any("No rating has level 5" in note for note in found.notes)


@pytest.mark.parametrize("share", ["all", "half"])
def test_separation_is_named(share):
    data = rated()
    high = data["level"] == 4 if share == "all" else (data["level"] == 4) & (data.index % 2 == 0)
    for cue in (high * 1.0, high.map({True: "yes", False: "no"})):
        found = accounted(ordinal(data.assign(cue=cue), ["cue", "week"]))
        assert found.status is Status.SEPARATED
        assert "cue" in found.status_note
        assert set(found.components.status) == {Status.SEPARATED}
        assert found.thresholds.empty


def test_one_level_only():
    found = accounted(ordinal(rated().assign(level=2)))
    assert found.status is Status.ONE_LEVEL_USED
    assert "2" in found.status_note


def test_ordinal_rater_variance_of_zero():
    data = rated()
    rater = np.random.default_rng(2).permutation(data["rater"])
    found = accounted(ordinal(data.assign(rater=rater)))
    assert found.components.status["rater"] == Status.BOUNDARY
    assert found.components.variance["rater"] == found.components.low["rater"] == 0.0


@pytest.mark.parametrize("grouped", ["candidate", BOTH])
def test_ordinal_perfect_agreement_is_saturated(grouped):
    found = accounted(ordinal(rated().assign(level=lambda x: x["candidate"] % 4 + 1), grouped=grouped))
    assert found.status is Status.SATURATED
    assert "candidate" in found.status_note


def test_ordinal_groupings_that_cannot_be_told():
    single = accounted(ordinal(rated().query("rater == 0")))
    assert set(single.components.status[BOTH]) == {Status.NOT_IDENTIFIED}
    once = accounted(ordinal(rated().assign(candidate=range(120)), grouped="candidate"))
    assert once.components.status["candidate"] == Status.NOT_IDENTIFIED
    assert once.log_likelihood == pytest.approx(ordinal(rated(), grouped=()).log_likelihood, abs=EXACT)


def test_ordinal_collinear_column():
    found = accounted(
        ordinal(rated().assign(twice=lambda x: 2 * x["week"], flat=7), ["week", "twice", "flat"])
    )
    assert list(found.coefficients.status) == [Status.OK, Status.RANK_DEFICIENT, Status.RANK_DEFICIENT]
    assert found.log_likelihood == pytest.approx(ordinal(rated()).log_likelihood, abs=EXACT)


def test_ordinal_weights():
    with pytest.raises(ModelError, match="row 3: weight 'w' is not above zero"):
        ordinal(rated().assign(w=lambda x: np.where(x.index == 3, 0, 1)), weights="w")
    twice = pd.concat([rated(), rated()])
    agree(ordinal(twice), ordinal(rated().assign(w=2), weights="w"))


def test_effects_of_one_dimension_a_row_are_fitted_or_have_a_reason():
    """Pairs share a lesson now and then, so that only these tell lessons from the residual."""
    rng = np.random.default_rng(8)
    rows = [(c, f"{c}-{k}", r) for c in range(30) for k, r in enumerate((c % 6, c % 6, (c + 1) % 6))]
    rows += [(c, f"{c}-0", (c + 2) % 6) for c in range(3)]
    frame = pd.DataFrame(rows, columns=["candidate", "lesson", "rater"])
    frame["score"] = rng.normal(size=30)[frame["candidate"]] + rng.normal(size=len(frame))
    grouped = ("candidate", "rater", by("candidate", "rater"), "lesson")
    several = fit(frame, response="score", grouped=grouped)
    assert several.status in (Status.OK, Status.NOT_CONVERGED, Status.SATURATED)
    shared = frame["lesson"].duplicated(keep=False)
    alike = frame.groupby("lesson")["score"].transform("mean")
    agreeing = fit(
        frame.assign(score=frame["score"].where(~shared, alike)), response="score", grouped=grouped
    )
    assert agreeing.status in (Status.SATURATED, Status.NOT_CONVERGED)
    assert agreeing.status_note
