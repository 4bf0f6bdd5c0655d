import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mentorstats.report import numbers


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.5249, "share", "52"),
        (0.0, "share", "0"),
        (0.001, "share", "<1"),
        (0.999, "share", ">99"),
        (1.0, "share", "100"),
        (0.524, "coefficient", "0.52"),
        (-0.128, "coefficient", "−0.13"),
        (-0.001, "coefficient", "0.00"),
        (0.36, "levels", "+0.36"),
        (-0.36, "levels", "−0.36"),
        (0.001, "levels", "0.00"),
        (12345, "people", "12,345"),
        (0.0312, "p_value", "0.031"),
        (0.0002, "p_value", "<0.001"),
        (math.nan, "share", "no value"),
        (0.05, "plain", "0.05"),
        (10, "plain", "10"),
    ],
)
def test_a_number_has_the_decimals_of_its_unit(value, unit, text):
    assert numbers.number(value, unit) == text


def test_an_interval_stands_in_square_brackets():
    assert numbers.estimate(0.52, 0.41, 0.62, "coefficient") == "0.52 [0.41, 0.62]"
    assert numbers.estimate(0.52, 0.41, 0.62, "share") == "52\N{NO-BREAK SPACE}% [41, 62]"


def test_without_interval_there_are_no_brackets():
    assert numbers.bounds(math.nan, 0.5, "share") == ""
    assert numbers.estimate(0.5, math.nan, math.nan, "coefficient") == "0.50"


@given(st.floats(allow_nan=True, allow_infinity=False, width=32), st.sampled_from(sorted(numbers.UNITS)))
def test_no_number_is_ever_printed_as_nan_or_with_a_hyphen(value, unit):
    text = numbers.number(value, unit)
    assert "nan" not in text
    assert unit == "plain" or "-" not in text
    assert text not in ("−0", "−0.00", "+0.00")


@given(st.floats(min_value=0, max_value=1))
def test_a_share_is_printed_as_none_or_all_only_where_it_is(value):
    text = numbers.number(value, "share")
    assert (text == "0") == (value == 0)
    assert (text == "100") == (value == 1)


def test_counts_agree_with_their_noun():
    assert numbers.count(1, "lesson") == "1 lesson"
    assert numbers.count(1200, "lesson") == "1,200 lessons"
    assert numbers.count(2, "criterion", "criteria") == "2 criteria"
