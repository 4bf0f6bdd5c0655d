"""Names become codes on the way in, and no store, page, message or table names anybody."""

import os
import stat

import pandas as pd
import pytest

from mentorstats import cli
from mentorstats.errors import IdentityError, MappingError, SourceFileError
from mentorstats.records import reload
from mentorstats.records.identities.codes import PATTERN

from .conftest import BLOCK, NAMES


def test_the_same_person_has_one_code_in_every_table(named, private):
    records = named.write().mapping(BLOCK).load()
    assert records.placements["candidate"].str.fullmatch(PATTERN).all()
    assert records.placements["mentor"].iloc[0] == records.ratings["rater"].iloc[0]
    assert records.placements["supervisor"].iloc[0] == records.raters["rater"].iloc[1]
    assert len(records.problems) == 0
    assert len(records.ratings) == 5
    assert records.long()["candidate"].notna().all()


def test_capitals_and_blanks_make_nobody_another_person(named):
    for row in named.tables["ratings"][1:]:
        row[1] = row[1].upper().replace(" ", "  ")
    records = named.write().mapping(BLOCK).load()
    assert set(records.ratings["rater"]) == set(records.raters["rater"])


def test_the_list_is_for_its_owner_only_and_gives_the_same_codes_again(named, private):
    first = named.write().mapping(BLOCK).load()
    path = private / "codes.csv"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(private.stat().st_mode) == 0o700
    assert "'=Linnet Reed" in path.read_text(encoding="utf-8")  # a spreadsheet shows it and runs nothing
    second = named.load()
    for name, table in first.tables.items():
        pd.testing.assert_frame_equal(table, second.tables[name])
    path.chmod(0o640)
    with pytest.raises(SourceFileError, match="others than its owner"):
        named.load()


def test_random_codes_tell_nothing_and_a_release_has_others(named, private):
    there = set(named.write().mapping(BLOCK).load().placements["candidate"])
    named.mapping(BLOCK + 'release = "spring"\n')
    spring = set(named.load().placements["candidate"])
    assert not there & spring
    named.mapping(BLOCK)
    assert set(named.load().placements["candidate"]) == there


def test_keyed_codes_are_the_same_wherever_the_key_is(named, private):
    keyed = BLOCK + 'replace = "keyed"\n'
    first = named.write().mapping(keyed).load().placements["candidate"]
    (private / "codes.csv").unlink()
    assert named.load().placements["candidate"].tolist() == first.tolist()
    (private / "codes.csv").unlink()
    (private / "key.txt").unlink()
    assert not set(named.load().placements["candidate"]) & set(first)
    (private / "key.txt").write_text("abc", encoding="ascii")
    with pytest.raises(SourceFileError, match="is no key"):
        named.load()


def test_a_keyed_code_is_hmac_sha256_of_the_name(named, private):
    import hashlib
    import hmac

    named.write().mapping(BLOCK + 'replace = "keyed"\nrelease = "r1"\n')
    code = named.load().placements["supervisor"].iloc[0]
    key = bytes.fromhex((private / "key.txt").read_text(encoding="ascii"))
    number = int.from_bytes(hmac.new(key, b"r1\nbramble ashdown", hashlib.sha256).digest())
    signs = "23456789bcdfghjkmnpqrstvwxz"
    assert code[1] == signs[number % 8]
    assert code[2] == signs[number // 8 % 27]


def test_a_name_in_two_columns_and_a_key_made_of_a_name(programme):
    programme.csv(
        "people.csv",
        [
            ["Last", "First", "Term", "Site", "From"],
            ["Quill", "Moss", "T1", "north", "2026-01-05"],
            ["Quill", "Fern", "T1", "north", "2026-01-05"],
        ],
    )
    programme.csv("lessons.csv", [["Who", "Term", "No", "Day"], ["Quill, Moss", "T1", "3", "2026-01-12"]])
    programme.mapping(
        BLOCK
        + """
[[source]]
file = "people.csv"
table = "placements"
[source.columns]
placement = { columns = ["Last", "First"], join = ", " }
candidate = { columns = ["Last", "First"], join = ", " }
site = "Site"
cohort = "Term"
start = "From"

[[source]]
file = "lessons.csv"
table = "observations"
[source.columns]
observation = ["Who", "No"]
placement = "Who"
date = "Day"
"""
    )
    records = programme.load()
    code = records.placements["candidate"].iloc[0]
    assert records.placements["placement"].iloc[0] == code
    assert records.observations["observation"].tolist() == [f"{code} / 3"]
    assert len(records.problems) == 0
    text = (programme.folder / "mapping.toml").read_text(encoding="utf-8")
    programme.mapping(
        text.replace('placement = { columns = ["Last", "First"], join = ", " }', 'placement = "Term"')
    )
    records = programme.load()  # nothing now says that "Who" is a person: the lesson is set aside
    assert len(records.observations) == 0
    assert "Quill" not in records.problems.to_string()


def test_a_key_that_is_a_name_is_the_code_wherever_it_is_used(programme):
    programme.csv("people.csv", [["Student", "From"], ["Moss Quill", "2026-01-05"]])
    programme.csv(
        "lessons.csv",
        [["Name", "No", "Day"], ["moss quill", "3", "2026-01-12"], ["Fern Reed", "4", "2026-01-13"]],
    )
    programme.mapping(
        BLOCK
        + """
[[source]]
file = "people.csv"
table = "placements"
columns = { placement = "Student", candidate = "Student", start = "From" }
constants = { cohort = "2026" }

[[source]]
file = "lessons.csv"
table = "observations"
columns = { observation = ["Name", "No"], placement = "Name", date = "Day" }
"""
    )
    records = programme.load()
    code = records.placements["candidate"].iloc[0]
    assert records.observations["observation"].tolist()[0] == f"{code} / 3"
    (fault,) = records.problems.itertuples()
    assert "is not in placements" in fault.problem
    assert fault.row == 3
    assert "Fern" not in records.problems.to_string()


@pytest.mark.parametrize(
    ("table", "at", "value", "what"),
    [
        ("placements", (1, "site"), "room of Zoë Quill", None),
        ("placements", (1, "site"), "room of Zoë Ngũgĩ-Quill", "a person of another column"),
        ("placements", (1, "site"), "ask Fern O'Moss", "a person of another column"),
        ("placements", (1, "site"), "الهلال نورا", "a person of another column"),
        ("placements", (1, "site"), "a@hearth.example", "an e-mail address"),
        ("placements", (1, "cohort"), "S1234567", "a number like those of students"),
        ("observations", (1, "observation"), "Moss Quill", "looks like a name"),
    ],
)
def test_what_slipped_through_stops_and_is_listed_by_cell(named, private, table, at, value, what):
    row, field = at
    named.tables[table][row][named.tables[table][0].index(field)] = value
    named.write().mapping(BLOCK)
    if what is None:
        assert len(named.load().placements) == 2
        return
    with pytest.raises(IdentityError) as told:
        named.load()
    assert f"{table}.csv, row 2, {field} ({what})" in str(told.value)
    assert value not in str(told.value)
    listed = private / "cells-with-identities.csv"
    assert value in listed.read_text(encoding="utf-8")
    assert stat.S_IMODE(listed.stat().st_mode) == 0o600
    named.mapping(BLOCK + f'accept = ["{field}"]\n')
    assert len(named.load().placements) == 2
    assert not listed.exists()


def test_a_name_of_a_file_is_looked_at(named):
    named.write().mapping(BLOCK)
    (named.folder / "mapping.toml").write_text(
        BLOCK
        + '[[source]]\nfile = "Bramble Ashdown.csv"\ntable = "raters"\n'
        + 'columns = { rater = "rater", role = "role" }\n',
        encoding="utf-8",
    )
    (named.folder / "raters.csv").rename(named.folder / "Bramble Ashdown.csv")
    with pytest.raises(IdentityError, match="the name of a file") as told:
        named.load()
    assert "Bramble" not in str(told.value)


@pytest.mark.parametrize(
    ("block", "told"),
    [
        ("[identities]\n", "says no folder"),
        ('[identities]\nfolder = "inside"\n', "lies among the exports"),
        ('[identities]\nfolder = ".."\n', "or around them"),
        ('[identities]\nfolder = "../p"\nreplace = "hash"\n', "unknown way 'hash'"),
        ('[identities]\nfolder = "../p"\nacept = ["site"]\n', "unknown key"),
        ('[identities]\nfolder = "../p"\naccept = ["sites"]\n', "Did you mean 'site'"),
        ("identities = 3\n", "is no block"),
    ],
)
def test_a_block_that_does_not_say_enough_is_refused(named, block, told):
    with pytest.raises(MappingError, match=told):
        named.write().mapping(block).load()


def test_days_become_weeks_of_the_placement(named):
    named.tables["placements"][1][6] = "2026-01-07"  # a Wednesday
    plain = named.write().mapping(BLOCK).load()
    records = named.mapping(BLOCK + "weeks = true\n").load()
    assert records.long()["week"].tolist() == plain.long()["week"].tolist()
    assert records.placements["start"].dt.strftime("%Y-%m-%d").tolist() == ["2026-01-05"] * 2
    assert records.observations["date"].dt.day_of_week.eq(0).all()
    assert records.observations.dtypes.equals(plain.observations.dtypes)


def test_nothing_that_is_written_or_printed_names_anybody(named, private, capsys):
    """Faults, oddities, store, tables, pages: names stand in the exports and the private folder only."""
    named.tables["observations"][1][2] = "Zoë Ngũgĩ-Quill"  # a name where a day should be
    named.tables["observations"][2][3] = "fifty"
    named.tables["ratings"].append(["V9", "Moss Thorn", "mentor", "hearthside", "1", "k7w2", "reliable"])
    named.tables["ratings"].append(["V1", "نورا الهلال", "mentor", "hearthside", "1", "k7w2", "part"])
    named.tables["raters"].append(["=Linnet  Reed.", "mentor", "2026-01-01", "2025-01-01"])
    named.write().mapping(BLOCK)
    out = named.folder.parent / "out"
    cli.main(["check", str(named.folder)])
    cli.main(["--debug", "check", str(named.folder), "--out", str(out / "faults.csv")])
    assert cli.main(["report", "rater-calibration", str(named.folder), "--out", str(out)]) == 0
    records = named.load()
    records.save(out)
    said = capsys.readouterr()
    assert "faults.csv and oddities.csv in" in said.err
    words = {word for name in [*NAMES.values(), "Moss Thorn"] for word in name.replace(",", " ").split()}
    words = {word.strip("=.") for word in words}
    written = [path for path in out.rglob("*") if path.is_file()]
    assert {".parquet", ".html", ".csv"} <= {path.suffix for path in written}
    texts = [said.out, said.err, *(path.read_bytes().decode("utf-8", "ignore") for path in written)]
    texts += [table.to_csv() for table in reload(out).tables.values()]
    texts += [records.problems.to_csv(), repr(records)]
    for word in words:
        assert not any(word in text for text in texts), word
    local = (private / "faults.csv").read_text(encoding="utf-8")
    assert "Zoë Ngũgĩ-Quill" in local
    assert "Moss Thorn" in local
    odd = (private / "oddities.csv").read_text(encoding="utf-8")
    assert "'=Linnet  Reed.' and '=Linnet Reed' may be one rater" in odd
    assert "may be one rater" in (out / "faults.csv").read_text(encoding="utf-8")


def test_nothing_is_written_to_the_private_folder_from_outside(named, private, capsys):
    named.write().mapping(BLOCK)
    for command in (["report", "rater-calibration"], ["check"]):
        out = private / "x.csv" if command == ["check"] else private
        assert cli.main([*command, str(named.folder), "--out", str(out)]) == 2
        assert "is in the folder with names and codes" in capsys.readouterr().err


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_a_list_that_is_a_link_is_not_followed(named, private):
    named.write().mapping(BLOCK).load()
    (private / "codes.csv").rename(private / "real.csv")
    (private / "codes.csv").symlink_to(private / "real.csv")
    with pytest.raises(SourceFileError, match="cannot be opened"):
        named.load()


def test_a_damaged_list_stops_before_anybody_gets_another_code(named, private):
    named.write().mapping(BLOCK).load()
    (private / "codes.csv").write_text("name,code\nx,y\n", encoding="utf-8")
    (private / "codes.csv").chmod(0o600)
    with pytest.raises(SourceFileError, match="not as it was written"):
        named.load()


def test_the_refusal_at_names_offers_the_block(named):
    from mentorstats.records.checking import names

    with pytest.raises(IdentityError, match=r"\[identities\].*folder = "):
        names.refuse(named.write().load().tables)
    names.refuse(named.mapping(BLOCK).load().tables)


def test_a_proposal_offers_the_block_and_keeps_one_that_is_there(named):
    from mentorstats.records import propose

    named.write()
    offered = propose.propose(named.folder).text
    assert '# [identities]\n# folder = "../codes-of-people"\n' in offered
    (named.folder / "mapping.toml").write_text(
        offered.replace("# [identities]\n# folder", "[identities]\nfolder"), encoding="utf-8"
    )
    assert '\n[identities]\nfolder = "../codes-of-people"\n' in propose.propose(named.folder).text
    assert named.load().placements["candidate"].str.fullmatch(PATTERN).all()
