"""Row numbers are those that a spreadsheet or an editor shows, whatever stands in the cells."""

import csv
import io

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.read import read
from mentorstats.records.reading.sheet import Options, column_name


def sheet(tmp_path, text, **options):
    path = tmp_path / "f.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    (found,) = read(path, "f.csv", Options(**options))
    return found


def cells(found):
    return [list(row) for row in zip(*(column.array().to_pylist() for column in found.columns), strict=True)]


@pytest.mark.parametrize(
    ("text", "rows", "expected"),
    [
        ("a,b\n1,2\n3,4\n", [2, 3], [["1", "2"], ["3", "4"]]),
        ("a,b\n1,2\n3,4", [2, 3], [["1", "2"], ["3", "4"]]),
        ("a,b\r\n1,2\r\n\r\n3,4\r\n", [2, 4], [["1", "2"], ["3", "4"]]),
        ("a,b\r1,2\r3,4\r", [2, 3], [["1", "2"], ["3", "4"]]),
        ('a,b\n"x\ny",2\n3,4\n', [2, 4], [["x\ny", "2"], ["3", "4"]]),
        ('a,b\n"x\r\n\r\ny",2\n\n3,"say ""no"""\n', [2, 6], [["x\r\n\r\ny", "2"], ["3", 'say "no"']]),
        ('"a\nlong heading",b\n1,2\n', [3], [["1", "2"]]),
        ("a,b\n,\n1,2\n ,\n3,4\n", [3, 5], [["1", "2"], ["3", "4"]]),
        ('a,b\n5" pipe,2\n6" pipe,4\n', [2, 3], [['5" pipe', "2"], ['6" pipe', "4"]]),
        (
            'a,b\n5" pipe,2\n"x\ny",4\nz,6" pipe\n',
            [2, 3, 5],
            [['5" pipe', "2"], ["x\ny", "4"], ["z", '6" pipe']],
        ),
        ("a,b\n1,2,,\n3,4\n", [2, 3], [["1", "2"], ["3", "4"]]),
        ("\ufeffa,b\n1,é\n", [2], [["1", "é"]]),
        ("a,b\n", [], []),
    ],
)
def test_lines_and_cells(tmp_path, text, rows, expected):
    found = sheet(tmp_path, text)
    assert found.rows.tolist() == rows
    assert cells(found) == expected
    assert found.ragged == ()


def test_headings_below_the_first_row(tmp_path):
    found = sheet(tmp_path, 'Export of,"3 May"\n\nsecond line,\na,b\n1,2\n\n3,4\n', heading_rows=(4,))
    assert found.headings == ("a", "b")
    assert found.rows.tolist() == [5, 7]


def test_ragged_rows_are_kept_apart_with_their_line(tmp_path):
    found = sheet(tmp_path, 'a,b\n1,2\n3\n"x\ny",4\n5,6,7\n')
    assert cells(found) == [["1", "2"], ["x\ny", "4"]]
    assert found.rows.tolist() == [2, 4]
    assert found.ragged == ((3, ("3",)), (6, ("5", "6", "7")))


def test_other_delimiters_and_encodings(tmp_path):
    found = sheet(tmp_path, "a;b\n1;für\n".encode("cp1252"), delimiter=";", encoding="cp1252")
    assert cells(found) == [["1", "für"]]
    assert cells(sheet(tmp_path, "a\tb\n1\t2\n".encode("utf-16"), delimiter="\t", encoding="utf-16")) == [
        ["1", "2"]
    ]


@pytest.mark.parametrize(
    ("content", "options", "message"),
    [
        (b"a,b\n1,\xe9\n", {}, r"f.csv: line 2 is not utf-8 text \(byte 0xe9\).*encoding"),
        (b"a,b\n1,2\n3,\x00\n", {}, r"f.csv: line 3 holds a NUL byte"),
        ("a,b\n1,2\n".encode("utf-16"), {}, r"f.csv: is UTF-16 text.*encoding"),
        (b"PK\x03\x04rest", {}, r"f.csv: is an XLSX workbook, not CSV.*suffix"),
        (b"PAR1rest", {}, r"f.csv: is Parquet, not CSV"),
        (b"\xd0\xcf\x11\xe0rest", {}, r"f.csv: is an old or encrypted workbook"),
        (b"", {}, r"f.csv: there is no heading row"),
        (b"\n\n", {}, r"f.csv: there is no heading row"),
        (b"a,b\n", {"heading_rows": (3,)}, r"f.csv: there is no heading row"),
        (b'a,b\n1,2\n"3,4\n5,6\n', {}, r"f.csv: the record that starts on line 3 is not CSV.*quotation"),
    ],
)
def test_what_is_not_csv_is_refused(tmp_path, content, options, message):
    with pytest.raises(SourceFileError, match=message):
        sheet(tmp_path, content, **options)


def test_reading_leaves_the_limit_of_the_csv_module_alone(tmp_path):
    before = csv.field_size_limit()
    long_cell = "x" * 200_000
    assert cells(sheet(tmp_path, f"a,b\n{long_cell},2\n3\n")) == [[long_cell, "2"]]
    assert csv.field_size_limit() == before


TEXT = st.text(st.sampled_from('ab,"\n\r é7'), max_size=6)


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(TEXT, TEXT, TEXT), max_size=12),
    end=st.sampled_from(["\n", "\r\n"]),
    all_quoted=st.booleans(),
)
def test_the_quick_reader_agrees_with_the_standard_library(tmp_path_factory, rows, end, all_quoted):
    out = io.StringIO()
    # The writer leaves a lone carriage return unquoted where lines end otherwise.
    quoting = csv.QUOTE_ALL if all_quoted or "\r" in "".join(map("".join, rows)) else csv.QUOTE_MINIMAL
    writer = csv.writer(out, lineterminator=end, quoting=quoting)
    writer.writerow(["a", "b", "c"])
    starts = []
    for row in rows:
        starts.append(out.getvalue().count("\n") + lone_returns(out.getvalue()) + 1)
        writer.writerow(row)
    found = sheet(tmp_path_factory.mktemp("f"), out.getvalue())
    kept = [[cell.strip() for cell in row] for row in rows if any(cell.strip() for cell in row)]
    assert cells(found) == kept
    if "\r" not in "".join(map("".join, rows)):
        assert found.rows.tolist() == [
            start for start, row in zip(starts, rows, strict=True) if any(cell.strip() for cell in row)
        ]


def lone_returns(text):
    return text.count("\r") - text.count("\r\n")


def test_a_workbook_shows_its_own_row_numbers(tmp_path):
    book = openpyxl.Workbook()
    page = book.active
    page["B3"], page["C3"] = "a", "b"
    page["B5"], page["C5"] = "1", "2"
    page["B8"], page["C8"] = " ", "4"
    page["C9"] = "  "
    book.create_sheet("empty")
    book.save(tmp_path / "f.xlsx")
    (found,) = read(tmp_path / "f.xlsx", "f.xlsx", Options(heading_rows=(3,)))
    assert found.headings == ("", "a", "b")
    assert found.rows.tolist() == [5, 8]
    assert cells(found) == [["", "1", "2"], ["", "", "4"]]


def test_error_cells_of_a_workbook_are_not_empty(tmp_path):
    book = openpyxl.Workbook()
    page = book.active
    page.append(["a", "b"])
    page.append(["1", "#N/A"])
    page.append(["2", "#DIV/0!"])
    book.save(tmp_path / "f.xlsx")
    (found,) = read(tmp_path / "f.xlsx", "f.xlsx", Options())
    assert cells(found) == [["1", "#N/A"], ["2", "#DIV/0!"]]


@pytest.mark.parametrize(
    ("position", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA")]
)
def test_columns_are_called_as_a_spreadsheet_calls_them(position, letters):
    assert column_name(position) == letters
