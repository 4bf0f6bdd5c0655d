"""What must not change the answer, and what must."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from mentorstats.agreement import coefficients, from_codes

SAME = 1e-12
NUMBERS = ["value", "se", "low", "high", "p_observed", "p_expected"]


@st.composite
def ratings(draw, raters=4):
    units = draw(st.integers(6, 25))
    cells = draw(
        st.lists(st.integers(-1, 3), min_size=units * raters, max_size=units * raters).filter(
            lambda x: sum(v >= 0 for v in x) >= units
        )
    )
    codes = np.array(cells).reshape(units, raters)
    unit, rater = np.nonzero(codes >= -1)
    frame = pd.DataFrame({"unit": unit, "rater": rater, "level": codes[unit, rater].astype(float)})
    frame["level"] = frame["level"].where(frame["level"] >= 0)
    return frame


def family(frame, weights="quadratic", levels=(0, 1, 2, 3), **more):
    return coefficients(
        frame, unit="unit", rater="rater", level="level", levels=levels, weights=weights, **more
    )


def same(a, b, *, also=()):
    assert list(a["status"]) == list(b["status"])
    for column in [*NUMBERS, *also]:
        np.testing.assert_allclose(
            a[column].astype(float),
            b[column].astype(float),
            atol=SAME,
            rtol=0,
            equal_nan=True,
            err_msg=column,
        )


@given(ratings(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_row_order_is_nothing(frame, random):
    order = list(range(len(frame)))
    random.shuffle(order)
    same(family(frame), family(frame.iloc[order]), also=["n_units", "n_ratings", "n_left_out"])


@given(ratings())
@settings(max_examples=40, deadline=None)
def test_a_missing_level_is_a_row_left_out(frame):
    same(family(frame), family(frame.dropna()))
    assert (family(frame)["n_left_out"] == frame["level"].isna().sum()).all()


@given(ratings(), st.sampled_from(["identity", "linear", "quadratic", "ordinal", "radical"]))
@settings(max_examples=60, deadline=None)
def test_turning_the_scale_over_is_nothing(frame, weights):
    """Reversed levels with reversed ratings: every coefficient stays."""
    turned = frame.assign(level=3 - frame["level"])
    same(family(frame, weights), family(turned, weights))


@given(ratings())
@settings(max_examples=30, deadline=None)
def test_names_of_units_and_raters_are_nothing(frame):
    renamed = frame.assign(unit="u" + frame["unit"].astype(str), rater="r" + (9 - frame["rater"]).astype(str))
    same(family(frame), family(renamed))


@given(ratings())
@settings(max_examples=30, deadline=None)
def test_coefficients_and_bounds_stay_in_range(frame):
    """None exceeds 1, bounds lie about their value, and shares stay between 0 and 1."""
    found = family(frame)
    shown = found[found["value"].notna()]
    assert (shown["value"] <= 1 + SAME).all()
    bounded = shown[shown["low"].notna()]
    assert (bounded["low"] <= bounded["value"] + SAME).all()
    assert (bounded["value"] <= bounded["high"] + SAME).all()
    assert (bounded["high"] <= 1).all()
    shares = bounded.index.isin(["percent_agreement", "percent_adjacent"])
    assert (bounded.loc[shares, "low"] >= 0).all()


DTYPES = {
    "int": lambda x: x.astype("int64"),
    "Int64": lambda x: x.astype("Int64"),
    "float": lambda x: x.astype("float64"),
    "str": lambda x: x.astype("int64").astype("str"),
    "object": lambda x: x.astype("int64").astype("object"),
    "categorical": lambda x: pd.Categorical(x.astype("int64"), categories=[0, 1, 2, 3], ordered=True),
    "arrow int": lambda x: x.astype("int64[pyarrow]"),
    "arrow text": lambda x: x.astype("int64").astype("str").astype("string[pyarrow]"),
}


@pytest.mark.parametrize("dtype", DTYPES)
def test_dtypes_are_nothing(dtype):
    rng = np.random.default_rng(5)
    frame = pd.DataFrame({"unit": np.repeat(range(40), 3), "rater": np.tile(range(3), 40)})
    frame["level"] = rng.integers(0, 4, 120)
    assert_frame_equal(family(frame), family(frame.assign(level=DTYPES[dtype](frame["level"]))))


@pytest.mark.parametrize("dtype", ["Int64", "str", "string[pyarrow]", "category"])
def test_missing_in_any_dtype_is_missing(dtype):
    frame = pd.DataFrame({"unit": np.repeat(range(30), 2), "rater": np.tile(["a", "b"], 30)})
    level = pd.Series(np.tile([1, 2, 2, 2, 3, 1], 10))
    plain = frame.assign(level=level.where(level.index != 4))
    text = level.astype("str") if dtype != "Int64" else level
    typed = frame.assign(level=text.astype(dtype).where(level.index != 4))
    same(family(plain, levels=(1, 2, 3)), family(typed, levels=(1, 2, 3)), also=["n_left_out"])


def test_an_unused_level_changes_what_it_should():
    """AC1 and Brennan-Prediger know the declared levels; kappa and alpha only those in use."""
    frame = pd.DataFrame({"unit": np.repeat(range(30), 2), "rater": np.tile(["a", "b"], 30)})
    frame["level"] = np.tile([1, 1, 2, 2, 1, 2], 10)
    two, three = (family(frame, "identity", levels).value for levels in ([1, 2], [1, 2, 3]))
    for name in ("cohen_kappa", "fleiss_kappa", "krippendorff_alpha"):
        assert two[name] == pytest.approx(three[name], abs=SAME)
    for name in ("gwet_ac", "brennan_prediger"):
        assert two[name] < three[name]


def test_order_of_the_levels_matters_and_is_the_declared_one():
    frame = pd.DataFrame({"unit": np.repeat(range(20), 2), "rater": np.tile(["a", "b"], 20)})
    frame["level"] = np.tile(["Low", "Mid", "High", "High", "Mid", "Low", "Low", "Low"], 5)
    declared = family(frame, levels=("Low", "Mid", "High")).value["cohen_kappa"]
    alphabetical = family(frame, levels=("High", "Low", "Mid")).value["cohen_kappa"]
    typed = frame.assign(level=pd.Categorical(frame["level"], ["Low", "Mid", "High"], ordered=True))
    assert declared != pytest.approx(alphabetical)
    assert family(typed, levels=None).value["cohen_kappa"] == declared


def test_groups_are_their_own_tables():
    rng = np.random.default_rng(8)
    frame = pd.DataFrame({"unit": np.repeat(range(60), 2), "rater": np.tile(["a", "b"], 60)})
    frame["level"] = rng.integers(0, 4, 120)
    frame["criterion"] = np.repeat(["x", "y", "z"], 40)
    frame["site"] = np.tile(np.repeat(["p", "q"], 2), 30)
    together = family(frame, by=["criterion", "site"])
    for (criterion, site), part in frame.groupby(["criterion", "site"]):
        assert_frame_equal(together.loc[criterion, site], family(part))
    assert list(together.index.names) == ["criterion", "site", "coefficient"]


def test_several_columns_name_a_unit():
    frame = pd.DataFrame({"lesson": np.repeat(range(20), 4), "criterion": np.tile(["x", "x", "y", "y"], 20)})
    frame["rater"] = np.tile(["a", "b"], 40)
    frame["level"] = np.random.default_rng(1).integers(0, 4, 80)
    joined = frame.assign(unit=frame["lesson"].astype(str) + frame["criterion"])
    found = coefficients(frame, unit=["lesson", "criterion"], rater="rater", level="level", levels=range(4))
    assert_frame_equal(
        found, coefficients(joined, unit="unit", rater="rater", level="level", levels=range(4))
    )


def test_codes_give_what_the_long_table_gives():
    rng = np.random.default_rng(2)
    codes = rng.integers(-1, 4, (80, 6))
    codes[:3] = -1
    codes = np.column_stack([codes, np.full(80, -1)])
    cluster = np.repeat(np.arange(20), 4)
    unit, rater = np.nonzero(codes >= 0)
    frame = pd.DataFrame(
        {"unit": unit, "rater": rater, "level": codes[unit, rater], "cluster": cluster[unit]}
    )
    found = from_codes(codes, levels=range(4), weights="linear", cluster=cluster)
    same(
        found,
        family(frame, "linear", cluster="cluster"),
        also=["n_units", "n_raters", "n_ratings", "n_clusters"],
    )


@pytest.mark.parametrize("interval", ["bca", "percentile"])
def test_resampling_repeats_with_its_seed(interval):
    rng = np.random.default_rng(4)
    frame = pd.DataFrame({"unit": np.repeat(range(500), 2), "rater": np.tile(["a", "b"], 500)})
    frame["level"] = np.where(
        rng.random(1000) < 0.6, np.repeat(rng.integers(0, 4, 500), 2), rng.integers(0, 4, 1000)
    )
    frame["cluster"] = frame["unit"] // 2
    first, again, other = (
        family(frame, interval=interval, cluster="cluster", replicates=400, seed=seed) for seed in (1, 1, 2)
    )
    assert_frame_equal(first, again)
    assert first["low"]["cohen_kappa"] != other["low"]["cohen_kappa"]
    closed = family(frame, cluster="cluster")
    np.testing.assert_allclose(first[["low", "high"]], closed[["low", "high"]], atol=0.03)
