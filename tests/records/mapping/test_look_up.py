"""What stands in another sheet: the rater in the list of lessons, the levels in a file of their own."""

import pytest

from mentorstats.errors import MappingError
from mentorstats.records.propose import propose, tried

LESSONS = [
    ["Visit", "Placement", "Seen by", "As"],
    ["V1", "P1", "M1", "mentor"],
    ["V2", "P1", "S1", "supervisor"],
]
SCORES = [
    ["Visit no.", "Item", "Score"],
    ["V2", "a", "1"],
    ["V1", "a", "2"],
    ["V1", "b", "1"],
    ["V9", "a", "2"],
]
MAPPING = """
[[source]]
file = "placements.csv"
table = "placements"
columns = { placement = "Placement", candidate = "Placement" }
[[source]]
file = "lessons.csv"
table = "observations"
columns = { observation = "Visit", placement = "Placement" }
[[source]]
file = "scores.csv"
table = "ratings"
look_up = LOOK_UP
[source.columns]
observation = "Visit no."
rater = "Seen by"
rater_role = "As"
criterion = "Item"
level = "Score"
[source.constants]
rubric = "ours"
rubric_version = "1"
[[scale]]
rubric = "ours"
version = "1"
levels = ["1", "2"]
criteria = ["a", "b"]
"""
RIGHT = '{ file = "lessons.csv", column = "Visit no.", its = "Visit" }'


def looked_up(programme, said=RIGHT, lessons=LESSONS):
    programme.csv("placements.csv", [["Placement"], ["P1"]])
    programme.csv("lessons.csv", lessons).csv("scores.csv", SCORES)
    return programme.mapping(MAPPING.replace("LOOK_UP", said)).load()


def test_a_rater_is_looked_up_by_the_lesson(programme):
    records = looked_up(programme)
    columns = ["observation", "rater", "rater_role", "criterion", "row"]
    assert records.ratings[columns].astype(str).to_numpy().tolist() == [
        ["V2", "S1", "supervisor", "a", "2"],
        ["V1", "M1", "mentor", "a", "3"],
        ["V1", "M1", "mentor", "b", "4"],
    ]
    aside = records.problems[records.problems["effect"] == "set_aside"]
    assert set(aside["row"]) == {5}  # no lesson V9: nobody is its rater
    assert "Seen by" in set(aside["column"])


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ('{ file = "lesson.csv", column = "Visit no." }', "no other block reads 'lesson.csv'"),
        ('{ file = "lessons.csv", column = "Visit no." }', "lessons.csv has no column 'Visit no.'"),
        ('{ file = "lessons.csv", column = "Lesson", its = "Visit" }', "scores.csv has no column 'Lesson'"),
        ('{ file = "lessons.csv", column = "Visit no.", its = "Placement" }', "stands in other rows too"),
        ('{ file = "lessons.csv" }', "lacks column"),
        ('{ file = "lessons.csv", colum = "Visit no." }', "unknown key 'colum'"),
        ('"lessons.csv"', "Write { file"),
    ],
)
def test_a_look_up_said_wrongly(programme, said, told):
    with pytest.raises(MappingError, match=rf"source 3.*{told}"):
        looked_up(programme, said)


def test_it_is_proposed_where_only_the_lessons_name_raters(programme):
    places = [[f"P{i}", f"C{i}", f"T{i // 2}", f"U{i % 3}"] for i in range(12)]
    programme.csv("plc.csv", [["PLC_ID", "STU_ID", "CT_ID", "US_ID"], *places])
    lessons, scores = (
        [["OBS_ID", "PLC_ID", "OBS_DT", "EVAL_ID", "EVAL_TYP"]],
        [["OBS_ID", "ITEM_CD", "SCORE"]],
    )
    for i, (place, _, mentor, supervisor) in enumerate(places):
        for who, kind in ((mentor, "C"), (supervisor, "U")):
            code = f"{len(lessons):05d}"
            lessons.append([code, place, f"2025-02-{i + 1:02d}", who, kind])
            scores += [[code, f"IT{k}", str((i + k) % 4 + 1)] for k in range(5)]
    programme.csv("obs.csv", lessons).csv("scores.csv", scores)
    found = propose(programme.folder)
    ratings = next(draft for draft in found.drafts.sources if draft.table == "ratings")
    assert ratings.plain["look_up"] == {"file": "obs.csv", "column": "OBS_ID"}
    assert ratings.columns["rater"].value == "EVAL_ID"
    assert ratings.values["rater_role"] == {"C": "mentor", "U": "supervisor"}
    assert tried(programme.folder, found).rows["ratings"] == len(scores) - 1
    programme.mapping(found.text)
    again = propose(programme.folder)
    assert again.drafts.changes == ["nothing: the old mapping still fits"]
