"""What a table must hold before anything is computed from it, and answers that were wrong without a word."""

import degenerate
import numpy as np
import pandas as pd
import pytest

from mentorstats import agreement, calibration, key_scores, mixed, reliability
from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError
from mentorstats.tables import days, numbers, ranks, truths


@pytest.fixture
def long():
    return degenerate.made("long")


@pytest.fixture
def scores():
    return degenerate.made("scores")


@pytest.mark.parametrize("rank", [2.5, 0, -1, 10**9, 2**40])
def test_a_rank_that_is_no_place_in_a_rubric_is_refused(long, rank):
    spoilt = long.assign(rank=long["rank"].astype("float64").where(long.index != 3, rank))
    with pytest.raises(ArgumentError, match=r"first at 3.*whole numbers from 1"):
        calibration.base_fit(spoilt)


def test_whole_ranks_in_floats_are_ranks(long):
    found = calibration.base_fit(long.assign(rank=long["rank"].astype("float64")))
    pd.testing.assert_frame_equal(found.fit.components, degenerate.made("base").fit.components)


def test_rows_given_twice_make_no_pairs(long):
    with pytest.raises(DuplicateRatingError, match="more than once"):
        agreement.double_scored(pd.concat([long, long]))


def test_the_weakest_criterion_is_the_same_whatever_the_order_of_rows():
    given = pd.DataFrame(
        {
            "rater": "a",
            "recording": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5],
            "criterion": ["talk", "aims"] * 5,
            "level": [1, 1, 2, 2, 1, 1, 2, 2, 1, 1],
            "key_level": [1, 1, 2, 2, 2, 2, 2, 2, 1, 1],
        }
    )
    found = [
        key_scores.certify(rows, levels=[1, 2, 3], rules=None)
        for rows in (given, given.iloc[::-1], given[1:])
    ]
    notes = [one.measures.loc[("a", "criterion_floor"), "status_note"] for one in found[:2]]
    assert notes[0] == notes[1]
    assert "aims" in notes[0]
    for one in found:
        assert one.by_criterion.index.get_level_values("criterion").tolist() == ["aims", "talk"]


@pytest.mark.parametrize("value", ["no", "yes", "False", "", 2, 0.5])
def test_words_are_no_truths(long, value):
    spoilt = long.assign(independent=[value] * len(long))
    with pytest.raises(ArgumentError, match=r"independent.*True, False"):
        agreement.double_scored(spoilt)


def test_no_and_nothing_are_left_as_they_are(long):
    flags = [None if place % 3 == 0 else place % 3 == 1 for place in range(len(long))]
    as_numbers = [np.nan if flag is None else float(flag) for flag in flags]
    found = [agreement.double_scored(long.assign(independent=one)) for one in (flags, as_numbers)]
    pd.testing.assert_frame_equal(*found)
    assert not found[0]["independent"].all()


def test_unsigned_numbers_do_not_wrap_around(long):
    found = agreement.double_scored(long.assign(rank=long["rank"].astype("uint8")))
    assert (found["difference"] < 0).any()
    assert found["difference"].tolist() == agreement.double_scored(long)["difference"].tolist()


def test_a_half_precision_score_is_summed_in_full(scores):
    half = scores.assign(score=scores["score"].round().astype("float16"))
    whole = scores.assign(score=scores["score"].round())
    given = {"object": "unit", "facets": "rater", "score": "score"}
    pd.testing.assert_frame_equal(
        reliability.g_study(half, **given).components, reliability.g_study(whole, **given).components
    )


def test_the_callers_table_is_left_as_it_is(long):
    given = long.rename_axis("rater").astype({"rank": "uint8"})
    before = given.copy()
    agreement.double_scored(given)
    pd.testing.assert_frame_equal(given, before)


@pytest.mark.parametrize("other", [None, {}, [], "ratings.csv", 3, np.zeros((2, 2)), pd.Series([1])])
def test_what_is_no_table_is_named(other):
    with pytest.raises(ArgumentError, match=r"coefficients\(\): ratings is .*Allowed: a DataFrame"):
        agreement.coefficients(other, unit="unit", rater="rater", level="level")


def test_two_columns_of_one_name_are_named(scores):
    twice = pd.concat([scores, scores[["rater"]]], axis=1)
    with pytest.raises(ColumnError, match="two columns are called 'rater'"):
        mixed.fit(twice, response="score", grouped="unit")


@pytest.mark.parametrize("cell", [[1], {}, {1}, (1, 2), np.zeros(2), len])
def test_cells_that_are_no_codes_are_named(scores, cell):
    spoilt = scores.assign(rater=pd.Series([cell] * len(scores), dtype="object"))
    with pytest.raises(ArgumentError, match="column 'rater': cells hold"):
        agreement.icc(spoilt, unit="unit", rater="rater", level="score")


def test_lists_in_columns_that_nobody_named_do_no_harm(scores):
    given = scores.assign(notes=[[1]] * len(scores))
    found = agreement.icc(given, unit="unit", rater="rater", level="score")
    pd.testing.assert_frame_equal(found, agreement.icc(scores, unit="unit", rater="rater", level="score"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"confidence": "a"}, "confidence is 'a'.*a number"),
        ({"confidence": True}, "confidence is True"),
        ({"confidence": float("nan")}, "confidence is nan"),
        ({"seed": "x"}, "seed is 'x'.*a whole number"),
        ({"seed": -1}, "seed is -1"),
        ({"replicates": 0}, "replicates is 0"),
        ({"replicates": 10**9}, "replicates is 1000000000"),
        ({"levels": {0, 1, 2, 3}}, "levels is the set"),
        ({"unit": 3}, "unit is 3"),
        ({"unit": []}, "unit names no column"),
        ({"rater": ["rater", "rater"]}, "rater names a column twice"),
    ],
)
def test_arguments_are_held_to_the_signature(scores, change, words):
    given = {"unit": "unit", "rater": "rater", "level": "level", "levels": [0, 1, 2, 3]} | change
    with pytest.raises(ArgumentError, match=words):
        agreement.coefficients(scores, **given)


def test_a_wrong_signature_is_pythons_own_error(scores):
    with pytest.raises(TypeError, match="missing a required"):
        agreement.coefficients(scores)
    with pytest.raises(TypeError, match="unexpected keyword"):
        agreement.coefficients(scores, unit="unit", rater="rater", level="level", cheese=1)


def test_columns_of_the_long_table():
    assert ranks(pd.Series([1.0, None]), "long").tolist()[0] == 1
    assert truths(pd.Series([1, 0, None], dtype="Int64"), "long").tolist()[:2] == [True, False]
    assert days(pd.Series(["2026-03-31", None]), "long").iloc[0] == pd.Timestamp("2026-03-31")
    with pytest.raises(ArgumentError, match="is no date"):
        days(pd.Series(["31.3.2026"]), "long")
    with pytest.raises(ArgumentError, match="infinite"):
        numbers(pd.Series([1.0, np.inf]), "long")
    with pytest.raises(ArgumentError, match="Convert it to numbers"):
        numbers(pd.Series(["1", "2"]), "long")
