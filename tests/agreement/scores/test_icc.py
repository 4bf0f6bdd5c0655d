"""Complete-data intraclass correlations: the same as libraries where they are right, else a named status."""

import numpy as np
import pandas as pd
import pingouin
import pytest

from mentorstats.agreement import icc, icc_incomplete
from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError
from mentorstats.estimate import has_value

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}
SINGLE, MEAN = ["icc_1_1", "icc_a_1", "icc_c_1"], ["icc_1_k", "icc_a_k", "icc_c_k"]


def long(grid):
    grid = np.asarray(grid)
    n, k = grid.shape
    return pd.DataFrame(
        {"unit": np.repeat(range(n), k), "rater": np.tile(range(k), n), "level": grid.ravel()}
    )


def found(grid, **more):
    return icc(long(grid), **COLUMNS, **more)


def drawn(seed, n=15, k=3, rater=0.5):
    generator = np.random.default_rng(seed)
    unit, severity = generator.normal(size=(n, 1)), rater * generator.normal(size=(1, k))
    return unit + severity + generator.normal(size=(n, k))


LABELS = ["Low", "Mid", "High", "Top"]
LEVELS = np.array([[1, 2], [2, 2], [4, 3], [3, 3], [1, 1], [4, 4], [2, 3]])


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_pingouin(seed, monkeypatch):
    monkeypatch.setitem(pingouin.options, "round.column.CI95", None)
    ratings = long(drawn(seed, n=5 + 4 * seed, k=2 + seed))
    theirs = pingouin.intraclass_corr(ratings, targets="unit", raters="rater", ratings="level")
    theirs = theirs.set_index("Type")
    ours = icc(ratings, **COLUMNS)
    order = ["ICC(1,1)", "ICC(A,1)", "ICC(C,1)", "ICC(1,k)", "ICC(A,k)", "ICC(C,k)"]
    interval = np.array([list(limits) for limits in theirs.loc[order, "CI95"]])
    valued, limited = ours["value"].notna().to_numpy(), ours["low"].notna().to_numpy()
    assert valued.any()
    assert limited[ours["status"] == "ok"].all()
    pairs = {"value": "ICC", "f": "F", "df1": "df1", "df2": "df2", "p": "pval"}
    for own, other in pairs.items():
        wanted = theirs.loc[order, other].to_numpy(dtype=float)
        assert ours[own].to_numpy()[valued] == pytest.approx(wanted[valued], rel=1e-9)
    for column, side in (("low", 0), ("high", 1)):
        assert ours[column].to_numpy()[limited] == pytest.approx(interval[limited, side], rel=1e-9)


def test_missing_ratings_are_refused_by_name():
    ratings = long(drawn(1)).drop(index=[4, 9])
    with pytest.raises(ArgumentError, match=r"2 of 15 units.*3 raters: 1, 3.*icc_incomplete"):
        icc(ratings, **COLUMNS)
    blank = long(drawn(1))
    blank.loc[[4, 9], "level"] = np.nan
    with pytest.raises(ArgumentError, match=r"2 of 15 units.*icc_incomplete"):
        icc(blank, **COLUMNS)


@pytest.mark.parametrize("raters", [range(45), np.where(np.arange(45) < 21, "ab", "cd")])
def test_nested_raters_and_disjoint_panels_are_refused(raters):
    ratings = long(drawn(1)).assign(rater=[f"{a}{b}" for a, b in zip(raters, [0, 1, 2] * 15, strict=True)])
    with pytest.raises(ArgumentError, match="icc_incomplete"):
        icc(ratings, **COLUMNS)


def test_explicit_and_implicit_missing_are_the_same():
    ratings = long(drawn(2))
    extra = pd.DataFrame({"unit": [99, 0], "rater": [0, None], "level": [None, 3.0]})
    more = icc(pd.concat([ratings, extra.astype({"level": float})], ignore_index=True), **COLUMNS)
    pd.testing.assert_frame_equal(
        more.drop(columns="n_left_out"), icc(ratings, **COLUMNS).drop(columns="n_left_out")
    )
    assert (more["n_left_out"] == 2).all()


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_the_same_rating_twice_is_refused_with_its_rows(function):
    ratings = pd.concat([long(LEVELS), pd.DataFrame({"unit": [3], "rater": [0], "level": [99]})])
    ratings = ratings.reset_index(drop=True)
    with pytest.raises(DuplicateRatingError, match="index 6, 14"):
        function(ratings, **COLUMNS)


@pytest.mark.parametrize("function", [icc, icc_incomplete])
@pytest.mark.parametrize(
    ("grid", "status"),
    [
        (np.zeros((0, 2)), "no_records"),
        ([[1], [2], [3]], "one_rater"),
        ([[1, 2, 2]], "one_unit"),
        ([[3, 3]] * 8, "no_spread"),
    ],
)
def test_nothing_to_correlate_is_named(function, grid, status):
    table = function(long(grid), **COLUMNS)
    assert set(table["status"]) == {status}
    assert table[["value", "low", "high", "sem"]].isna().all(axis=None)
    assert (table["status_note"] != "").all()
    assert not has_value(table["status"].iloc[0])


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_perfect_agreement_has_a_value_and_no_false_precision(function):
    table = function(long([[1, 1], [2, 2], [3, 3], [4, 4], [1, 1]]), **COLUMNS)
    assert set(table["status"]) == {"no_disagreement"}
    assert (table["value"] == 1).all()
    assert (table["sem"] == 0).all()
    assert table[["low", "high"]].isna().all(axis=None)
    assert set(table["interval_method"]) == {"none"}


def test_raters_who_differ_by_a_constant():
    table = found([[1, 2], [2, 3], [3, 4], [5, 6], [5, 6]])
    assert table.loc["icc_c_1", "status"] == "no_disagreement"
    assert table.loc["icc_a_1", "status"] == "ok"
    assert 0 < table.loc["icc_a_1", "low"] < table.loc["icc_a_1", "value"] < 1
    assert np.isnan(table.loc["icc_a_1", "f"])


def test_raters_who_differ_by_a_constant_on_units_that_do_not_differ():
    table = found([[1, 2, 4]] * 6)
    assert set(table["status"]) == {"no_spread"}
    assert table["value"].isna().all()


def test_strongly_negative():
    """Three raters who reverse each other: libraries print 5.0 with limits 5.0 to 5.0, or -1e30."""
    table = found([[1, 2, 3], [2, 3, 1], [3, 1, 2], [1, 3, 2], [2, 1, 3]])
    assert set(table["status"]) == {"boundary"}
    assert table.loc[["icc_1_1", "icc_c_1"], "value"].to_numpy() == pytest.approx(-0.5)
    assert table.loc[["icc_a_1", *MEAN], "value"].isna().all()
    assert table[["low", "high"]].isna().all(axis=None)
    assert (table["status_note"] != "").all()


def test_mildly_negative_keeps_its_value():
    generator = np.random.default_rng(5)
    table = found(generator.normal(size=(12, 3)))
    assert table.loc["icc_c_1", "status"] == "boundary"
    assert -0.5 < table.loc["icc_c_1", "value"] < 0
    assert table.loc["icc_c_1", "low"] < table.loc["icc_c_1", "value"] < table.loc["icc_c_1", "high"]


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_two_units_have_no_interval(function):
    table = function(long([[1, 2], [4, 4]]), **COLUMNS)
    assert set(table["status"]) == {"too_few_clusters"}
    assert table["value"].notna().all()
    assert table[["low", "high"]].isna().all(axis=None)


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_few_units_are_told(function):
    assert set(function(long([[1, 2], [4, 4], [2, 2]]), **COLUMNS)["status"]) == {"few_levels"}


@pytest.mark.parametrize("function", [icc, icc_incomplete])
@pytest.mark.parametrize(
    "change",
    [
        lambda r: r.astype({"level": "Int64"}),
        lambda r: r.astype({"level": "float64[pyarrow]"}),
        lambda r: r.astype({"level": "int64[pyarrow]", "rater": "string[pyarrow]"}),
        lambda r: r.astype({"unit": "category", "rater": "category"}),
        lambda r: r.sample(frac=1, random_state=1),
        lambda r: r[["level", "rater", "unit"]].set_index(pd.Index([0] * len(r))),
        lambda r: r.assign(level=pd.Categorical.from_codes(r["level"] - 1, categories=LABELS, ordered=True)),
        lambda r: r.assign(level=pd.Categorical(r["level"], [1, 2, 3, 4], ordered=True)),
    ],
)
def test_types_and_order_change_nothing(function, change):
    ratings = long(LEVELS)
    pd.testing.assert_frame_equal(
        function(change(ratings), **COLUMNS), function(ratings, **COLUMNS), check_exact=False, rtol=1e-12
    )


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_labels_need_their_order(function):
    ratings = long(LEVELS)
    named = ratings.assign(level=np.array(LABELS)[ratings["level"] - 1])
    with pytest.raises(ArgumentError, match="not declared"):
        function(named, **COLUMNS)
    pd.testing.assert_frame_equal(function(named, **COLUMNS, levels=LABELS), function(ratings, **COLUMNS))


@pytest.mark.parametrize("function", [icc, icc_incomplete])
def test_bad_input_is_named(function):
    with pytest.raises(ColumnError, match="no column 'score'"):
        function(long(LEVELS), unit="unit", rater="rater", level="score")
    with pytest.raises(ArgumentError, match=r"infinite, first at index 1"):
        function(long(LEVELS).astype(float).replace({"level": {2.0: np.inf}}), **COLUMNS)
    with pytest.raises(ArgumentError, match="confidence"):
        function(long(LEVELS), **COLUMNS, confidence=95)


def test_several_columns_name_a_unit():
    ratings = long(LEVELS).assign(lesson=lambda r: r["unit"] // 2, criterion=lambda r: r["unit"] % 2)
    several = icc(ratings, unit=["lesson", "criterion"], rater="rater", level="level")
    pd.testing.assert_frame_equal(several, icc(ratings, **COLUMNS))
    with pytest.raises(ArgumentError, match="0/0"):
        icc(ratings.iloc[1:], unit=["lesson", "criterion"], rater="rater", level="level")


def test_a_change_of_scale_changes_only_what_has_units():
    grid = drawn(3)
    one, other = found(grid), found(1e6 + 250 * grid)
    for column in ("value", "low", "high", "p"):
        assert other[column].to_numpy() == pytest.approx(one[column].to_numpy(), rel=1e-6)
    for column in ("sem", "observed_sd"):
        assert other[column].to_numpy() == pytest.approx(250 * one[column].to_numpy(), rel=1e-6)


def test_every_row_says_what_it_is():
    table = found(drawn(4))
    for column in ("model", "type", "definition", "interval_method", "reference"):
        assert (table[column] != "").all()
    assert table.loc[MEAN, "definition"].eq("mean of 3 ratings").all()
    assert table.loc[SINGLE, "definition"].eq("one rating").all()


def test_coverage_of_the_agreement_form():
    """Truth 1 / (1 + .25 + 1); 400 data sets of seeds 0 to 399, 4 raters."""
    truth = 1 / 2.25
    tables = [found(drawn(seed, n=30, k=4)).loc["icc_a_1"] for seed in range(400)]
    covered = np.mean([row["low"] <= truth <= row["high"] for row in tables])
    assert 0.92 < covered < 0.98
