"""The tables of a report as a workbook: numbers as numbers, nothing live, every table once."""

import io

import openpyxl
import pandas as pd
import pytest

from mentorstats.estimate import Status
from mentorstats.report.blocks import TableBlock, documents
from mentorstats.report.columns import counted, group, statistic, text
from mentorstats.report.findings import summary
from mentorstats.report.model import Concern, Report, Section, Table
from mentorstats.report.render import form
from mentorstats.report.render.workbook import number_format

HOSTILE = ["=1+1", "+cmd", "@x", "<b>&\N{RIGHT-TO-LEFT OVERRIDE}b"]


@pytest.fixture(scope="module")
def laid_out(analysed):
    return documents(analysed, summary(analysed.sections, dict.fromkeys(Concern, 1.0)))


@pytest.fixture(scope="module")
def files(laid_out):
    return dict(form("workbook").files(laid_out))


def _opened(content):
    return openpyxl.load_workbook(io.BytesIO(content))


def _small(analysed, table):
    section = Section(key="one", name="one", question="Which?", answer="These.", tables=(table,), main=("t",))
    made = Report(name="x", title="X", period="2025", sections=(section,), provenance=analysed.provenance)
    laid = documents(made, summary(made.sections, dict.fromkeys(Concern, 1.0)))
    return _opened(dict(form("workbook").files(laid))["x.xlsx"])


def _table(**given):
    data = pd.DataFrame(
        {
            "site": HOSTILE,
            "note": HOSTILE,
            "n": [3, 4, None, 5],
            "share": [0.123456, 1.0, 0.5, float("nan")],
            "share_low": [0.1, 0.9, 0.4, float("nan")],
            "share_high": [0.2, 1.0, 0.6, float("inf")],
            "share_status": [Status.OK, Status.OK, Status.TOO_FEW_TO_SHOW, Status.ONE_RATER],
        }
    )
    shown = (group("site", "Site"), text("note", "Note"), counted("n", "Candidates", "people"))
    shown = (*shown, statistic("share", "Share", "share"))
    return Table(key="t", title="Shares", data=data, columns=shown, **given)


def test_report_and_appendix_make_one_workbook_and_the_follow_up_sheet_its_own(files):
    assert list(files) == ["rater-calibration.xlsx", "rater-calibration-follow-up.xlsx"]


def test_every_table_has_a_sheet_of_its_key_and_a_line_in_the_contents(files, laid_out):
    keys = [b.table.key for one in laid_out[:2] for b in one.blocks if isinstance(b, TableBlock)]
    book = _opened(files["rater-calibration.xlsx"])
    assert book.sheetnames[:2] == ["Answers", "Contents"]
    assert book.sheetnames[2:] == [key[:31] for key in keys]
    listed = [row[0].value for row in book["Contents"].iter_rows(min_row=5)]
    assert listed == book.sheetnames[2:]


def test_answers_and_findings_stand_first(files, laid_out):
    shown = {str(cell.value) for row in _opened(files["rater-calibration.xlsx"])["Answers"] for cell in row}
    said = [b.text for b in laid_out[0].blocks if getattr(b, "role", "") == "answer"]
    assert said
    assert set(said) <= shown


def test_numbers_are_numbers_in_full_with_the_format_of_their_unit(analysed):
    sheet = _small(analysed, _table())["t"]
    heads = [cell.value for cell in sheet[5]]
    assert heads == ["Site", "Note", "Candidates", "Share (%)", "Share: lower limit", "Share: upper limit",
                     "Share: status"]  # fmt: skip
    assert sheet["D6"].value == 0.123456
    assert sheet["D6"].number_format == "0%"
    assert sheet["C6"].value == 3


def test_hidden_cells_are_hidden_with_their_bounds(analysed):
    sheet = _small(analysed, _table())["t"]
    assert [sheet.cell(8, place).value for place in (3, 4, 5, 6)] == ["not shown"] * 4
    assert sheet["F9"].value == "unlimited"
    assert sheet["G9"].value.startswith("Only one rater")


def test_what_data_say_is_never_a_formula(analysed):
    book = _small(analysed, _table(note="=2+2", people=True))
    cells = [cell for sheet in book for row in sheet for cell in row if cell.value is not None]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
    assert [book["t"].cell(row, 1).value for row in (6, 7, 8)] == HOSTILE[:3]
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in book["t"]["A9"].value


def test_a_table_without_rows_says_so(analysed):
    table = _table()
    empty = Table(key="t", title="Shares", data=table.data.iloc[:0], columns=table.columns)
    assert "No rows." in [cell.value for row in _small(analysed, empty)["t"] for cell in row]


def test_the_same_report_gives_the_same_bytes(files, laid_out):
    assert dict(form("workbook").files(laid_out)) == files


@pytest.mark.parametrize(
    ("unit", "code"),
    [("share", "0%"), ("people", "#,##0"), ("p_value", "#,##0.000"), ("plain", "General"), ("", "General")],
)
def test_formats_print_the_decimals_of_the_page(unit, code):
    assert number_format(unit) == code


def test_signed_units_show_their_sign():
    assert number_format("levels") == "+#,##0.00;\N{MINUS SIGN}#,##0.00;0.00"
