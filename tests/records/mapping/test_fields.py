"""What a mapping says of fields: composed keys, parts, units, dates, names of files, labels and headings."""

import pandas as pd
import pytest

from mentorstats.errors import MappingError, SourceFileError

PLACES = """
[[source]]
file = "placements*.csv"
table = "placements"
[source.columns]
placement = "Code"
candidate = "Candidate"
"""
SCALE = """
[[scale]]
rubric = "hearthside"
version = "1"
levels = ["help", "part", "steady", "lead"]
criteria = ["k7w2", "m3d9"]
"""
RUBRIC = 'constants = { rubric = "hearthside", rubric_version = "1", rater_role = "mentor" }\n'
LESSONS = '[[source]]\nfile = "lessons.csv"\ntable = "observations"\n'
FORMS = '[[source]]\nfile = "forms.csv"\ntable = "ratings"\n' + RUBRIC


@pytest.fixture
def exports(programme):
    return programme.csv("placements.csv", [["Code", "Candidate"], ["P1", "C1"], ["P2", "C2"]])


def told(records):
    found = records.problems
    return found[found["rule"] != "no_table"]


def lessons(exports, columns, rows, more=""):
    exports.csv("lessons.csv", rows).mapping(PLACES + SCALE + LESSONS + more + f"[source.columns]\n{columns}")
    return exports.load()


def test_a_key_of_several_columns(exports):
    exports.csv(
        "lessons.csv", [["Candidate no.", "Lesson no.", "Place"], ["C1", "1", "P1"], ["C2", "1", "P2"]]
    )
    exports.csv(
        "forms.csv",
        [
            ["Candidate no.", "Lesson no.", "By", "Aim", "Before"],
            ["C1", "1", "M1", "part", "lead"],
            ["C2", "1", "M2", "help", "part"],
            ["C2", "", "M2", "help", "part"],
        ],
    )
    key = 'observation = ["Candidate no.", "Lesson no."]\n'
    exports.mapping(
        PLACES + SCALE + LESSONS + f'[source.columns]\nplacement = "Place"\n{key}'
        + FORMS + f'criteria = {{ k7w2 = "Aim", m3d9 = "Before" }}\n[source.columns]\nrater = "By"\n{key}'
    )  # fmt: skip
    records = exports.load()
    assert records.observations["observation"].tolist() == ["C1 / 1", "C2 / 1"]
    assert records.ratings["observation"].tolist() == ["C1 / 1", "C1 / 1", "C2 / 1", "C2 / 1"]
    # A key that lacks a part is no key.
    fault = told(records)
    assert fault[["row", "column", "rule"]].to_numpy().tolist() == [
        [4, "Candidate no. + Lesson no.", "required"]
    ]


def test_days_within_a_key_are_written_one_way(exports):
    exports.csv("lessons.csv", [["Who", "Day", "Place"], ["C1", "05/01/2026", "P1"]])
    exports.workbook(
        "forms.xlsx", {"F": [["Who", "Day", "By", "Level"], ["C1", pd.Timestamp("2026-01-05"), "M1", "part"]]}
    )
    forms = FORMS.replace("forms.csv", "forms.xlsx").replace('"1", rater', '"1", criterion = "k7w2", rater')
    exports.mapping(
        PLACES + SCALE + LESSONS
        + 'dates = ["%d/%m/%Y"]\n[source.columns]\nplacement = "Place"\nobservation = ["Who", "Day"]\n'
        + forms + '[source.columns]\nrater = "By"\nlevel = "Level"\nobservation = ["Who", "Day"]\n'
    )  # fmt: skip
    records = exports.load()
    assert records.ratings["observation"].tolist() == ["C1 / 2026-01-05"]
    assert told(records).empty


def test_a_key_whose_parts_cannot_be_told_apart_is_refused(exports):
    rows = [["A", "B", "Place"], ["C / 1", "1", "P1"], ["C", "1 / 1", "P1"]]
    with pytest.raises(MappingError, match=r"A \+ B: different cells give the same key 'C / 1 / 1'"):
        lessons(exports, 'observation = ["A", "B"]\nplacement = "Place"\n', rows)


def test_joined_and_parted_texts(exports):
    exports.csv(
        "placements.csv",
        [
            ["Code", "Surname", "First name", "Site"],
            ["P1", "Ash", "Ida", "n - North"],
            ["P2", "Elm", "", "South"],
        ],
    )
    exports.csv("forms.csv", [["V", "By", "Aim", "Before"], ["V1", "M1", "3 - steady", "part"]])
    exports.csv("lessons.csv", [["V", "Place"], ["V1", "P1"]])
    exports.mapping(
        SCALE + PLACES.replace('"Candidate"', '{ columns = ["Surname", "First name"], join = ", " }')
        + 'site = { column = "Site", take = "before", at = " - " }\n'
        + LESSONS + 'columns = { observation = "V", placement = "Place" }\n'
        + FORMS + 'columns = { observation = "V", rater = "By" }\n[source.criteria]\n'
        + 'k7w2 = { column = "Aim", take = "after", at = " - " }\nm3d9 = "Before"\n'
    )  # fmt: skip
    records = exports.load()
    assert records.placements["candidate"].tolist() == ["Ash, Ida", "Elm"]
    assert records.placements["site"].tolist() == ["n", "South"]
    assert records.ratings["level"].tolist() == ["steady", "part"]


@pytest.mark.parametrize(
    ("unit", "cell", "minutes"),
    [
        ("hours", "1.5", 90),
        ("hours", "1.1", 66),
        ("minutes", "45", 45),
        ("seconds", "2700", 45),
        ("h:mm", "1:05", 65),
        ("h:mm", "0:45:00", 45),
        ("hours", "0.999", None),
        ("h:mm", "1:75", None),
    ],
)
def test_a_quantity_in_another_unit(exports, unit, cell, minutes):
    rows = [["V", "Place", "Length"], ["V1", "P1", cell]]
    columns = f'observation = "V"\nplacement = "Place"\nminutes = {{ column = "Length", unit = "{unit}" }}\n'
    records = lessons(exports, columns, rows)
    assert records.observations["minutes"].dropna().tolist() == [minutes][: minutes is not None]
    assert told(records)["rule"].tolist() == ["type"] * (minutes is None)


def test_a_decimal_comma_of_hours(exports):
    rows = [["V", "Place", "Length"], ["V1", "P1", "1,5"]]
    columns = 'observation = "V"\nplacement = "Place"\nminutes = { column = "Length", unit = "hours" }\n'
    assert lessons(exports, columns, rows, 'decimal = ","\n').observations["minutes"].tolist() == [90]


def test_a_date_that_two_formats_read_as_two_days_is_refused(exports):
    rows = [
        ["V", "Place", "Day"],
        ["V1", "P1", "25/12/2025"],
        ["V2", "P1", "12/25/2025"],
        ["V3", "P1", "03/03/2026"],
    ]
    columns = 'observation = "V"\nplacement = "Place"\ndate = "Day"\n'
    formats = 'dates = ["%d/%m/%Y", "%m/%d/%Y"]\n'
    records = lessons(exports, columns, rows, formats)
    days = [pd.Timestamp("2025-12-25"), pd.Timestamp("2025-12-25"), pd.Timestamp("2026-03-03")]
    assert records.observations["date"].tolist() == days
    records = lessons(exports, columns, [*rows, ["V4", "P2", "03/04/2026"]], formats)
    assert told(records)[["row", "value", "rule"]].to_numpy().tolist() == [
        [5, "03/04/2026", "ambiguous_date"]
    ]


def test_a_constant_from_the_name_of_a_file(exports):
    exports.csv("placements_2024-25.csv", [["Code", "Candidate"], ["P3", "C3"]])
    (exports.folder / "placements.csv").rename(exports.folder / "placements_2025-26.csv")
    cohort = '[source.constants]\ncohort = { from_file_name = "(\\\\d{4}-\\\\d{2})" }\n'
    records = exports.mapping(PLACES + SCALE + cohort).load()
    assert records.placements["cohort"].tolist() == ["2024-25", "2025-26", "2025-26"]
    with pytest.raises(MappingError, match=r"constants.cohort: .* finds nothing in 'placements_2024-25.csv'"):
        exports.mapping(PLACES + SCALE + cohort.replace("d{4}", "d{5}")).load()
    with pytest.raises(MappingError, match=r"constants.cohort: .*is not read"):
        exports.mapping(PLACES + SCALE + cohort.replace("(", "(?!x)(")).load()


def test_headings_are_compared_without_case_and_line_breaks(exports):
    rows = [["LESSON\n no.", "  place "], ["V1", "P1"]]
    records = lessons(exports, 'observation = "Lesson no."\nplacement = "Place"\n', rows)
    assert records.observations["observation"].tolist() == ["V1"]


def test_a_heading_that_is_the_same_wins(exports):
    rows = [["V", "PLACE", "Place"], ["V1", "P9", "P1"]]
    assert lessons(exports, 'observation = "V"\nplacement = "Place"\n', rows).observations[
        "placement"
    ].tolist() == ["P1"]
    with pytest.raises(
        SourceFileError, match=r"2 columns are headed 'place' \(columns B 'PLACE' and C 'Place'\)"
    ):
        lessons(exports, 'observation = "V"\nplacement = "place"\n', rows)


def test_accents_count_unless_the_mapping_says_otherwise(exports):
    rows = [["Leçon", "Place"], ["V1", "P1"]]
    columns = 'observation = "Lecon"\nplacement = "Place"\n'
    with pytest.raises(MappingError, match="has no column 'Lecon'"):
        lessons(exports, columns, rows)
    assert len(lessons(exports, columns, rows, "fold_accents = true\n").observations) == 1


def test_files_without_a_mapping_may_write_headings_in_capitals(programme):
    programme.tables["ratings"][0] = [name.upper() for name in programme.tables["ratings"][0]]
    assert len(programme.write().load().ratings) == 5


def forms(exports, labels, cells, more=""):
    exports.csv("lessons.csv", [["V", "Place"], ["V1", "P1"]])
    rows = [["V", "By", "Aim"], *(["V1", f"M{i}", cell] for i, cell in enumerate(cells))]
    exports.csv("forms.csv", rows).mapping(
        PLACES + SCALE + LESSONS + 'columns = { observation = "V", placement = "Place" }\n'
        + FORMS + more
        + 'columns = { observation = "V", rater = "By" }\ncriteria = { k7w2 = "Aim" }\n' + labels
    )  # fmt: skip
    found = exports.load()
    ratings = found.ratings
    return ratings["level"].astype(object).where(ratings["level"].notna(), ratings["missing_reason"]).tolist()


def test_labels_are_compared_without_case_and_line_breaks(exports):
    labels = '[source.levels]\n"With much help" = "help"\n"Höchst" = "lead"\n'
    labels += '[source.missing]\n"N/O" = "not_observed"\n'
    cells = ["WITH MUCH\nHELP", "with  much help", "n/o", "steady", "höchst"]
    assert forms(exports, labels, cells) == ["help", "help", "not_observed", "steady", "lead"]
    assert forms(exports, labels, ["Hochst"]) == []
    assert forms(exports, labels, ["Hochst"], "fold_accents = true\n") == ["lead"]


def test_a_label_that_is_the_same_wins_and_a_doubtful_one_is_none(exports):
    labels = '[source.levels]\n"S" = "steady"\n"s" = "part"\n"ss" = "help"\n"PART" = "lead"\n'
    assert forms(exports, labels, ["S", "s", "SS", "Ss", "part", "Part"]) == [
        "steady",
        "part",
        "help",
        "help",
        "part",
    ]


def test_titles_and_weights_of_a_rubric(exports):
    scale = SCALE + '[scale.titles]\nk7w2 = "Says the aim"\n[scale.weights]\nk7w2 = 2\nm3d9 = 0.5\n'
    rubrics = exports.mapping(PLACES + scale).load().rubrics.drop_duplicates("criterion")
    assert rubrics["weight"].tolist() == [2.0, 0.5]
    assert rubrics["title"].tolist()[0] == "Says the aim"
    assert rubrics["title"].isna().tolist() == [False, True]


WRONG = {
    "nothing to take from": ('minutes = { unit = "hours" }', "columns.minutes needs column or columns"),
    "both": ('minutes = { column = "a", columns = ["a"] }', "columns.minutes needs column or columns"),
    "unknown part": ('minutes = { column = "a", units = "h" }', "unknown key 'units'.*Did you mean 'unit'"),
    "unknown unit": ('minutes = { column = "a", unit = "days" }', "unknown minutes.unit 'days'.*hours"),
    "no unit": ('date = { column = "a", unit = "hours" }', "date = .*no quantity with a unit"),
    "take without at": ('date = { column = "a", take = "after" }', "take and at go together"),
    "unknown side": (
        'date = { column = "a", take = "left", at = "-" }',
        "unknown columns.date.take 'left'.*before",
    ),
    "empty mark": ('date = { column = "a", take = "after", at = "" }', "columns.date.at = ''"),
    "join of one": ('date = { column = "a", join = "-" }', "join acts on several columns"),
    "unit of several": ('date = { columns = ["a", "b"], unit = "hours" }', "unit acts on one column"),
    "a column twice": ('date = ["a", "a"]', "columns.date names a column twice"),
    "no columns": ("date = []", r"columns.date = \[\].*a list with at least one text"),
    "name of a file elsewhere": ('date = { from_file_name = "x" }', "Write it under constants"),
    "unit of a level": (
        '[source.criteria]\nx = { column = "a", unit = "hours" }',
        "criteria.x: a level has no unit",
    ),
    "a level of several columns": (
        '[source.criteria]\nx = ["a", "b"]',
        "criteria.x: a level stands in one column",
    ),
    "no expression": ('[source.constants]\ndate = { from_file_name = "(" }', "is no regular expression"),
    "two groups": ('[source.constants]\ndate = { from_file_name = "(a)(b)" }', "has 2 groups.*one group"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_field_said_wrongly(exports, case):
    text, message = WRONG[case]
    exports.csv("lessons.csv", [["V", "Place"]])
    with pytest.raises(MappingError, match=f"mapping.toml, source 1.*{message}"):
        exports.mapping(LESSONS + '[source.columns]\nobservation = "V"\nplacement = "Place"\n' + text).load()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[scale.titles]\nk7w3 = "x"\n',
            "scale 1: unknown criterion under titles 'k7w3'.*Did you mean 'k7w2'",
        ),
        ("[scale.weights]\nk7w2 = -1\n", "scale 1: weights.k7w2 = -1.*a number from 0"),
        ('titles = ["x"]\n', r"titles = \['x'\].*\[scale.titles\]"),
    ],
)
def test_a_scale_said_wrongly(exports, text, message):
    with pytest.raises(MappingError, match=message):
        exports.mapping(PLACES + SCALE + text).load()
