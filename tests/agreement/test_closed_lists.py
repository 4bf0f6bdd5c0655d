"""Public result tables have no column, status or reference that the closed lists do not know."""

import tomllib

import pandas as pd
import pytest
from paired import pairs, rubrics

from mentorstats import places, policy
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
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.counts.double_scores import over_raters
from mentorstats.agreement.reading import in_words, next_round
from mentorstats.agreement.scores import between_roles
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
    met = pd.DataFrame({"observation": ["o1"], "rater_first": ["m"], "rater_second": ["s"]})
    tables = [
        likeness(lessons, ["week"]),
        inverse_probability_weights(lessons, ["week"]).to_frame(),
        partners(met),
    ]
    for found in tables:
        assert set(found.columns) <= known("result_columns.toml")
        assert set(found.get("status", [])) <= known("statuses.toml")
        assert set(found.get("reference", [])) <= set(SOURCES)


def test_columns_of_what_the_report_is_made_of():
    chosen, levels = pairs([[9, 4, 1], [5, 12, 3], [1, 6, 20]]), rubrics(3)
    found = by_version.by_version(chosen, levels)
    words = in_words.in_words(found, policy.read())
    of_raters = pd.DataFrame(
        {
            "rater_role": ["mentor"] * 2,
            "n_double_scored": [1, 2],
            "value": [0.5, 1.0],
            "n_partners": [1, 1],
            "partner_share": [1.0, 1.0],
        }
    )
    tables = [
        words.read,
        words.bands,
        in_words.paradoxes(pairs([[90, 5], [4, 1]]), rubrics(2), policy.read()),
        between_roles.levels_used(chosen, levels),
        between_roles.shares(chosen, levels),
        between_roles.lesson_agreement(chosen),
        between_roles.lesson_scores(chosen).drop(columns="candidate"),
        next_round.needed(chosen, levels, policy.read()),
        over_raters(of_raters),
    ]
    for found in tables:
        assert set(found.columns) <= known("result_columns.toml")
        assert set(found.get("status", [])) <= known("statuses.toml")
        assert set(found.get("reference", [])) <= set(SOURCES)
