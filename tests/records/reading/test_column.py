"""Columns of codes: two keys are equal exactly where the values are."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mentorstats.records.reading import column
from mentorstats.records.reading.column import Column

TEXTS = st.lists(st.one_of(st.none(), st.sampled_from(["a", "b", "c", " a", ""])), min_size=1, max_size=30)


def made(texts):
    """A column of these texts; None where a cast has left nothing."""
    text = column.from_texts(["none" if text is None else text for text in texts])
    none = pc.equal(text.values, "none")
    return Column(text.codes, pc.if_else(none, pa.scalar(None, pa.string()), text.values))


@given(TEXTS)
def test_a_column_written_out_is_what_it_was_made_of(texts):
    assert made(texts).array().to_pylist() == texts


@given(TEXTS, st.data())
def test_folded_keys_are_equal_where_all_parts_are(texts, data):
    others = data.draw(st.lists(st.sampled_from(["x", "y", None]), min_size=len(texts), max_size=len(texts)))
    key, _ = column.folded([made(texts), made(others)])
    pairs = list(zip(texts, others, strict=True))
    assert [code < 0 for code in key] == [None in pair for pair in pairs]
    whole = [(code, pair) for code, pair in zip(key, pairs, strict=True) if None not in pair]
    assert len({code for code, _ in whole}) == len({pair for _, pair in whole})
    assert len({(code, pair) for code, pair in whole}) == len({code for code, _ in whole})


def test_folding_many_columns_does_not_overflow():
    rng = np.random.default_rng(5)
    wide = [Column(rng.integers(0, 5000, 6000), pa.array([*map(str, range(4999)), None])) for _ in range(8)]
    key, _ = column.folded(wide)
    rows = list(zip(*(one.array().to_pylist() for one in wide), strict=True))
    assert [code < 0 for code in key] == [None in row for row in rows]
    good = key[key >= 0]
    assert len(set(good.tolist())) == len({row for row in rows if None not in row})


def test_mostly_distinct_texts_stay_as_they_are_and_have_the_same_keys():
    texts = [f"id{i}" for i in range(12_000)] + ["id7"]
    one = made(texts)
    assert len(one.values) == len(texts)
    key, size = one.keys()
    assert size == 12_000
    assert key[-1] == key[7]


def test_trimming_may_make_two_values_one():
    key, size = column.trimmed(made(["a", "a ", "b"])).keys()
    assert key.tolist() == [0, 0, 1]
    assert size == 2


@pytest.mark.parametrize("by", [{}, {"a": "z"}, {"a": "", "b": "a"}])
def test_replacing_is_done_once(by):
    texts = ["a", "b", None, "c"]
    assert column.replaced(made(texts), by).array().to_pylist() == [by.get(text, text) for text in texts]


def test_stacking_keeps_the_order():
    assert column.stacked([made(["a", "b"]), made(["b", None])]).array().to_pylist() == ["a", "b", "b", None]
