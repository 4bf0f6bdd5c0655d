import math

import pandas as pd
import pytest

from mentorstats.policy import NO_SOURCE, Rule
from mentorstats.report.columns import counted, group, statistic, verdict
from mentorstats.report.model import Table
from mentorstats.report.render.view import view
from mentorstats.report.small_groups import blank


@pytest.fixture
def rule(shipped):
    return shipped.rule("minimum_group_size")


def table(people, unit="people"):
    data = pd.DataFrame(
        {
            "site": [f"s{number}" for number in range(len(people))],
            "people": people,
            "lessons": [7] * len(people),
            "share": [0.5] * len(people),
            "share_low": [0.4] * len(people),
            "share_high": [0.6] * len(people),
            "clear": ["yes"] * len(people),
        }
    )
    return Table(
        key="t",
        title="T",
        data=data,
        columns=(
            group("site", "site"),
            counted("people", "people", unit),
            counted("lessons", "lessons", "lessons"),
            statistic("share", "share", "share"),
            verdict("clear", "clear"),
        ),
    )


def test_groups_under_the_minimum_lose_counts_statistics_bounds_and_verdicts(rule):
    shown = blank(table([9, 10, 11]), rule)
    first = shown.data.iloc[0]
    assert first[["people", "lessons", "share", "share_low", "share_high"]].isna().all()
    assert list(shown.data["share_status"]) == ["too_few_to_show", "ok", "ok"]
    assert list(shown.data["people"].iloc[1:]) == [10, 11]
    assert "fewer than 10 people" in shown.note
    cells = view(shown).rows[0]
    assert [cell.text for cell in cells] == ["s0"] + ["not shown"] * 4
    assert not any(cell.under for cell in cells)


def test_groups_of_few_raters_are_hidden_as_those_of_few_candidates_are(rule):
    shown = blank(table([3, 12], unit="raters"), rule)
    assert list(shown.data["share_status"]) == ["too_few_to_show", "ok"]
    assert shown.data.iloc[0][["people", "lessons"]].isna().all()


def test_an_empty_group_hides_nobody(rule):
    given = table([0, 12])
    assert blank(given, rule) is given


def test_a_table_without_people_is_left_alone(rule):
    given = table([3], unit="rows")
    assert blank(given, rule) is given


def test_the_policy_decides_the_inequality():
    strict = Rule(
        id="minimum_group_size",
        value=10,
        inequality=">",
        unit="people",
        source=NO_SOURCE,
        kind="convention",
        effective_from=pd.Timestamp("2000-01-01").date(),
    )
    assert blank(table([10, 11]), strict).data["people"].isna().tolist() == [True, False]


def test_the_table_that_was_given_keeps_its_numbers(rule):
    given = table([3])
    blank(given, rule)
    assert given.data["people"].iloc[0] == 3
    assert not math.isnan(given.data["share"].iloc[0])


def test_rows_of_people_with_too_few_candidates_are_counted_and_not_listed(rule):
    data = pd.DataFrame({"rater": ["a", "b", "c"], "n_candidates": [12, 9, 2], "shift": [0.1, 0.2, 0.3]})
    columns = (group("rater", "Rater"), statistic("shift", "Shift", "levels"))
    given = Table(key="k", title="t", data=data, columns=columns, people=True)
    left = blank(given, rule)
    assert left.data["rater"].tolist() == ["a"]
    assert left.note == "2 raters with fewer than 10 candidates are not listed."
    assert blank(left, rule) is left
