"""Every kind of faulty row is set aside or noted, with file, row, column and value, all in one run."""

import tomllib

import pandas as pd
import pytest

from mentorstats import places
from mentorstats.errors import NothingUsableError
from mentorstats.records import causes


def rules():
    path = places.data_dictionary() / "vocabulary" / "problem_rules.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def change(table, row, column, value):
    def apply(tables):
        heading = tables[table][0]
        if column not in heading:
            heading.append(column)
            for line in tables[table][1:]:
                line.append("")
        tables[table][row - 1][heading.index(column)] = value

    return apply


def add(table, *cells):
    return lambda tables: tables[table].append(list(cells))


RATING = ("V2", "S1", "supervisor", "hearthside", "1")

# (change, table, row, column, value, rule, effect); rows as a spreadsheet shows them
CASES = {
    "minutes below zero": (
        change("observations", 2, "minutes", "-5"),
        "observations",
        2,
        "minutes",
        "-5",
        "minimum",
    ),
    "minutes in words": (
        change("observations", 2, "minutes", "an hour"),
        "observations",
        2,
        "minutes",
        "an hour",
        "type",
    ),
    "minutes with a point": (
        change("observations", 2, "minutes", "45.0"),
        "observations",
        2,
        "minutes",
        "45.0",
        "type",
    ),
    "no such day": (
        change("observations", 3, "date", "2026-02-30"),
        "observations",
        3,
        "date",
        "2026-02-30",
        "type",
    ),
    "a date the other way": (
        change("observations", 3, "date", "02/02/2026"),
        "observations",
        3,
        "date",
        "02/02/2026",
        "type",
    ),
    "neither yes nor no": (
        change("observations", 3, "pre_conference", "perhaps"),
        "observations",
        3,
        "pre_conference",
        "perhaps",
        "type",
    ),
    "unknown status": (
        change("placements", 2, "status", "finished"),
        "placements",
        2,
        "status",
        "finished",
        "allowed",
    ),
    "unknown purpose": (
        change("observations", 2, "purpose", "both"),
        "observations",
        2,
        "purpose",
        "both",
        "allowed",
    ),
    "spreadsheet error": (
        change("ratings", 2, "rater", "#REF!"),
        "ratings",
        2,
        "rater",
        "#REF!",
        "spreadsheet_error",
    ),
    "no rater": (change("ratings", 2, "rater", ""), "ratings", 2, "rater", "", "required"),
    "undeclared level": (change("ratings", 2, "level", "3"), "ratings", 2, "level", "3", "declared_level"),
    "a level of other case": (
        change("ratings", 2, "level", "Reliable"),
        "ratings",
        2,
        "level",
        "Reliable",
        "declared_level",
    ),
    "unknown criterion": (
        change("ratings", 2, "criterion", "zz"),
        "ratings",
        2,
        "criterion",
        "zz",
        "declared_criterion",
    ),
    "unknown version": (
        change("ratings", 2, "rubric_version", "3"),
        "ratings",
        2,
        "rubric_version",
        "3",
        "declared_version",
    ),
    "unknown rubric": (
        change("ratings", 2, "rubric", "fireside"),
        "ratings",
        2,
        "rubric",
        "fireside",
        "declared_rubric",
    ),
    "level and reason": (
        change("ratings", 2, "missing_reason", "withheld"),
        "ratings",
        2,
        "level",
        "reliable",
        "level_or_reason",
    ),
    "unknown lesson": (
        change("ratings", 2, "observation", "V9"),
        "ratings",
        2,
        "observation",
        "V9",
        "foreign_key",
    ),
    "unknown placement": (
        change("observations", 3, "placement", "P9"),
        "observations",
        3,
        "placement",
        "P9",
        "foreign_key",
    ),
}


# Faults of a cell that a row can be without.
OPTIONAL = {
    name
    for name, case in CASES.items()
    if case[3] in ("minutes", "date", "pre_conference", "status", "purpose")
}


@pytest.mark.parametrize("case", sorted(OPTIONAL))
def test_a_cell_that_a_row_can_be_without_is_missing_and_the_row_stays(programme, case):
    apply, table, row, column, value, rule = CASES[case]
    apply(programme.tables)
    records = programme.write().load()
    fault = records.problems[["file", "row", "column", "value", "rule", "effect"]].to_numpy().tolist()
    assert fault == [[f"{table}.csv", row, column, value, rule, "notice"]]
    found = records.tables[table].set_index("row")
    assert pd.isna(found.loc[row, column])
    assert len(found) == len(programme.tables[table]) - 1
    assert len(records.ratings) == len(programme.tables["ratings"]) - 1


@pytest.mark.parametrize("case", sorted(set(CASES) - OPTIONAL))
def test_a_faulty_row_is_set_aside_with_its_place(programme, case):
    apply, table, row, column, value, rule = CASES[case]
    apply(programme.tables)
    records = programme.write().load()
    first = records.problems[records.problems["file"] == f"{table}.csv"].iloc[0]
    assert (first["row"], first["column"], first["value"]) == (row, column, value)
    assert (first["rule"], first["effect"]) == (rule, "set_aside")
    assert first["problem"]
    assert first["remedy"]
    assert row not in set(records.tables[table]["row"])
    counts = records.sources.set_index("table").loc[table]
    assert counts["rows_kept"] == len(records.tables[table])
    assert (
        counts["rows_read"]
        == counts["rows_kept"] + counts["rows_set_aside"]
        == len(programme.tables[table]) - 1
    )


def test_the_nearest_declared_level_is_named(programme):
    change("ratings", 2, "level", "reliabel")(programme.tables)
    remedy = programme.write().load().problems["remedy"].iloc[0]
    assert remedy == "Declared: support, part, reliable, adapts. Did you mean 'reliable'?"


def test_every_fault_at_once(programme):
    for name in ("minutes below zero", "unknown status", "unknown criterion", "unknown rubric"):
        CASES[name][0](programme.tables)
    found = programme.write().load().problems
    assert {"minimum", "allowed", "declared_rubric"} <= set(found["rule"])


def test_a_placement_that_is_set_aside_says_what_waits_for_it(programme):
    change("placements", 2, "candidate", "")(programme.tables)
    records = programme.write().load()
    assert records.placements["placement"].tolist() == ["P2"]
    assert records.problems["problem"].tolist() == ["candidate is empty: 1 lesson and 3 ratings wait for it"]
    assert causes.waiting(records.problems).tolist() == [3]
    # The ratings of its lesson serve agreement still, and the long table says what they lack.
    assert len(records.ratings) == 5
    long = records.long().set_index("observation")
    assert long.loc["V1", ["candidate", "cohort", "site", "week"]].isna().all(axis=None)
    assert long.loc["V1", "date"].notna().all()
    assert long.loc["V2", "candidate"].eq("007").all()


def test_the_ratings_of_a_lesson_that_was_set_aside_stay(programme):
    change("observations", 2, "placement", "P9")(programme.tables)
    records = programme.write().load()
    assert records.observations["observation"].tolist() == ["V2"]
    assert records.problems["problem"].tolist() == ["'P9' is not in placements: 3 ratings wait for it"]
    assert len(records.ratings) == 5
    assert records.long().set_index("observation").loc["V1", ["placement", "date"]].isna().all(axis=None)


@pytest.mark.parametrize(
    ("table", "column", "told"),
    [
        ("placements", "start", "'soon' is not a date: 1 lesson and 3 ratings wait for it"),
        ("observations", "date", "'soon' is not a date: 3 ratings wait for it"),
        ("placements", "end", "'soon' is not a date"),
    ],
)
def test_a_date_that_weeks_are_counted_from_says_what_waits_for_it(programme, table, column, told):
    change(table, 2, column, "soon")(programme.tables)
    assert programme.write().load().problems["problem"].tolist() == [told]


@pytest.mark.parametrize(("column", "value", "kept"), [("minutes", "50", 5), ("date", "2026-01-13", 2)])
def test_a_code_of_two_lessons_takes_its_ratings_along(programme, column, value, kept):
    lesson = list(programme.tables["observations"][1])
    programme.tables["observations"].append(lesson)
    change("observations", 4, column, value)(programme.tables)
    records = programme.write().load()
    assert records.observations["observation"].tolist() == ["V2"]
    # Minutes that differ are one lesson still; on two days it is two, and no rating says which.
    assert len(records.ratings) == kept
    told = records.problems.loc[records.problems["rule"] == "foreign_key", "problem"]
    assert told.tolist() == ["'V1' stands for several rows of observations that differ"] * (5 - kept)


def test_a_rater_who_is_in_no_list_is_noted_once_a_file(programme):
    for row in (2, 3):
        change("ratings", row, "rater", "M9")(programme.tables)
    found = programme.write().load().problems
    assert found["problem"].tolist() == ["'M9' is not in raters (2 rows, the first is shown)"]


def test_ratings_that_differ_are_all_set_aside(programme):
    add("ratings", *RATING, "m3d9", "part")(programme.tables)
    records = programme.write().load()
    found = records.problems
    assert found["rule"].tolist() == ["primary_key", "primary_key"]
    assert found["row"].tolist() == [6, 7]
    assert found["problem"].tolist()[0].endswith("see also ratings.csv row 7")
    assert found["problem"].tolist()[1].endswith("see also ratings.csv row 6")
    assert records.ratings["row"].tolist() == [2, 3, 4, 5]


def test_ratings_that_are_alike_keep_the_first(programme):
    add("ratings", *RATING, "m3d9", "adapts")(programme.tables)
    records = programme.write().load()
    assert records.problems[["rule", "row", "effect"]].to_numpy().tolist() == [
        ["repeated_row", 7, "set_aside"]
    ]
    assert records.ratings["row"].tolist() == [2, 3, 4, 5, 6]


def test_a_repeat_is_seen_across_files(programme):
    again = [programme.tables["ratings"][0], programme.tables["ratings"][1]]
    programme.write().workbook("late.xlsx", {"ratings": again})
    found = programme.load().problems
    assert found[["file", "row", "rule"]].to_numpy().tolist() == [["ratings.csv", 2, "repeated_row"]]
    assert "late.xlsx ratings row 2" in found["problem"].iloc[0]


def test_two_versions_of_a_rubric_are_two_ratings(programme):
    rubrics = programme.tables["rubrics"]
    rubrics += [[row[0], "2", *row[2:]] for row in rubrics[1:]]
    add("ratings", "V2", "S1", "supervisor", "hearthside", "2", "m3d9", "part")(programme.tables)
    records = programme.write().load()
    assert records.problems.empty
    assert len(records.ratings) == 6


@pytest.mark.parametrize(
    ("apply", "table", "row", "column", "rule"),
    [
        (change("observations", 2, "date", "2026-06-12"), "observations", 2, "date", "outside_placement"),
        (change("observations", 2, "date", "2026-01-04"), "observations", 2, "date", "outside_placement"),
        (change("raters", 3, "expires_on", "2025-01-01"), "raters", 3, "expires_on", "date_order"),
        (
            change("observations", 2, "debrief_date", "2026-01-11"),
            "observations",
            2,
            "debrief_date",
            "date_order",
        ),
        (change("ratings", 2, "rater", "M9"), "ratings", 2, "rater", "foreign_key"),
    ],
)
def test_what_may_be_right_is_noted_and_kept(programme, apply, table, row, column, rule):
    apply(programme.tables)
    records = programme.write().load()
    found = records.problems
    assert found[["file", "row", "column", "rule", "effect"]].to_numpy().tolist() == [
        [f"{table}.csv", row, column, rule, "notice"]
    ]
    assert row in set(records.tables[table]["row"])


def test_days_at_the_ends_of_a_placement_lie_within_it(programme):
    change("observations", 2, "date", "2026-01-05")(programme.tables)
    change("observations", 3, "date", "2026-05-29")(programme.tables)
    assert programme.write().load().problems.empty


def test_a_ragged_row_is_set_aside_and_counted(programme):
    programme.write()
    path = programme.folder / "ratings.csv"
    path.write_text(path.read_text(encoding="utf-8") + "V2,S1,supervisor\n", encoding="utf-8")
    records = programme.load()
    fault = records.problems.iloc[0]
    assert (fault["rule"], fault["row"], fault["effect"]) == ("ragged_row", 7, "set_aside")
    assert fault["problem"] == "the row has 3 cells, and there are 7 headings"
    counts = records.sources.set_index("table").loc["ratings", ["rows_read", "rows_kept", "rows_set_aside"]]
    assert counts.tolist() == [6, 5, 1]


def test_a_long_value_is_cut_short(programme):
    change("ratings", 2, "level", "x" * 5000)(programme.tables)
    found = programme.write().load().problems.iloc[0]
    assert len(found["value"]) == 200
    assert len(found["problem"]) < 300


def test_when_nothing_is_left_it_is_said(programme):
    for row in programme.tables["ratings"][1:]:
        row[6] = "nine"
    records = programme.write().load()
    assert records.ratings.empty
    with pytest.raises(
        NothingUsableError, match=r"ratings.csv: all 5 rows of ratings were set aside.*5 faults"
    ):
        records.require("placements", "ratings")
    records.require("placements")
    with pytest.raises(AttributeError, match=r"no attribute 'rating'.*ratings"):
        _ = records.rating


def test_rules_and_effects_are_those_of_the_vocabulary(programme):
    for name, case in CASES.items():
        if name not in ("unknown lesson", "unknown placement"):
            case[0](programme.tables)
    found = programme.write().load().problems
    known = rules()
    for rule, effect in set(zip(found["rule"], found["effect"], strict=True)):
        assert effect in known[rule]["effect"]
