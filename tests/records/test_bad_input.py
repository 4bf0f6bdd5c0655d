"""What cannot be read stops with one clear message of the right kind, and leaves nothing half-done."""

import re

import msoffcrypto.format.ooxml
import pytest

from mentorstats.errors import MappingError, SourceFileError

SOURCE = '[[source]]\nfile = "ratings.csv"\ntable = "ratings"\n'
COLUMNS = "[source.columns]\n" + "".join(
    f'{name} = "{name}"\n'
    for name in ("observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level")
)
SCALE = (
    '[[scale]]\nrubric = "hearthside"\nversion = "1"\nlevels = ["support", "part", "reliable", "adapts"]\n'
)
SCALE += 'criteria = ["k7w2", "m3d9"]\n'


def refuses(programme, kind, *parts, mapping=None):
    before = programme.checksums()
    with pytest.raises(kind) as caught:
        programme.load(mapping)
    assert caught.value.exit_code == 2
    message = str(caught.value)
    for part in parts:
        assert re.search(part, message), message
    assert programme.checksums() == before


def test_no_folder(programme):
    programme.folder = programme.folder / "nowhere"
    refuses(programme, SourceFileError, "nowhere: there is no such folder")


def test_an_empty_folder(programme):
    refuses(programme, SourceFileError, "holds no table", r"\.csv, \.xlsx, \.parquet")


def test_no_file_with_the_name_of_a_table(programme):
    programme.csv("forms.csv", [["a"], ["b"]])
    refuses(programme, SourceFileError, "has the name of a table", "placements", "mapping.toml")


def test_a_missing_column(programme):
    programme.tables["ratings"][0][1] = "rater_code"
    refuses(
        programme.write(),
        SourceFileError,
        "ratings.csv has no column 'rater'",
        "nearest heading is 'rater_code'",
    )


def test_all_missing_columns_are_told_at_once(programme):
    programme.tables["ratings"][0][6] = "mark"
    programme.tables["placements"][0][1] = "novice"
    refuses(
        programme.write(),
        SourceFileError,
        "placements.csv has no column 'candidate'",
        "ratings.csv has no column 'level'",
    )


def test_a_missing_column_in_a_sheet(programme):
    programme.tables["ratings"][0][6] = "levels"
    refuses(programme.write("xlsx"), SourceFileError, "export.xlsx, sheet 'ratings' has no column 'level'")


def test_another_delimiter(programme):
    programme.write().csv("ratings.csv", programme.tables["ratings"], delimiter=";")
    refuses(programme, SourceFileError, r'separated by ";", say delimiter = ";"')


def test_two_headings_alike(programme):
    programme.tables["ratings"][0][1:3] = ["rater_role", "rater_role"]
    programme.tables["ratings"] = [[*row, row[1]] for row in programme.tables["ratings"]]
    programme.tables["ratings"][0][7] = "rater"
    refuses(
        programme.write(),
        SourceFileError,
        r"ratings.csv: 2 columns are headed 'rater_role' \(columns B and C\)",
    )


def test_headings_alike_that_nobody_reads_do_no_harm(programme):
    programme.tables["ratings"] = [[*row, "x", "y"] for row in programme.tables["ratings"]]
    programme.tables["ratings"][0][7:] = ["notes", "notes"]
    assert len(programme.write().load().ratings) == 5


def test_an_encrypted_workbook(programme):
    programme.workbook("export.xlsx", programme.tables)
    path = programme.folder / "export.xlsx"
    content = path.read_bytes()
    (programme.folder / "plain").write_bytes(content)
    with (programme.folder / "plain").open("rb") as plain, path.open("wb") as out:
        msoffcrypto.format.ooxml.OOXMLFile(plain).encrypt("secret", out)
    (programme.folder / "plain").unlink()
    refuses(programme, SourceFileError, "export.xlsx: the workbook is encrypted", "without a password")


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("export.xlsx", b"observation,rater\n", "export.xlsx: is something else, not an XLSX workbook"),
        ("export.xlsx", b"", "export.xlsx: is an empty file"),
        (
            "export.xlsx",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
            "export.xlsx: is an old XLS workbook",
        ),
        ("export.xlsx", b"PK\x03\x04 cut off", "export.xlsx: the workbook cannot be read"),
        ("ratings.parquet", b"observation,rater\n", "ratings.parquet: is not a readable Parquet file"),
        ("ratings.parquet", b"PAR1 cut off PAR1", "ratings.parquet: is not a readable Parquet file"),
        ("ratings.csv", b"PK\x03\x04", "ratings.csv: is an XLSX workbook, not CSV"),
        ("ratings.csv", b"observation,rater\n1,\xff\n", "ratings.csv: line 2 is not utf-8"),
        ("ratings.csv", b"observation,rater\n1,\x00\n", "ratings.csv: line 2 holds a NUL byte"),
        ("ratings.csv", b"", "ratings.csv: there is no heading row"),
    ],
)
def test_a_file_that_is_not_what_its_suffix_says(programme, name, content, message):
    (programme.folder / name).write_bytes(content)
    refuses(programme, SourceFileError, message)


def test_a_workbook_cut_short(programme):
    programme.workbook("export.xlsx", programme.tables)
    path = programme.folder / "export.xlsx"
    path.write_bytes(path.read_bytes()[:-200])
    refuses(programme, SourceFileError, "export.xlsx: the workbook cannot be read")


def test_no_rubric(programme):
    del programme.tables["rubrics"]
    refuses(programme.write(), MappingError, "no rubric is declared", r"\[\[scale\]\]")


@pytest.mark.parametrize(
    ("row", "column", "value", "message"),
    [
        (
            3,
            4,
            "first",
            "rubrics.csv, row 3, column 'rank': the rubrics have a fault: 'first' is not a whole number",
        ),
        (3, 4, "1", "row 2, column 'rank': the rubrics have a fault: '.*' occurs more than once.*1 more"),
        (2, 4, "5", "rubric 'hearthside' version '1', criterion 'k7w2': the ranks are 2, 3, 4, 5"),
        (2, 3, "", "row 2, column 'level': the rubrics have a fault: level is empty"),
        (2, 3, "withheld", "'withheld' is a reason for having no level"),
        (2, 5, "-1", "row 2, column 'weight'"),
    ],
)
def test_a_fault_in_the_rubrics_stops(programme, row, column, value, message):
    programme.tables["rubrics"][row - 1][column] = value
    refuses(programme.write(), SourceFileError, message)


def test_scales_that_contradict_each_other(programme):
    rubrics = programme.tables["rubrics"]
    rubrics += [[row[0], "2", row[2], row[3], str(5 - int(row[4])), "1"] for row in rubrics[1:]]
    refuses(
        programme.write(),
        SourceFileError,
        "version '[12]' orders the levels of 'k7w2' otherwise",
        "codes of their own",
    )


MAPPINGS = {
    "not TOML": ("[[source", "mapping.toml: is not legal TOML"),
    "unknown block": ("[[sources]]\n", "mapping.toml: unknown key 'sources'.*Did you mean 'source'"),
    "not a list": ("source = 3\n", "source is not a list of blocks"),
    "unknown key": (
        SOURCE + "colums = {}\n",
        "mapping.toml, source 1: unknown key 'colums'.*Did you mean 'columns'",
    ),
    "unknown table": (
        '[[source]]\nfile = "ratings.csv"\ntable = "rating"\n',
        "unknown table 'rating'.*'ratings'",
    ),
    "no table": ('[[source]]\nfile = "ratings.csv"\n', "source 1: lacks table"),
    "unknown field": (SOURCE + 'columns = { levle = "level" }\n', "unknown field 'levle'.*'level'"),
    "fields not given": (
        SOURCE + 'columns = { level = "level" }\n',
        "nothing is said of observation, rater, rater_role",
    ),
    "given twice": (SOURCE + 'constants = { level = "part" }\n' + COLUMNS, "level is given twice"),
    "criteria elsewhere": (
        '[[source]]\nfile = "raters.csv"\ntable = "raters"\ncriteria = { k7w2 = "x" }\n'
        'columns = { rater = "rater", role = "role" }\n',
        "criteria belongs to ratings",
    ),
    "unknown reason": (SOURCE + 'missing = { "-" = "absent" }\n' + COLUMNS, "unknown reason 'absent'"),
    "level and reason": (
        SOURCE + 'missing = { "-" = "withheld" }\nlevels = { "-" = "part" }\n' + COLUMNS,
        "- is under levels and also under missing",
    ),
    "idle values": (
        SOURCE + COLUMNS + '[source.values.independent]\n"j" = "yes"\n',
        "values.independent acts on nothing",
    ),
    "header row": (SOURCE + "header_row = 0\n" + COLUMNS, "header_row = 0.*a whole number from 1"),
    "delimiter": (SOURCE + 'delimiter = "||"\n' + COLUMNS, r"delimiter = '\|\|'.*one character"),
    "encoding": (SOURCE + 'encoding = "utf-9"\n' + COLUMNS, "unknown encoding 'utf-9'"),
    "dates": (SOURCE + 'dates = "%d"\n' + COLUMNS, "dates = '%d'.*a list"),
    "a date format without a year": (SOURCE + 'dates = ["%d/%m"]\n' + COLUMNS, "dates: '%d/%m' does not"),
    "no date format": (SOURCE + 'dates = ["dd/mm/yyyy"]\n' + COLUMNS, "'dd/mm/yyyy' does not give year"),
    "distinct": (SOURCE + 'distinct = "no"\n' + COLUMNS, "distinct = 'no'.*true, false"),
    "not text": (
        SOURCE + "constants = { independent = true }\n" + COLUMNS,
        "constants.independent = True is not text",
    ),
    "not pairs": (SOURCE + 'columns = ["level"]\n', r"columns = \['level'\].*\[source.columns\]"),
    "constant out of range": (
        SOURCE + 'constants = { independent = "perhaps" }\n' + COLUMNS,
        "source 1: constants.independent: 'perhaps' is not yes or no",
    ),
    "no such file": (
        SOURCE.replace("ratings.csv", "rating.csv") + COLUMNS,
        "source 1: file = 'rating.csv' names no file.*Did you mean 'ratings.csv'",
    ),
    "no pattern": (SOURCE.replace("ratings.csv", ".") + COLUMNS, "is no pattern of file names"),
    "a name without end": (SOURCE.replace("ratings.csv", "x" * 300) + COLUMNS, "is no pattern of file names"),
    "a part of a date twice": (SOURCE + 'dates = ["%d/%m/%Y %d"]\n' + COLUMNS, "does not give year, month"),
    "outside": (SOURCE.replace("ratings.csv", "../ratings.csv") + COLUMNS, "is no path within the folder"),
    "no such sheet": (
        SOURCE.replace("ratings.csv", "export.xlsx") + 'sheet = "Ratings"\n' + COLUMNS,
        "export.xlsx has no filled sheet 'Ratings'.*Did you mean 'ratings'",
    ),
    "no such heading": (
        SOURCE + COLUMNS.replace('"rater"', '"Raterx"'),
        "ratings.csv has no column 'Raterx'.*nearest heading is 'rater'",
    ),
    "no such kind": (
        SOURCE.replace("ratings.csv", "notes.txt") + COLUMNS,
        "notes.txt: files of kind '.txt' are not read",
    ),
    "undeclared criterion": (
        SOURCE
        + 'criteria = { k7w3 = "level" }\n'
        + COLUMNS.replace('criterion = "criterion"\nlevel = "level"\n', ""),
        "source 1: criterion 'k7w3' is not declared.*'k7w2'",
    ),
    "undeclared target": (
        SOURCE + 'levels = { "Part" = "parts" }\n' + COLUMNS,
        "level 'parts' is not declared.*'part'",
    ),
    "undeclared rubric": (
        SOURCE + 'constants = { rubric = "fireside" }\n' + COLUMNS.replace('rubric = "rubric"\n', ""),
        "no rubrics declare rubric 'fireside'.*hearthside 1",
    ),
    "scale lacks": ('[[scale]]\nrubric = "r"\n', "scale 1: lacks version, levels, criteria"),
    "level twice": (SCALE.replace('"part"', '"support"'), "scale 1: levels names one twice"),
    "labels": (SCALE + 'labels = ["a"]\n', "scale 1: 1 labels for 4 levels"),
}


@pytest.mark.parametrize("case", MAPPINGS)
def test_a_wrong_mapping(programme, case):
    text, message = MAPPINGS[case]
    programme.write().workbook("export.xlsx", {"ratings": programme.tables["ratings"]})
    (programme.folder / "notes.txt").write_text("x", encoding="utf-8")
    kind = SourceFileError if case == "no such kind" else MappingError
    programme.mapping(text if "[[scale" in text else text + SCALE)
    refuses(programme, kind, message)


def test_a_mapping_that_is_not_there(programme, tmp_path):
    refuses(
        programme.write(), MappingError, "ours.toml: there is no such file", mapping=tmp_path / "ours.toml"
    )


def test_a_scale_that_the_rubrics_declare_too(programme):
    refuses(
        programme.write().mapping(SCALE),
        SourceFileError,
        "the rubrics have a fault",
        "recorded more than once",
    )


SPOILT_MAPPINGS = {
    "no UTF-8": b'[[source]]\nfile = "\xff"',
    "nested deeply": b"x = " + b"[" * 5_000,
    "digits without end": b"x = " + b"9" * 5_000,
    "dotted without end": b"a" + b".a" * 50_000 + b" = 1",
    "too large": b"# " + b"x" * 200_000,
}


@pytest.mark.parametrize("case", SPOILT_MAPPINGS)
def test_a_spoilt_mapping_ends_in_one_message(programme, case):
    programme.write()
    (programme.folder / "mapping.toml").write_bytes(SPOILT_MAPPINGS[case])
    refuses(programme, MappingError, r"mapping\.toml")


def test_a_folder_in_the_place_of_a_mapping_is_named(programme):
    programme.write()
    (programme.folder / "mapping.toml").mkdir()
    refuses(programme, MappingError, r"mapping\.toml: is not a file")


def test_what_only_looks_like_an_export_is_named(programme):
    programme.write()
    (programme.folder / "gone.csv").symlink_to("nowhere.csv")
    refuses(programme, SourceFileError, r"gone\.csv: is no file")
