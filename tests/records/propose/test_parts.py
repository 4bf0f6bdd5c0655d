"""Where headings stand, which rows are no records, what dates and levels mean."""

import datetime as dt

import numpy as np
import pytest

from mentorstats.records import gather
from mentorstats.records.propose import days, grids, headings, levels, rows, tables, wide


def grid(programme, sheet_rows, name="a.csv", **how):
    programme.csv(name, sheet_rows, **how)
    return grids.opened(programme.folder, gather.files_of(programme.folder)).grids[0]


BODY = [["C1", "3/4/2025", "2"], ["C2", "4/4/2025", "3"], ["C3", "9/4/2025", "1"]]
HEADS = ["Candidate", "Date", "Score"]


@pytest.mark.parametrize(
    ("above", "found"),
    [
        ([], (1,)),
        ([["Visits 2025", "", ""]], (2,)),
        ([["Visits"], [], ["Office"]], (4,)),
        ([[""], [""]], (3,)),
    ],
)
def test_headings_stand_below_title_rows(programme, above, found):
    assert headings.rows_of(grid(programme, [*above, HEADS, *BODY])) == found


def test_headings_in_two_rows(programme):
    upper = ["", "", "Mentor", "", "Supervisor", ""]
    lower = ["Candidate", "Date", "Aim", "Calm", "Aim", "Calm"]
    body = [["C1", "3/4/2025", "1", "2", "3", "4"], ["C2", "4/4/2025", "2", "2", "3", "1"]]
    assert headings.rows_of(grid(programme, [["Forms"], upper, lower, *body])) == (2, 3)


@pytest.mark.parametrize(
    ("encoding", "delimiter"), [("utf-8-sig", ";"), ("utf-16", "\t"), ("cp1252", "|"), ("utf-8", ",")]
)
def test_letters_and_separators_are_found(programme, encoding, delimiter):
    found = grid(
        programme,
        [["Élève", "Date"], ["Zoë, A", "1/2/2025"], ["Åsa, B", "2/2/2025"]],
        encoding=encoding,
        delimiter=delimiter,
    )
    assert found.options.delimiter == delimiter
    assert found.whole((1,)).headings == ("Élève", "Date")


def test_a_file_that_cannot_be_read_is_told_and_the_others_are_opened(programme):
    programme.csv("good.csv", [HEADS, *BODY])
    (programme.folder / "bad.xlsx").write_bytes(b"PK\x03\x04 nothing")
    (programme.folder / "old.xls").write_bytes(b"x")
    found = grids.opened(programme.folder, gather.files_of(programme.folder))
    assert [one.file for one in found.grids] == ["good.csv"]
    assert [name for name, _ in found.failed] == ["bad.xlsx", "old.xls"]


def test_rows_that_are_no_records(programme):
    wide_rows = [
        ["Candidate", "Date", "Site", "Score"],
        *([f"C{i}", "3/4/2025", "north", "2"] for i in range(8)),
        ["Candidate", "Date", "Site", "Score"],
        *([f"D{i}", "3/4/2025", "Total north", "2"] for i in range(8)),
        ["Grand total", "16", "", "32"],
        ["", "", "Printed in May", ""],
    ]
    found = rows.kept(grid(programme, wide_rows).whole((1,)))
    assert found.records.sum() == 16
    assert list(found.rules) == [
        {"column": "Candidate", "starts_with": "Grand total"},
        {"column": "Candidate", "equals": "Candidate"},
        {"column": "Candidate", "empty": True},
    ]


def of(*texts):
    return days.of(texts, np.ones(len(texts), dtype=np.int64))


def test_the_order_of_day_and_month():
    assert of("13/4/2025", "2/4/2025").formats == ("%d/%m/%Y",)
    assert of("4/13/2025", "4/2/2025").formats == ("%m/%d/%Y",)
    both = of("3/4/2025", "7/4/2025", "10/4/2025")  # all three fall on workdays only if the day comes first
    assert both.open
    chosen, sure, why = days.settled(both)
    assert chosen.formats == ("%d/%m/%Y",)
    assert 0.5 < sure < 1
    assert "weekend" in why or "months" in why
    other, sure, _ = days.settled(both, prefer="month")
    assert other.formats == ("%m/%d/%Y",)
    assert sure > 0.9


@pytest.mark.parametrize(
    ("text", "formats"),
    [
        ("2025-04-13", ("%Y-%m-%d",)),
        ("20250413", ("%Y%m%d",)),
        ("13 April 2025", ("%d %B %Y",)),
        ("Apr 13, 2025", ("%b %d, %Y",)),
        ("4/13/2025 14:05", ("%m/%d/%Y %H:%M",)),
        ("13. März 2025", ("%d. %B %Y",)),
    ],
)
def test_formats_of_dates(text, formats):
    found = of(text)
    assert found.formats == formats
    assert days.parsed(text, found.formats, found.months).day == 13


def test_what_is_no_date():
    assert of("1.1", "1.2").share == 0
    assert of("V0001", "V0002").share == 0
    assert of("12", "45").share == 0


def test_months_of_another_language_load(programme):
    months = ["janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre",
              "novembre", "décembre"]  # fmt: skip
    text = '[[source]]\nfile = "p.csv"\ntable = "placements"\ndates = ["%d %B %Y"]\nmonths = MONTHS\n'
    text += 'columns = { placement = "Code", candidate = "Code", start = "Start" }\n'
    programme.csv("p.csv", [["Code", "Start"], ["P1", "3 Février 2025"], ["P2", "3 fevrer 2025"]])
    records = programme.mapping(text.replace("MONTHS", str(months))).load()
    assert records.placements["start"].dt.date.iloc[0] == dt.date(2025, 2, 3)
    assert records.problems["value"].tolist()[-1] == "3 fevrer 2025"
    from mentorstats.errors import MappingError

    with pytest.raises(MappingError, match=r"months has 11 names.*twelve"):
        programme.mapping(text.replace("MONTHS", str(months[:11]))).load()


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (["1", "2", "3", "4"], ["1", "2", "3", "4"]),
        (["2", "4"], ["1", "2", "3", "4"]),
        (["0", "2"], ["0", "1", "2"]),
        (["1,0", "3,0", "2,0"], ["1", "2", "3"]),
        (["3 - Proficient", "1 - Beginning"], ["1", "2", "3"]),
        (["Effective (3)", "Beginning (1)", "Emerging (2)"], ["1", "2", "3"]),
        (["Meets", "Below", "Exceeds"], ["Below", "Meets", "Exceeds"]),
    ],
)
def test_levels_and_their_order(texts, expected):
    found = levels.scale(dict.fromkeys(texts, 1), ())
    assert found.levels == expected
    assert found.order >= 0.6


def test_levels_whose_order_nothing_tells():
    found = levels.scale({"A": 3, "B": 2, "C": 1}, ())
    assert found.order == 0.0


def test_why_there_is_no_level():
    found = levels.scale({"1": 3, "4": 2, "N/A": 1, "n.o.": 1, "-": 1}, ())
    assert found.missing == {"N/A": "not_applicable", "n.o.": "not_observed", "-": "not_scored"}
    assert levels.scale({"2": 1, "3": 1}, ["1.1 Aim (1-4)", "1.2 Calm (1-4)"]).levels == ["1", "2", "3", "4"]


def test_a_block_of_criteria(programme):
    heads = [
        "Candidate",
        "Strengths noted",
        "Minutes",
        "1.1 Aims (1-4)",
        "1.2 Calm (1-4)",
        "1.3 Talk (1-4)",
        "Total",
    ]
    body = [[f"C{i}", str(i % 3), "45", str(i % 4 + 1), str(i % 3 + 2), "N/A", "6"] for i in range(12)]
    one = tables.view(grid(programme, [heads, *body]))
    (block,) = wide.blocks(one.columns, {}, long=False)
    assert list(block.columns) == ["1.1", "1.2"]  # 1.3 holds no level at all
    assert block.titles["1.1"] == "Aims"
    assert wide.is_derived("Total")
    assert wide.is_derived("Average score")
    assert not wide.is_derived("Totally engaged pupils")
