"""What the sections on groups and on the instrument say, and what they leave out."""

from dataclasses import replace

import pytest

from mentorstats import demo, policy
from mentorstats.calibration import base_fit, candidate_groups, same_instrument
from mentorstats.calibration import fairness as compare
from mentorstats.report import small_groups
from mentorstats.report.calibration import fairness
from mentorstats.report.calibration import same_instrument as instrument
from mentorstats.report.columns import Kind
from mentorstats.report.render import view

RULES = policy.Policy(
    tuple(replace(r, value=10) if r.id == "minimum_group_size" else r for r in policy.read().rules)
)


@pytest.fixture(scope="module")
def told():
    """An invented programme of one cycle: lessons, raters and groups as they come, fewer of each."""
    made = demo.programme(11)
    first = made.placements[made.placements["cohort"] == "2023-24"]
    lessons = made.observations.merge(first, on="placement")
    lessons["week"] = (lessons["date"] - lessons["start"]).dt.days // 7 + 1
    kept = ["observation", "candidate", "cohort", "week", "site"]
    long = made.ratings.merge(lessons[kept], on="observation")
    long["rank"] = long["level"].cat.codes.add(1).where(long["level"].notna()).astype("Int8")
    base = base_fit(long)
    fields = [compare(base, candidate_groups(first, name), RULES) for name in ("entry_route", "gender")]
    modes = made.observations.set_index("observation")["visit_mode"]
    sides = [
        same_instrument(base, RULES, by="rater_role"),
        same_instrument(base, RULES, by="cohort"),
        same_instrument(base, RULES, by="visit_mode", values=modes),
    ]
    return fields, sides


def cells(section):
    return [cell.text for table in section.tables for row in view.view(table).rows for cell in row]


def test_groups_are_said_with_what_cannot_be_seen(told) -> None:
    section = fairness.section(told[0], RULES)
    assert "A bias that all raters share cannot be seen" in section.answer
    assert any("rubric" in text and "classes" in text for text in section.caution)
    assert "entry route" in section.answer
    assert section.detail[0].startswith("Entry route: ")
    for finding in section.findings:
        assert "expected to be false" in finding.how_sure
    assert "fairness-roles" in [table.key for table in section.tables]


def test_no_group_under_the_minimum_is_named(told, shipped) -> None:
    section = fairness.section(told[0], shipped)
    minimum = shipped.rule("minimum_group_size")
    assert told[0][1].groups.set_index("group").loc["another", "status"] == "too_few_to_show"
    assert "another" not in cells(section)
    for table in (small_groups.blank(each, minimum) for each in section.tables):
        for column in table.of(Kind.COUNT):
            counts = table.data[column.name].dropna()
            assert ((counts == 0) | (counts >= 10)).all()


def test_without_groups_the_section_says_what_would_fill_it() -> None:
    section = fairness.section([], RULES)
    assert "entry route" in section.needs
    assert not section.tables


def test_the_instrument_is_said_by_role_and_mode(told) -> None:
    section = instrument.section(told[1], RULES)
    assert "role" in section.answer
    assert {"Role", "Mode of the visit"} <= set(section.tables[0].data["by"])
    assert section.tables[0].data["criteria"].notna().any()


def test_nothing_to_compare_is_said(told) -> None:
    section = instrument.section([told[1][1]], RULES)
    assert section.status == "not_identified"
    assert section.needs
