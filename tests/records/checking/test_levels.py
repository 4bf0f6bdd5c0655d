"""Scales keep the order that they declare."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mentorstats.errors import SourceFileError
from mentorstats.records.checking.levels import in_order


def scales(*orders):
    return {("r", str(number), "c"): tuple(order) for number, order in enumerate(orders)}


@pytest.mark.parametrize(
    ("orders", "merged"),
    [
        ((), ()),
        ((("low", "mid", "high"), ("low", "mid", "high")), ("low", "mid", "high")),
        ((("low", "high"), ("1", "2", "3")), ("low", "high", "1", "2", "3")),
        ((("low", "high"), ("start", "low", "mid", "high")), ("start", "low", "mid", "high")),
        ((("low", "high"), ("high", "top")), ("low", "high", "top")),
    ],
)
def test_merged_scales(orders, merged):
    assert in_order(scales(*orders)) == merged


def test_the_other_way_round_is_refused():
    with pytest.raises(SourceFileError, match=r"version '[01]' orders the levels of 'c' otherwise"):
        in_order(scales("1234", "4321"))


@given(
    st.permutations("abcdef"),
    st.lists(st.sets(st.sampled_from("abcdef"), min_size=1), min_size=1, max_size=5),
)
def test_scales_of_one_order_merge_into_it(order, parts):
    kept = scales(*([level for level in order if level in part] for part in parts))
    merged = in_order(kept)
    assert set(merged) == set().union(*parts)
    for levels in kept.values():
        assert [level for level in merged if level in levels] == list(levels)
