"""Public result tables have no column, status or reference that the closed lists do not know."""

import tomllib

import pandas as pd
import pytest

from mentorstats import places
from mentorstats.agreement import (
    by_level,
    coefficients,
    finn,
    icc,
    icc_incomplete,
    inverse_probability_weights,
    kendall_w,
    likeness,
    limits_of_agreement,
    marginal_homogeneity,
    partners,
)
from mentorstats.sources import SOURCES

RATINGS = pd.DataFrame({"unit": [0, 0, 1, 1, 2, 2], "rater": ["a", "b"] * 3, "level": [1, 1, 2, 2, 1, 2]})


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


@pytest.mark.parametrize("table", [coefficients, by_level])
def test_columns_statuses_and_references(table):
    found = table(RATINGS, unit="unit", rater="rater", level="level", levels=[1, 2])
    assert set(found.columns) <= known("result_columns.toml")
    assert set(found["status"]) <= known("statuses.toml")
    assert set(found["reference"]) <= set(SOURCES)


@pytest.mark.parametrize(
    "table", [icc, icc_incomplete, kendall_w, finn, limits_of_agreement, marginal_homogeneity]
)
def test_tables_for_scores(table):
    more = {"levels": [1, 2]} if table in (finn, marginal_homogeneity) else {}
    found = table(RATINGS, unit="unit", rater="rater", level="level", **more)
    assert set(found.columns) <= known("result_columns.toml")
    assert set(found["status"]) <= known("statuses.toml")
    assert set(found["reference"]) <= set(SOURCES)
    assert "interval_method" in found or table is marginal_homogeneity


def test_columns_about_double_scores():
    lessons = pd.DataFrame({"week": [1, 2, 3, 4] * 5, "double_scored": [True, False, False, True, True] * 4})
    pairs = pd.DataFrame({"observation": ["o1"], "rater_first": ["m"], "rater_second": ["s"]})
    tables = [
        likeness(lessons, ["week"]),
        inverse_probability_weights(lessons, ["week"]).to_frame(),
        partners(pairs),
    ]
    for found in tables:
        assert set(found.columns) <= known("result_columns.toml")
        assert set(found.get("status", [])) <= known("statuses.toml")
        assert set(found.get("reference", [])) <= set(SOURCES)
