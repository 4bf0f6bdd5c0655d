import itertools
import math
import re
from dataclasses import replace

import pandas as pd
import pytest

from mentorstats.policy import NO_SOURCE, Rule
from mentorstats.report.columns import Kind, counted, group, statistic, verdict
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


def lined(people, lines, **more):
    given = table(people)
    return replace(
        given, data=given.data.assign(**more), lines=lines, total="whole" if "whole" in more else ""
    )


def hidden(given, rule):
    return blank(given, rule).data["people"].isna().tolist()


def test_a_small_group_takes_the_next_smallest_with_it_where_a_total_is_told(rule):
    given = lined([40, 4, 12, 30], ((),))
    shown = blank(given, rule)
    assert shown.data["people"].isna().tolist() == [False, True, True, False]
    assert shown.data["share"].isna().tolist() == [False, True, True, False]
    assert shown.data["lessons"].isna().tolist() == [False, True, True, False]
    assert shown.data["share_status"].tolist() == ["ok", "too_few_to_show", "too_few_to_show", "ok"]
    assert "Neither are the next larger ones, where a total would give those away." in shown.note
    assert hidden(replace(given, lines=()), rule) == [False, True, False, False]


def test_what_is_hidden_together_is_as_many_as_the_minimum(rule):
    assert hidden(lined([3, 4, 0, 12, 30], ((),)), rule) == [True, True, False, True, False]
    assert hidden(lined([6, 7, 0, 12, 30], ((),)), rule) == [True, True, False, False, False]


def test_an_empty_group_is_no_partner(rule):
    assert hidden(lined([4, 0, 30], ((),)), rule) == [True, False, True]


def test_each_line_is_kept_by_itself(rule):
    role = ["mentor", "mentor", "supervisor", "supervisor"]
    given = lined([109, 26, 17, 4], (("role",),), role=role)
    assert hidden(given, rule) == [False, False, True, True]
    both = lined([109, 26, 17, 4], (("role",), ("stands",)), role=role, stands=["yes", "no", "yes", "no"])
    assert hidden(both, rule) == [True] * 4


def test_a_row_that_is_the_total_is_shown_where_two_parts_are_hidden_and_hidden_where_there_is_one(rule):
    whole = [True, False, False, True, False]
    role = ["supervisor"] * 3 + ["trainer"] * 2
    given = lined([21, 16, 5, 9, 9], (("role",),), role=role, whole=whole)
    assert hidden(given, rule) == [False, True, True, True, True]
    unequal = lined([21, 21, 5, 12, 9], (("role",),), role=role, whole=whole)  # a part that is not told
    assert hidden(unequal, rule) == [False, True, True, True, True]


def test_a_missing_count_hides_nobody_and_stops_nothing(rule):
    given = table(pd.array([12, pd.NA, 4], dtype="Int64"))
    assert blank(given, rule).data["share_status"].tolist() == ["ok", "ok", "too_few_to_show"]


NUMBER = re.compile(r"\d[\d,]*")


def told(text):
    return {int(number.replace(",", "")) for number in NUMBER.findall(text)}


def recovered(given, shown, answer):
    """Counts hidden in a table that are a number told beside it less the numbers shown in a line."""
    for name in (column.name for column in given.of(Kind.COUNT)):
        counts, left = given.data[name].astype(float), shown.data[name].astype("Float64")
        known = told(f"{answer} {shown.note}") | {int(n) for n in left.dropna()}
        groups = [column.name for column in given.of(Kind.GROUP)]
        columns = [(), *((name,) for name in groups), *itertools.combinations(groups, 2)]
        for line in (rows for names in columns for rows in rows_of(given.data, names)):
            gone = [row for row in line if pd.isna(left[row])]
            if len(gone) != 1 or not counts[gone[0]] > 0:
                continue
            rest = [row for row in line if row != gone[0]]
            sums = {float(left[rest].sum()), *(float(left[rest].sum() - left[row]) for row in rest)}
            yield from (
                (given.key, name, gone[0], total)
                for total, part in itertools.product(known, sums)
                if part > 0 and total - part == counts[gone[0]]
            )


def rows_of(data, names):
    if not names:
        return [list(data.index)]
    return [list(rows.index) for _, rows in data.groupby(list(names), dropna=False)]


LINED = (
    "double-by-cohort",
    "double-by-site",
    "double-by-month",
    "severity-roles",
    "representativeness-lines",
)


def test_no_count_of_a_report_comes_back_by_subtraction_from_its_table_or_its_sentence(analysed, rule):
    tables = {t.key: (t, section.answer) for section in analysed.sections for t in section.tables}
    assert set(LINED) <= set(tables)
    blanked = 0
    for key in LINED:
        given, answer = tables[key]
        for least in range(2, 60, 3):
            shown = blank(given, replace(rule, value=least))
            blanked += shown is not given
            assert not list(recovered(given, shown, answer)), (key, least)
    assert blanked > 10


def test_the_search_finds_what_a_total_gives_away(rule):
    given = table([40, 4, 30])
    shown = blank(given, rule)
    assert ("t", "people", 1, 74) in set(recovered(given, shown, "Of 74 candidates some …"))
    safe = blank(replace(given, lines=((),)), rule)
    assert not list(recovered(given, safe, "Of 74 candidates some …"))
