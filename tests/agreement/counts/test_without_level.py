"""Ratings without a level are counted once each, by reason, role and rater."""

import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.agreement.counts.without_level import REASONS, without_level
from mentorstats.errors import ColumnError
from mentorstats.report.agreement import without_level as section

ROWS = [
    ("m1", "mentor", "c1", "low", None),
    ("m1", "mentor", "c1", None, "not_observed"),
    ("m1", "mentor", "c2", None, "withheld"),
    ("m2", "mentor", "c2", None, None),
    ("m3", "mentor", "c3", "top", None),
    ("s1", "supervisor", "c1", "top", None),
]


@pytest.fixture
def long():
    return pd.DataFrame(ROWS, columns=["rater", "rater_role", "candidate", "level", "missing_reason"])


def test_each_is_counted_once_under_its_reason(long):
    found = without_level(long)
    roles = found.roles.set_index("rater_role")
    assert roles.loc["mentor", ["n_raters", "n_candidates", "n_ratings", "n_without_level"]].tolist() == [
        3,
        3,
        5,
        3,
    ]
    assert roles.loc["mentor", list(REASONS)].tolist() == [1, 0, 0, 1, 1]
    assert roles["share"].tolist() == [0.6, 0.0]
    assert (found.roles[list(REASONS)].sum(axis=1) == found.roles["n_without_level"]).all()
    assert found.raters[["n_ratings", "n_without_level"]].sum().tolist() == [6, 3]
    assert found.raters["rater"].tolist() == ["m1", "m2", "m3", "s1"]


def test_the_section_says_roles_that_are_large_enough(long):
    built = section.section(without_level(long), policy.read())
    assert built.answer.startswith("Mentors left 3 of 5 ratings without a level (60\N{NO-BREAK SPACE}%)")
    assert "upervisor" not in built.answer  # one supervisor is too few to show
    by_role, by_rater = built.tables
    assert by_rater.people
    assert by_rater.data["rater"].tolist() == ["m1", "m2"]
    assert "not_scored" not in [column.name for column in by_role.columns]  # nobody gave that reason


def test_where_every_rating_has_a_level_it_says_so(long):
    assert section.section(without_level(long[:1]), policy.read()).answer == "Every rating has a level."


def test_a_missing_column_is_named(long):
    with pytest.raises(ColumnError, match="missing_reason"):
        without_level(long.drop(columns="missing_reason"))
