"""What looks odd without being wrong is told, and what is ordinary is not."""

import tomllib

import pytest

from mentorstats import places
from mentorstats.records import oddities, problems

RATING = ["rubric", "rubric_version", "criterion", "level"]


def told(records, rule):
    found = records.oddities()
    return found.loc[found["rule"] == rule, "problem"].tolist()


def forms(programme, *levels, lessons=("V1", "V2")):
    """Ratings of five criteria, a text of five level numbers for each rater of each lesson."""
    criteria = [f"k{i}" for i in range(5)]
    names = ("help", "part", "steady", "lead")
    programme.tables["rubrics"] = [
        ["rubric", "version", "criterion", "level", "rank"],
        *(["h", "1", one, name, str(rank)] for one in criteria for rank, name in enumerate(names, 1)),
    ]
    programme.tables["ratings"][1:] = [
        [lesson, rater, role, "h", "1", criterion, names[int(level) - 1]]
        for lesson, pair in zip(lessons, levels, strict=True)
        for rater, role, form in zip(("M1", "S1"), ("mentor", "supervisor"), pair, strict=True)
        for criterion, level in zip(criteria, form, strict=True)
    ]
    return programme.write().load()


def test_ordinary_records_have_nothing_odd(programme):
    records = forms(programme, ("12323", "12423"), ("33332", "12221"))
    assert records.oddities().empty
    assert tuple(records.oddities().columns) == problems.COLUMNS


def test_names_that_differ_in_dots_and_accents_only(programme):
    programme.tables["placements"][1][2] = "M Mentor A"
    programme.tables["placements"][2][2] = "M. Mentör A"
    programme.tables["placements"][1][4] = "NORTH"
    found = programme.write().load()
    assert told(found, "spelled_alike") == [
        "'M Mentor A' and 'M. Mentör A' may be one rater",
        "'NORTH' and 'north' may be one site",
    ]


@pytest.mark.parametrize(
    ("names", "odd"),
    [
        (("Marlpit Lane", "Marplit Lane"), True),
        (("Marlpit Lane", "Marlpit Lanes"), True),
        (("Mentor Ash A", "Mentor Ash B"), False),
        (("School no. 1", "School no. 2"), False),
        (("Lane", "Lame"), False),
    ],
)
def test_names_one_letter_apart(programme, names, odd):
    for row, name in zip(programme.tables["placements"][1:], names, strict=True):
        row[4] = name
    found = told(programme.write().load(), "one_letter_apart")
    assert found == [f"{names[0]!r} and {names[1]!r} may be one site"][: int(odd)]


def test_a_totals_row_that_became_a_candidate(programme):
    programme.tables["placements"].append(["P3", "Total:", "", "", "", "2026", "", "", ""])
    assert told(programme.write().load(), "called_total") == ["a candidate is called 'Total:'"]


def test_a_rater_who_is_in_no_placement(programme):
    programme.tables["ratings"][1][1] = "M7"
    assert told(programme.write().load(), "rater_without_placement") == [
        "'M7' rated 1 lesson and is in no placement"
    ]


def test_a_supervisor_before_the_placement_began(programme):
    programme.tables["observations"][1][2] = "2026-01-02"
    assert told(programme.write().load(), "before_placement") == [
        "a supervisor rated 1 lesson of placement 'P1' before it began"
    ]


def test_forms_of_one_level_and_forms_that_are_alike(programme):
    records = forms(programme, ("22222", "12321"), ("13231", "13231"))
    assert told(records, "one_level_form") == ["1 of 2 forms of 'M1' gives every criterion the same level"]
    assert told(records, "copied_form") == [
        "the forms of 'M1' and 'S1' have the same level in every criterion of 1 of 1 lesson"
    ]
    place = records.oddities().set_index("rule").loc["copied_form", ["file", "row"]].tolist()
    assert place == ["ratings.csv", 12]


def test_forms_of_few_criteria_tell_nothing(programme):
    assert not told(programme.write().load(), "one_level_form")


def test_kinds_are_those_of_the_vocabulary():
    path = places.data_dictionary() / "vocabulary" / "oddities.toml"
    assert list(tomllib.loads(path.read_text(encoding="utf-8"))) == list(oddities._KINDS)


def test_an_overview_of_what_was_read(programme):
    found = programme.write().load().overview()
    assert found.to_dict() == {
        "files": "5",
        "records": "19",
        "placements": "2",
        "candidates": "2",
        "raters": "2 (1 as mentor, 1 as supervisor)",
        "lessons": "2",
        "ratings": "5",
        "lessons from": "2026-01-12 to 2026-02-02",
        "cycles": "2026",
        "rubrics": "hearthside 1",
    }


def test_an_overview_of_little(programme):
    for name in ("placements", "observations", "ratings", "raters"):
        del programme.tables[name]
    assert programme.write().load().overview().to_dict() == {"files": "1", "records": "8"}
