"""What a mapping says of rows: those to skip, headings in two rows, forms of several raters side by side."""

import openpyxl
import pytest

from mentorstats.errors import MappingError

PLACES = '[[source]]\nfile = "placements.csv"\ntable = "placements"\n'
COLUMNS = 'columns = { placement = "Code", candidate = "Candidate" }\n'
ROWS = [
    ["Code", "Candidate"],
    ["P1", "C1"],
    ["P2", "C2"],
    ["Total", "2"],
    ["", "Printed in May"],
    ["P3", "  TOTAL of all"],
]


def skipped(programme, skip, rows=ROWS):
    records = programme.csv("placements.csv", rows).mapping(PLACES + f"skip = {skip}\n" + COLUMNS).load()
    return records, records.problems[records.problems["rule"] == "skipped_rows"]


@pytest.mark.parametrize(
    ("skip", "left", "rows", "column", "words"),
    [
        (
            '{ column = "Candidate", starts_with = "Total" }',
            [2, 3, 4],
            "(row 6)",
            "Candidate",
            "starts with 'Total'",
        ),
        ('{ column = "code", equals = "total" }', [2, 3, 6], "(row 4)", "code", "equals 'total'"),
        (
            '{ column = "Candidate", contains = "in may" }',
            [2, 3, 4, 6],
            "(row 5)",
            "Candidate",
            "contains 'in may'",
        ),
        ('{ column = "Code", empty = true }', [2, 3, 4, 6], "(row 5)", "Code", "empty"),
        ("{ first = 2 }", [4, 6], "(rows 2, 3)", "", "first 2"),
        ("{ last = 3 }", [2, 3], "(rows 4, 5, 6)", "", "last 3"),
        ('{ column = "Code", equals = "none" }', [2, 3, 4, 6], "0 rows were", "Code", "equals 'none'"),
    ],
)
def test_rows_that_are_no_records(programme, skip, left, rows, column, words):
    records, notices = skipped(programme, skip)
    assert records.placements["row"].tolist() == left
    (notice,) = notices.itertuples()
    assert rows in notice.problem
    assert notice.problem.endswith(f"skip {words}")
    assert (notice.file, notice.column, notice.effect) == ("placements.csv", column, "notice")


def test_each_rule_tells_its_own_rows(programme):
    rules = '[{ last = 3 }, { column = "Candidate", equals = "C1" }, { column = "Code", starts_with = "P1" }]'
    records, notices = skipped(programme, rules)
    assert records.placements["placement"].tolist() == ["P2"]
    assert notices["problem"].str.extract(r"\((.*)\)")[0].tolist() == ["rows 4, 5, 6", "row 2", "row 2"]
    # What is skipped is no record: neither read nor set aside.
    assert records.sources["rows_read"].tolist() == [1]


def test_rows_with_fewer_cells_can_be_skipped_too(programme):
    rows = [*ROWS[:3], ["Total: 2"], ["Printed in May"]]
    records, _ = skipped(programme, '[{ last = 1 }, { column = "Code", starts_with = "total" }]', rows)
    assert records.problems["rule"].tolist() == ["skipped_rows", "skipped_rows"]
    assert records.placements["row"].tolist() == [2, 3]
    records, _ = skipped(programme, "{ last = 1 }", rows)
    assert records.problems.loc[records.problems["rule"] == "ragged_row", "row"].tolist() == [4]


WRONG = {
    "true": r"skip = True.*a rule or a list of rules",
    "[]": r"skip = \[\].*a rule or a list of rules",
    '{ column = "Code" }': "a rule says one thing, and this one none.*starts_with",
    '{ column = "Code", equals = "a", contains = "b" }': "this one equals, contains",
    '{ equals = "a" }': "equals needs a column",
    '{ column = "Code", empty = false }': "empty = False.*true",
    '{ column = "Code", first = 1 }': "first counts rows and needs no column",
    "{ first = 0 }": "first = 0.*a whole number from 1",
    '{ column = "Code", begins_with = "a" }': "unknown key 'begins_with'",
    '{ column = "Code", equals = " " }': "equals = ' '.*not blank",
    '{ column = "Kode", equals = "a" }': "has no column 'Kode'",
}


@pytest.mark.parametrize("skip", WRONG)
def test_a_rule_said_wrongly(programme, skip):
    with pytest.raises(MappingError, match=f"placements.csv has|source 1.*{WRONG[skip]}"):
        skipped(programme, skip)


FORMS = [
    ["Forms of spring"],
    ["", "", "Mentor", "", "Supervisor", "", ""],
    ["Visit", "Mentor", "Aim", "Before", "Aim", "Before", "Remarks"],
    ["V1", "M1", "part", "lead", "help", "steady", "x"],
    ["V2", "M2", "part", "", "", "", ""],
]
SIDE_BY_SIDE = """
[[source]]
file = "placements.csv"
table = "placements"
columns = { placement = "Code", candidate = "Candidate" }

[[source]]
file = "lessons.csv"
table = "observations"
columns = { observation = "Visit", placement = "Code" }

[[source]]
file = "FILE"
table = "ratings"
heading_rows = [2, 3]
[source.columns]
observation = "Visit"
[source.constants]
rubric = "hearthside"
rubric_version = "1"
[[source.raters]]
columns = { rater = "Mentor" }
constants = { rater_role = "mentor" }
criteria = { k7w2 = "Mentor Aim", m3d9 = "Mentor Before" }
[[source.raters]]
constants = { rater_role = "supervisor", rater = "S1" }
criteria = { k7w2 = "Supervisor Aim", m3d9 = "Supervisor Before" }

[[scale]]
rubric = "hearthside"
version = "1"
levels = ["help", "part", "steady", "lead"]
criteria = ["k7w2", "m3d9"]
"""


def side_by_side(programme, kind, *, merge=()):
    programme.csv("placements.csv", [["Code", "Candidate"], ["P1", "C1"]])
    programme.csv("lessons.csv", [["Visit", "Code"], ["V1", "P1"], ["V2", "P1"]])
    if kind == "csv":
        programme.csv("forms.csv", [row + [""] * (7 - len(row)) for row in FORMS])
    else:
        programme.workbook("forms.xlsx", {"Forms": FORMS})
        book = openpyxl.load_workbook(programme.folder / "forms.xlsx")
        for cells in merge:
            book["Forms"].merge_cells(cells)
        book.save(programme.folder / "forms.xlsx")
    return programme.mapping(SIDE_BY_SIDE.replace("FILE", f"forms.{kind}"))


@pytest.mark.parametrize(
    ("kind", "merge"), [("csv", ()), ("xlsx", ()), ("xlsx", ("C2:D2", "E2:F2", "A1:G1"))]
)
def test_two_raters_side_by_side_under_headings_in_two_rows(programme, kind, merge):
    records = side_by_side(programme, kind, merge=merge).load()
    ratings = records.ratings
    level = ratings["level"].astype(object).where(ratings["level"].notna(), ratings["missing_reason"])
    found = list(zip(ratings["observation"], ratings["rater"], ratings["criterion"], level, strict=True))
    assert found == [
        ("V1", "M1", "k7w2", "part"),
        ("V1", "M1", "m3d9", "lead"),
        ("V2", "M2", "k7w2", "part"),
        ("V2", "M2", "m3d9", "not_scored"),
        ("V1", "S1", "k7w2", "help"),
        ("V1", "S1", "m3d9", "steady"),
    ]
    assert set(ratings["row"]) == {4, 5}
    # The supervisor did not come to V2: no form, and that is said.
    notice = records.problems[records.problems["rule"] == "skipped_rows"]
    assert notice["problem"].str.startswith("1 row has no level from this rater").tolist() == [True]


def test_merged_headings_reach_as_far_as_they_are_merged(programme):
    side_by_side(programme, "xlsx", merge=("C2:D2", "E2:F2"))
    text = (programme.folder / "mapping.toml").read_text(encoding="utf-8")
    programme.mapping(
        text.replace('observation = "Visit"\n[', 'observation = "Visit"\nindependent = "Remarks"\n[')
    )
    # Without merged cells the last heading would be "Supervisor Remarks".
    assert "type" in set(programme.load().problems["rule"])


def test_raters_beside_each_other_in_a_long_form(programme):
    programme.csv("placements.csv", [["Code", "Candidate"], ["P1", "C1"]])
    programme.csv("lessons.csv", [["Visit", "Code"], ["V1", "P1"]])
    rows = [
        ["Visit", "What", "Mentor says", "Supervisor says"],
        ["V1", "k7w2", "part", ""],
        ["V1", "m3d9", "", "lead"],
    ]
    programme.csv("forms.csv", rows)
    text = SIDE_BY_SIDE.replace("FILE", "forms.csv").replace("heading_rows = [2, 3]\n", "")
    text = text.replace('observation = "Visit"\n[', 'observation = "Visit"\ncriterion = "What"\n[')
    for role in ("Mentor", "Supervisor"):
        text = text.replace(f'k7w2 = "{role} Aim", m3d9 = "{role} Before"', "GONE")
        text = text.replace("criteria = { GONE }\n", f'columns = {{ level = "{role} says" }}\n', 1)
    text = text.replace('columns = { rater = "Mentor" }\nconstants = { ', 'constants = { rater = "M1", ')
    ratings = programme.mapping(text).load().ratings
    assert ratings[["rater", "criterion", "level"]].astype("str").to_numpy().tolist() == [
        ["M1", "k7w2", "part"],
        ["S1", "m3d9", "lead"],
    ]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[2, 3]", "[3, 2]", r"heading_rows = \[3, 2\].*rows from the top down"),
        ("[2, 3]", "3", r"heading_rows = 3.*for example \[3, 4\]"),
        ("[2, 3]", "[2, 3]\nheading_row = 3", "heading_row and heading_rows say the same thing"),
        (
            "[[source.raters]]\nconstants = {",
            "[[source.raters]]\nconstants = { rubric = 'x',",
            "raters 2: rubric is given twice",
        ),
        (
            "[[source.raters]]\nconstants = {",
            "[[source.raters]]\nlevels = { a = 'b' }\nconstants = {",
            "raters 2: unknown key 'levels'",
        ),
        ('table = "ratings"', 'table = "raters"', "raters belongs to ratings"),
        ("[2, 3]", "[2, 30]", "headings are looked for in row 30|no heading row"),
    ],
)
def test_what_is_side_by_side_said_wrongly(programme, old, new, message):
    side_by_side(programme, "xlsx")
    text = (programme.folder / "mapping.toml").read_text(encoding="utf-8")
    with pytest.raises(MappingError, match=message):
        programme.mapping(text.replace(old, new)).load()
