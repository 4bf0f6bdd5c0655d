"""Rows that cannot both be are noted and kept."""

import pytest

from mentorstats import dictionary

HEAD = {
    "teaching_load": ["placement", "week", "planned_share", "actual_share", "teaching_mode"],
    "questions": ["observation", "thinking_level", "count", "supported"],
    "coteaching": ["observation", "arrangement", "minutes"],
    "tutoring": ["pupil", "placement", "subject", "before", "after", "group_size", "comparison"],
    "orientation": ["placement", "item", "due", "done"],
}
ROWS = {
    "teaching_load": [["P1", "1", "0.1", "0.05", "watches"], ["P1", "2", "0.2", "", "leads"]],
    "questions": [["V1", "remember", "12", "3"], ["V1", "create", "1", ""]],
    "coteaching": [["V1", "one_helps", "20"], ["V2", "together", "25"]],
    "tutoring": [
        ["01", "P1", "reading", "41.5", "52", "2", "no"],
        ["02", "P1", "reading", "55", "60", "", "yes"],
    ],
    "orientation": [["P1", "handbook", "2026-01-07", "2026-01-06"], ["P2", "curriculum", "2026-01-12", ""]],
}  # fmt: skip


@pytest.fixture
def practice(programme):
    programme.tables |= {name: [HEAD[name], *map(list, ROWS[name])] for name in HEAD}
    return programme


def noted(programme, rule):
    found = programme.write().load().problems
    assert set(found["effect"]) <= {"notice"}
    found = found[found["rule"] == rule]
    return found[["file", "row", "column", "problem"]].to_numpy().tolist()


def test_tables_beside_the_ratings_load(practice):
    records = practice.write().load()
    assert records.problems.empty
    for name, rows in ROWS.items():
        assert len(records.tables[name]) == len(rows), name
    assert records.teaching_load["actual_share"].tolist()[0] == 0.05
    levels = list(dictionary.table("questions").field("thinking_level").categories)
    assert records.questions["thinking_level"].cat.categories.tolist() == levels
    assert records.questions["thinking_level"].max() == "create"
    assert records.tutoring["comparison"].tolist() == [False, True]
    assert records.orientation["done"].isna().tolist() == [False, True]


@pytest.mark.parametrize(
    ("table", "cell", "value", "rule"),
    [
        ("teaching_load", (1, 0), "P9", "foreign_key"),
        ("teaching_load", (1, 1), "0", "minimum"),
        ("questions", (1, 1), "recall", "allowed"),
        ("questions", (1, 2), "", "required"),
        ("coteaching", (2, 0), "V9", "foreign_key"),
        ("coteaching", (1, 2), "601", "maximum"),
        ("tutoring", (1, 1), "P9", "foreign_key"),
        ("tutoring", (1, 0), "", "required"),
        ("orientation", (1, 1), "", "required"),
    ],
)
def test_a_faulty_key_of_these_tables_sets_the_row_aside(practice, table, cell, value, rule):
    row, column = cell
    practice.tables[table][row][column] = value
    records = practice.write().load()
    fault = records.problems[["file", "row", "column", "rule", "effect"]].to_numpy().tolist()
    assert fault == [[f"{table}.csv", row + 1, HEAD[table][column], rule, "set_aside"]]
    assert len(records.tables[table]) == len(ROWS[table]) - 1


def test_percent_of_a_teaching_load(practice):
    for row in practice.tables["teaching_load"][1:]:
        row[2] = str(round(float(row[2]) * 100))
    practice.write()
    plain = "\n".join(
        f'[[source]]\nfile = "{name}.csv"\ntable = "{name}"\n[source.columns]\n'
        + "".join(f'{field} = "{field}"\n' for field in rows[0])
        for name, rows in practice.tables.items()
    )
    unit = plain.replace('= "planned_share"', '= { column = "planned_share", unit = "percent" }')
    assert practice.mapping(unit).load().teaching_load["planned_share"].tolist() == [0.1, 0.2]


@pytest.mark.parametrize(
    ("first", "second", "odd"),
    [
        (("2026-01-05", "2026-05-29"), ("2026-05-29", "2026-07-01"), True),
        (("2026-01-05", "2026-05-29"), ("2026-05-30", "2026-07-01"), False),
        (("2026-01-05", ""), ("2026-02-01", "2026-07-01"), False),
        (("2026-03-05", "2026-04-01"), ("2026-01-01", "2026-07-01"), True),
    ],
)
def test_two_placements_at_once(programme, first, second, odd):
    for row, days in zip(programme.tables["placements"][1:], (first, second), strict=True):
        row[1], row[6], row[7] = "C1", *days
    later = max((first[0], 2), (second[0], 3))
    text = f"'{later[0]}' is before the candidate's other placement ends"
    expected = [["placements.csv", later[1], "start", text]] if odd else []
    assert noted(programme, "two_placements_at_once") == expected


def test_a_long_placement_is_met_by_a_later_one_after_a_short_one(programme):
    head, row, _ = programme.tables["placements"]
    spans = [("2026-01-01", "2026-12-01"), ("2026-02-01", "2026-02-10"), ("2026-04-01", "2026-05-01")]
    programme.tables["placements"] = [
        head, *([f"P{i}", "C1", *row[2:6], *span, row[8]] for i, span in enumerate(spans, 1))
    ]  # fmt: skip
    assert [line[1] for line in noted(programme, "two_placements_at_once")] == [3, 4]


def test_placements_that_were_all_set_aside_are_at_no_time(programme):
    for row in programme.tables["placements"][1:]:
        row[1] = ""
    found = programme.write().load().problems
    assert set(found["rule"]) == {"required"}


def test_a_rater_who_is_the_candidate(programme):
    programme.tables["ratings"][1][1] = "C1"
    programme.tables["ratings"][2][1] = "C1"
    programme.tables["ratings"][4][1] = "C1"  # of another candidate's lesson
    assert noted(programme, "rates_oneself") == [
        ["ratings.csv", 2, "rater", "'C1' is the candidate who was rated (2 rows, the first is shown)"]
    ]


def test_a_certificate_that_had_expired(programme):
    programme.tables["raters"][2][3] = "2026-01-12"
    rows = noted(programme, "expired_certificate")
    assert rows == [
        [
            "ratings.csv",
            5,
            "rater",
            "'S1' rated after the certificate had expired (2 rows, the first is shown)",
        ]
    ]
    programme.tables["raters"][2][3] = ""
    assert noted(programme, "expired_certificate") == []


@pytest.mark.parametrize(("lacks", "has"), [("before", "after"), ("after", "before")])
def test_a_score_without_its_other(practice, lacks, has):
    column = HEAD["tutoring"].index(lacks)
    for row in practice.tables["tutoring"][1:]:
        row[column] = ""
    (fault,) = noted(practice, "one_score_only")
    assert fault[:3] == ["tutoring.csv", 2, has]
    assert fault[3].endswith("(2 rows, the first is shown)")
