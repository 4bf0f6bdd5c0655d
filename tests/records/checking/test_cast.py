"""Texts to types: what each type takes, and what it refuses."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mentorstats.dictionary import Field, Table
from mentorstats.records.checking import cast
from mentorstats.records.checking.batch import Batch, Origin
from mentorstats.records.mapping import ISO, Source
from mentorstats.records.problems import Problems
from mentorstats.records.reading.column import from_texts


def made(texts, kind, *, typed=False, dates=(ISO,), decimal=".", **rules):
    """Values and broken rules of one column of one type."""
    rules = {"true_values": ("true", "yes"), "false_values": ("false", "no"), "categories": {}} | rules
    field = Field(name="x", type=kind, title="X", description="", missing={"": ""}, **rules)
    table = Table(
        name="t", title="", description="", fields=(field,), primary_key=("x",), unique_keys=(),
        foreign_keys=(), missing_values={}, date_order=(), descriptor={},
    )  # fmt: skip
    source = Source(file="f", table="t", where="f", dates=dates, decimal=decimal)
    none = np.zeros(len(texts), dtype=bool)
    batch = Batch(
        table,
        {"x": from_texts(texts)},
        (Origin(source, "f", "", {}),),
        none.astype(np.int32),
        np.arange(len(texts)),
        none,
    )
    problems = Problems()
    cast.cast(batch, problems, typed=typed)
    found = problems.frame()
    assert set(found["row"]) == set(np.flatnonzero(batch.aside))
    return batch.columns["x"].array().to_pylist(), dict(zip(found["value"], found["rule"], strict=True))


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        ("integer", {"7": 7, "-3": -3, "+4": 4, "007": 7, "": None}, ["3.0", "1e3", "٣", "1" * 19, "NA"]),
        ("number", {"7": 7.0, ".5": 0.5, "5.": 5.0, "-1.25": -1.25, "+1e3": 1000.0}, ["1,5", "nan", "1.2.3"]),
        ("boolean", {"yes": True, "no": False, "": None}, ["TRUEISH", "1", "0"]),
        ("date", {"2026-02-28": pd.Timestamp("2026-02-28").date()}, ["2026-02-30", "20260228", "28/02/2026"]),
        ("string", {"NA": "NA", "007": "007", "": None}, []),
    ],
)  # fmt: skip
def test_each_type(kind, good, bad):
    values, broken = made([*good, *bad], kind)
    assert values == [*good.values(), *[None] * len(bad)]
    assert broken == dict.fromkeys(bad, "type")


@settings(deadline=None)
@given(
    texts=st.lists(st.text(st.sampled_from("0123456789+-.,eE/: truefalsyno"), max_size=12).map(str.strip)),
    kind=st.sampled_from(["integer", "number", "boolean", "date"]),
    typed=st.booleans(),
    decimal=st.sampled_from(".,"),
)
def test_any_text_is_a_value_or_a_problem(texts, kind, typed, decimal):
    dates = (ISO, "%d/%m/%Y", "%d.%m.%y")
    values, broken = made(texts, kind, typed=typed, dates=dates, decimal=decimal)
    for text, value in zip(texts, values, strict=True):
        assert (value is None) == (text == "" or broken.get(text) == "type")


@pytest.mark.parametrize("error", cast.SPREADSHEET_ERRORS)
def test_an_error_of_a_spreadsheet_is_no_value(error):
    assert made([error, "a"], "string") == ([None, "a"], {error: "spreadsheet_error"})


def test_constraints():
    assert made(["1", "5", "6"], "integer", minimum=2, maximum=5)[1] == {"1": "minimum", "6": "maximum"}
    assert made(["a1", "a12", "xa1", ""], "string", pattern="a[0-9]")[1] == {
        "a12": "pattern",
        "xa1": "pattern",
    }
    assert made(["p", "q", ""], "string", categories={"p": "P"})[1] == {"q": "allowed"}
    assert made(["p", ""], "string", required=True)[1] == {"": "required"}


def test_a_decimal_comma_allows_no_point_unless_the_file_keeps_numbers():
    assert made(["1,5", "1.5", "2"], "number", decimal=",") == ([1.5, None, 2.0], {"1.5": "type"})
    assert made(["1,5", "1.5", "2"], "number", decimal=",", typed=True) == ([1.5, 1.5, 2.0], {})


def test_a_date_cell_reads_whatever_the_format_of_texts():
    cells = ["2026-03-02", "2026-03-02 10:30:00", "02.03.2026"]
    day = pd.Timestamp("2026-03-02").date()
    assert made(cells, "date", dates=("%d.%m.%Y",), typed=True) == ([day] * 3, {})
    values, broken = made(cells, "date", dates=("%d.%m.%Y",))
    assert values == [None, None, day]
    assert set(broken) == set(cells[:2])
