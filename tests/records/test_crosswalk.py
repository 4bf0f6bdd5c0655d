"""Versions of a rubric are put together only where somebody judged them to be the same."""

import pandas as pd
import pytest

from mentorstats.errors import MappingError
from mentorstats.records import crosswalk, reload

HEAD = '[[crosswalk]]\nrubric = "h"\nfrom = "1"\nto = "2"\nauthor = "Working group"\ndate = 2026-01-31\n'
CRITERIA = '[crosswalk.criteria]\na = "a"\nb = ["b1", "b2"]\nc = "d"\ne = "d"\nf = []\n'
VERSIONS = {"1": ("a", "b", "c", "e", "f"), "2": ("a", "b1", "b2", "d", "g")}
LEVELS = ("help", "part", "steady", "lead")


@pytest.fixture
def versions(programme):
    programme.tables["rubrics"] = [
        ["rubric", "version", "criterion", "level", "rank"],
        *(
            ["h", version, criterion, level, str(rank)]
            for version, criteria in VERSIONS.items()
            for criterion in criteria
            for rank, level in enumerate(LEVELS, 1)
        ),
    ]
    programme.tables["ratings"][1:] = [
        *(["V1", "M1", "mentor", "h", "1", criterion, "part"] for criterion in VERSIONS["1"]),
        *(["V2", "S1", "supervisor", "h", "2", criterion, "lead"] for criterion in VERSIONS["2"]),
    ]
    return programme.write()


def judged(programme, text):
    (programme.folder / "crosswalk.toml").write_text(text, encoding="utf-8")
    return programme.load()


def test_without_a_crosswalk_nothing_is_put_together(versions):
    records = versions.load()
    assert records.crosswalk.empty
    linked = records.linked()
    pd.testing.assert_frame_equal(linked.drop(columns="version_given"), records.long())
    (broken,) = crosswalk.breaks(records.long(), records.crosswalk).itertuples()
    assert (broken.version_from, broken.version_to, broken.author) == ("1", "2", "")


def test_how_many_stand_for_how_many_is_said(versions):
    records = judged(versions, HEAD + CRITERIA)
    criteria = records.crosswalk[records.crosswalk["what"] == "criterion"]
    assert criteria[["code_from", "code_to", "relation"]].to_numpy().tolist() == [
        ["a", "a", "one_to_one"],
        ["b", "b1", "one_to_many"],
        ["b", "b2", "one_to_many"],
        ["c", "d", "many_to_one"],
        ["e", "d", "many_to_one"],
        ["f", "", "dropped"],
        ["", "g", "new"],
    ]
    assert set(records.crosswalk["author"]) == {"Working group"}
    assert set(records.crosswalk["date"]) == {"2026-01-31"}
    levels = records.crosswalk[records.crosswalk["what"] == "level"]
    assert levels["code_to"].tolist() == list(LEVELS)


def test_only_criteria_with_one_counterpart_are_carried_over(versions):
    linked = judged(versions, HEAD + CRITERIA).linked()
    first = linked[linked["observation"] == "V1"].set_index("criterion")
    assert first["rubric_version"].to_dict() == {"a": "2", "b": "1", "c": "1", "e": "1", "f": "1"}
    assert set(first["version_given"]) == {"1"}
    assert linked["rank"].tolist() == [2] * 5 + [4] * 5


def test_levels_are_carried_over_with_their_new_rank(versions):
    rubrics = versions.tables["rubrics"]
    versions.tables["rubrics"] = [row for row in rubrics if row[1:] != ["2", row[2], "help", "1"]]
    for row in versions.tables["rubrics"][1:]:
        if row[1] == "2":
            row[4] = str(int(row[4]) - 1)
    versions.tables["ratings"][2][6] = "lead"
    versions.tables["ratings"] = [*versions.tables["ratings"], ["V2", "M1", "mentor", "h", "1", "a", "lead"]]
    versions.write()
    with pytest.raises(MappingError, match="different levels, and nothing is said of them"):
        judged(versions, HEAD + CRITERIA)
    levels = (
        '[crosswalk.levels]\nhelp = "part"\npart = "part"\nsteady = "steady"\nlead = ["steady", "lead"]\n'
    )
    records = judged(versions, HEAD + CRITERIA + levels)
    linked = records.linked().query("criterion == 'a'").set_index(["observation", "rater"])
    # The lowest two levels became one; the highest became two, so that a rating of it stays where it was.
    assert linked.loc[("V1", "M1"), ["rubric_version", "level", "rank"]].tolist() == ["2", "part", 1]
    assert linked.loc[("V2", "M1"), ["rubric_version", "level", "rank"]].tolist() == ["1", "lead", 4]


def test_a_rater_who_used_both_versions_is_not_counted_twice(versions):
    versions.tables["ratings"].append(["V1", "M1", "mentor", "h", "2", "a", "steady"])
    linked = (
        judged(versions.write(), HEAD + CRITERIA).linked().query("criterion == 'a' and observation == 'V1'")
    )
    assert sorted(zip(linked["rubric_version"], linked["level"], strict=True)) == [
        ("1", "part"),
        ("2", "steady"),
    ]


def test_a_version_leads_on_to_a_third(versions):
    rubrics = versions.tables["rubrics"]
    rubrics += [["h", "3", "a", level, str(rank)] for rank, level in enumerate(LEVELS, 1)]
    versions.write()
    further = HEAD.replace('"2"', '"3"').replace('"1"', '"2"')
    further += '[crosswalk.criteria]\na = "a"\nb1 = []\nb2 = []\nd = []\ng = []\n'
    for text in (HEAD + CRITERIA + further, further + HEAD + CRITERIA):
        linked = judged(versions, text).linked()
        assert set(linked.loc[linked["criterion"] == "a", "rubric_version"]) == {"3"}


def test_a_crosswalk_is_stored_with_the_records(versions):
    records = judged(versions, HEAD + CRITERIA)
    records.save(versions.folder)
    pd.testing.assert_frame_equal(reload(versions.folder).crosswalk, records.crosswalk)


WRONG = {
    "unknown rubric": (HEAD.replace('"h"', '"hh"') + CRITERIA, "unknown rubric 'hh'"),
    "unknown version": (HEAD.replace('"2"', '"9"') + CRITERIA, "unknown version '9'.*1, 2"),
    "itself": (HEAD.replace('"2"', '"1"') + CRITERIA, "to itself"),
    "twice": (2 * (HEAD + CRITERIA), "crosswalk 2: version '1' is carried over twice"),
    "in a circle": (
        HEAD
        + CRITERIA
        + '[[crosswalk]]\nrubric = "h"\nfrom = "2"\nto = "1"\nauthor = "x"\ndate = 2026-01-01\n'
        '[crosswalk.criteria]\na = "a"\n',
        "crosswalk 2: version '2' is carried over twice, or back to itself",
    ),
    "nobody": (HEAD.replace("Working group", " ") + CRITERIA, "author = ' '"),
    "no day": (HEAD.replace("2026-01-31", '"soon"') + CRITERIA, "date = 'soon'.*2026-03-14"),
    "nothing of f": (HEAD + CRITERIA.replace("f = []\n", ""), r"criteria says nothing of f.*f = \[\]"),
    "unknown criterion": (HEAD + CRITERIA.replace("a = ", "z = "), "unknown criteria 'z'"),
    "unknown counterpart": (HEAD + CRITERIA.replace('"a"', '"a9"'), "unknown criteria.a 'a9'"),
    "order": (
        HEAD
        + CRITERIA
        + '[crosswalk.levels]\nhelp = "part"\npart = "help"\nsteady = "steady"\nlead = "lead"\n',
        "the levels change their order",
    ),
    "unknown key": (HEAD + 'by = "me"\n' + CRITERIA, "unknown key 'by'"),
    "no blocks": ("crosswalk = 1\n", r"Write \[\[crosswalk\]\]"),
    "no TOML": ("[[crosswalk", "is not legal TOML"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_crosswalk_said_wrongly(versions, case):
    text, message = WRONG[case]
    with pytest.raises(MappingError, match=message):
        judged(versions, text)
