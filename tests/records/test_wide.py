"""Wide forms become long rows; labels become levels, codes for missing ones become reasons."""

import pandas as pd
import pytest

MAPPING = """
[[source]]
file = "visits.xlsx"
sheet = "Mentors"
table = "ratings"
header_row = 2
[source.columns]
observation = "Visit no."
rater = "Completed by"
[source.constants]
rubric = "hearthside"
rubric_version = "1"
rater_role = "mentor"
[source.criteria]
k7w2 = "Says the aim"
m3d9 = "Builds on before"
[source.levels]
"With support" = "support"
"In part" = "part"
"Reliably" = "reliable"
"Reliably, and adapts" = "adapts"
[source.missing]
"n/o" = "not_observed"
"x" = "withheld"

[[source]]
file = "visits.xlsx"
sheet = "Lessons"
table = "observations"
dates = ["%d/%m/%Y", "%d.%m.%y"]
[source.columns]
observation = "Visit no."
placement = "Placed as"
date = "Seen on"
purpose = "Who taught"
[source.values.purpose]
"Novice" = "candidate_teaches"
"Two" = "both_teach"

[[source]]
file = "placements.csv"
table = "placements"
[source.columns]
placement = "placement"
candidate = "candidate"

[[scale]]
rubric = "hearthside"
version = "1"
levels = ["support", "part", "reliable", "adapts"]
labels = ["With support", "In part", "Reliably", "Reliably, and adapts"]
criteria = ["k7w2", "m3d9"]
"""

FORMS = [
    ["Mentors' forms, spring"],
    ["Visit no.", "Completed by", "Says the aim", "Builds on before", "Remarks"],
    ["V1", "M1", "Reliably", "n/o", "fine"],
    ["V2", "M2", None, "Reliably, and adapts", None],
    ["V1", "M3", "x", "Sometimes", None],
]
LESSONS = [
    ["Visit no.", "Placed as", "Seen on", "Who taught"],
    ["V1", "P1", "05/01/2026", "Novice"],
    ["V2", "P2", "12.01.26", "Two"],
]


@pytest.fixture
def visits(programme):
    programme.csv("placements.csv", programme.tables["placements"])
    programme.workbook("visits.xlsx", {"Mentors": FORMS, "Lessons": LESSONS})
    return programme.mapping(MAPPING)


def test_one_row_a_criterion_with_the_row_of_the_form(visits):
    records = visits.load()
    found = records.ratings[["observation", "rater", "criterion", "level", "missing_reason", "row"]]
    expected = [
        ["V1", "M1", "k7w2", "reliable", None, 3],
        ["V1", "M1", "m3d9", None, "not_observed", 3],
        ["V2", "M2", "k7w2", None, "not_scored", 4],
        ["V2", "M2", "m3d9", "adapts", None, 4],
        ["V1", "M3", "k7w2", None, "withheld", 5],
    ]
    assert found.astype(object).where(found.notna(), None).to_numpy().tolist() == expected
    assert set(records.ratings["sheet"]) == {"Mentors"}
    assert set(records.ratings["rater_role"]) == {"mentor"}


def test_a_fault_stands_under_the_criterions_heading(visits):
    records = visits.load()
    fault = records.problems[records.problems["effect"] == "set_aside"]
    assert fault[["rule", "file", "sheet", "row", "column", "value"]].to_numpy().tolist() == [
        ["known_label", "visits.xlsx", "Mentors", 5, "Builds on before", "Sometimes"]
    ]
    counts = records.sources.set_index("table").loc["ratings", ["rows_read", "rows_kept", "rows_set_aside"]]
    assert counts.tolist() == [6, 5, 1]


def test_a_fault_of_the_form_itself_is_told_once(visits):
    forms = [list(row) for row in FORMS]
    forms[2][0] = "V9"
    records = visits.workbook("visits.xlsx", {"Mentors": forms, "Lessons": LESSONS}).load()
    fault = records.problems[records.problems["rule"] == "foreign_key"]
    assert fault[["row", "column", "value"]].to_numpy().tolist() == [[3, "Visit no.", "V9"]]
    assert len(records.ratings) == 3


def test_values_and_several_date_formats(visits):
    lessons = visits.load().observations
    assert lessons["date"].tolist() == [pd.Timestamp("2026-01-05"), pd.Timestamp("2026-01-12")]
    assert lessons["purpose"].tolist() == ["candidate_teaches", "both_teach"]


def test_a_date_that_no_format_fits_is_never_guessed(visits):
    lessons = [list(row) for row in LESSONS]
    lessons[1][2], lessons[2][2] = "01/13/2026", "31/02/2026"
    records = visits.workbook("visits.xlsx", {"Mentors": FORMS, "Lessons": lessons}).load()
    fault = records.problems[records.problems["rule"] == "type"]
    assert fault["value"].tolist() == ["01/13/2026", "31/02/2026"]
    assert "%d/%m/%Y" in fault["remedy"].iloc[0]
    assert records.observations["date"].isna().all()
    assert fault["effect"].tolist() == ["notice", "notice"]


def test_iso_text_in_csv_is_read_only_where_the_mapping_says_so(programme):
    programme.write()
    text = "\n".join(
        f'[[source]]\nfile = "{name}.csv"\ntable = "{name}"\n'
        + ('dates = ["%d/%m/%Y"]\n' if name == "observations" else "")
        + "[source.columns]\n"
        + "".join(f'{field} = "{field}"\n' for field in rows[0])
        for name, rows in programme.tables.items()
    )
    found = programme.mapping(text).load().problems
    assert found[found["rule"] == "type"]["value"].tolist() == ["2026-01-12", "2026-02-02"]


def test_the_long_form_may_use_labels_and_reasons_too(programme):
    programme.tables["ratings"][1][6] = "Reliably"
    programme.tables["ratings"][3][6] = "part"
    programme.tables["ratings"][2][6] = "nicht gesehen"
    programme.tables["ratings"][4][6] = "withheld"
    programme.write()
    sources = [
        f'[[source]]\nfile = "{name}.csv"\ntable = "{name}"\n[source.columns]\n'
        + "".join(f'{field} = "{field}"\n' for field in rows[0])
        for name, rows in programme.tables.items()
        if name != "ratings"
    ]
    ratings = (
        '[[source]]\nfile = "rating*.csv"\ntable = "ratings"\n'
        + 'levels = { "Reliably" = "reliable" }\nmissing = { "nicht gesehen" = "not_observed" }\n'
        + "[source.columns]\n"
        + "".join(f'{field} = "{field}"\n' for field in programme.tables["ratings"][0])
    )
    records = programme.mapping("\n".join([*sources, ratings])).load()
    rows = records.ratings[records.ratings["file"] == "ratings.csv"]
    assert rows["level"].astype(object).where(rows["level"].notna(), None).tolist() == [
        "reliable", None, "part", None, "adapts",
    ]  # fmt: skip
    assert rows["missing_reason"].dropna().tolist() == ["not_observed", "withheld"]


def test_a_decimal_comma(programme):
    programme.tables["rubrics"] = [
        [*row[:5], "0,5"] if i else row for i, row in enumerate(programme.tables["rubrics"])
    ]
    programme.write()
    text = "\n".join(
        f'[[source]]\nfile = "{name}.csv"\ntable = "{name}"\ndecimal = ","\n[source.columns]\n'
        + "".join(f'{field} = "{field}"\n' for field in rows[0])
        for name, rows in programme.tables.items()
    )
    assert programme.mapping(text).load().rubrics["weight"].tolist() == [0.5] * 8


def test_repeats_that_the_mapping_expects_leave_one_notice(programme):
    rows = programme.tables["observations"]
    rows += [list(rows[1]), list(rows[2]), list(rows[1])]
    programme.write()
    text = "\n".join(
        f'[[source]]\nfile = "{name}.csv"\ntable = "{name}"\n'
        + f"distinct = {str(name == 'observations').lower()}\n[source.columns]\n"
        + "".join(f'{field} = "{field}"\n' for field in lines[0])
        for name, lines in programme.tables.items()
    )
    records = programme.mapping(text).load()
    assert records.observations["row"].tolist() == [2, 3]
    assert records.problems[["rule", "effect"]].to_numpy().tolist() == [["repeated_row", "notice"]]
    assert "3 rows" in records.problems["problem"].iloc[0]


def test_a_mapping_with_scales_only_leaves_files_as_they_are(programme):
    del programme.tables["rubrics"]
    programme.write().mapping(
        '[[scale]]\nrubric = "hearthside"\nversion = "1"\n'
        'levels = ["support", "part", "reliable", "adapts"]\n'
        'criteria = ["k7w2", "m3d9"]\n'
    )
    records = programme.load()
    assert records.problems.empty
    assert records.long()["rank"].tolist() == [3, pd.NA, 2, pd.NA, 4]
    assert records.rubrics["row"].tolist() == list(range(1, 9))


def test_a_mapping_may_lie_elsewhere(visits, tmp_path):
    text = (visits.folder / "mapping.toml").read_text(encoding="utf-8")
    (visits.folder / "mapping.toml").unlink()
    (tmp_path / "ours.toml").write_text(text, encoding="utf-8")
    assert len(visits.load(tmp_path / "ours.toml").ratings) == 5
