"""Sections on assignment, adjusted scores and own mentors: what they say, and what they withhold."""

import dataclasses

import pandas as pd
import pytest
from crossed import programme

from mentorstats import policy
from mentorstats.calibration import (
    Assignment,
    adjusted_scores,
    assignment_check,
    base_fit,
    own_mentor_difference,
)
from mentorstats.policy import Policy
from mentorstats.report.calibration import adjusted as adjusted_section
from mentorstats.report.calibration import assignment as assignment_section
from mentorstats.report.calibration import own_mentor as own_section
from mentorstats.report.render.view import view


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4, criteria=2))


@pytest.fixture(scope="module")
def rules():
    return policy.read()


def with_cut(rules, value):
    changed = [dataclasses.replace(r, value=value) if r.id == "candidate_cut" else r for r in rules.rules]
    return Policy(tuple(changed))


def refused(found):
    roles = found.roles.assign(status="assignment_not_ignorable", sd_level=0.3, sd_level_low=0.1)
    return Assignment(found.raters, roles.assign(sd_level_high=0.6))


def test_the_section_says_that_the_check_has_little_power(base, rules) -> None:
    section = assignment_section.section(assignment_check(base), rules)
    assert "little power" in section.answer
    assert section.verdict == "not clear"
    roles, raters = section.tables
    assert [row[0].text for row in view(roles).rows] == ["supervisor"]
    assert raters.data["rater"].is_monotonic_increasing


def test_a_role_whose_assignment_matters_is_named(base, rules) -> None:
    section = assignment_section.section(refused(assignment_check(base)), rules)
    assert "are withheld" in section.answer
    assert "0.30 [0.10, 0.60]" in section.answer
    assert section.verdict == "no"


def test_few_raters_of_a_role_are_not_shown(base, rules) -> None:
    found = assignment_check(base)
    few = Assignment(found.raters, found.roles.assign(n_raters=2))
    section = assignment_section.section(few, rules)
    assert "too few to show" in section.answer
    assert view(section.tables[0]).rows[0][3].text == "not shown"


def test_no_raters_is_a_section_without_records(base, rules) -> None:
    found = assignment_check(base)
    none = Assignment(found.raters.iloc[:0], found.roles.iloc[:0])
    assert assignment_section.section(none, rules).status == "no_records"


def test_a_cut_is_off_until_the_programme_sets_one(base, rules) -> None:
    assert adjusted_section.cut(rules) is None
    assert "candidate_cut" not in rules.asked
    set_by_programme = with_cut(rules, 2.5)
    assert adjusted_section.cut(set_by_programme) == 2.5
    section = adjusted_section.section(adjusted_scores(base, cut=2.5), rules)
    assert "decisions at 2.5" in section.answer
    assert "Decisions that would change" in section.tables[0].labels.values()
    without = adjusted_section.section(adjusted_scores(base), rules)
    assert "decisions" not in without.answer
    assert "never replaces" in without.caution[0]


def test_adjusted_scores_are_withheld_with_the_reason(base, rules) -> None:
    withheld = adjusted_scores(base, assignment=refused(assignment_check(base)))
    section = adjusted_section.section(withheld, rules)
    assert section.answer.startswith("Withheld.")
    assert "little power" in section.answer
    assert section.status == "assignment_not_ignorable"
    assert not section.tables


def test_own_mentors(base, rules) -> None:
    first = base.rows["rater"].str[1:].astype(int) == base.rows["candidate"].str[1:].astype(int) % 12
    section = own_section.section(own_mentor_difference(base, first), rules)
    assert section.answer.startswith("Own mentors rate ")
    assert "is an assumption" in section.caution[0]
    assert [row[3].text for row in view(section.tables[0]).rows] == ["12"]
    none = own_section.section(own_mentor_difference(base, pd.Series(False, index=base.rows.index)), rules)
    assert none.status == "no_records"
