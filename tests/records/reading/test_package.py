"""Workbooks that a spreadsheet opens and a careless reader gets wrong, and workbooks that nobody can open."""

import io
import re
import time
import zipfile

import numpy as np
import openpyxl
import pytest

from mentorstats.errors import SourceFileError
from mentorstats.records.reading import package
from mentorstats.records.reading.read import read
from mentorstats.records.reading.sheet import Options

STRICT = {
    b"http://schemas.openxmlformats.org/spreadsheetml/2006/main": b"http://purl.oclc.org/ooxml/spreadsheetml/main",
    b"http://schemas.openxmlformats.org/officeDocument/2006/relationships": (
        b"http://purl.oclc.org/ooxml/officeDocument/relationships"
    ),
}


def packed(rows=(("code", "level"), ("a1", "3"), ("a2", "4"))):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out) as parts:
        return {name: parts.read(name) for name in parts.namelist()}


def saved(path, parts):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in parts.items():
            out.writestr(name, content)
    return path


def changed(parts, change):
    sheet = "xl/worksheets/sheet1.xml"
    return parts | {sheet: change(parts[sheet])}


def cells(path):
    (sheet,) = read(path, path.name, Options())
    return {
        (int(row), heading): text
        for heading, column in zip(sheet.headings, sheet.columns, strict=True)
        for row, text in zip(sheet.rows, column.array().to_pylist(), strict=True)
    }


def with_error(sheet):
    """Put an error in the last cell of the level column."""
    return re.sub(rb'<c r="B3"[^>]*>.*?</c>', b'<c r="B3" t="e"><v>#REF!</v></c>', sheet)


def prefixed(sheet):
    return re.sub(rb"<(/?)(?=[a-z])", rb"<\1x:", sheet).replace(b"xmlns=", b"xmlns:x=")


VARIANTS = {
    "plain": lambda sheet: sheet,
    "single quotes": lambda sheet: sheet.replace(b't="e"', b"t='e'"),
    "spaces": lambda sheet: sheet.replace(b't="e"', b't = "e"'),
    "type first": lambda sheet: sheet.replace(b'<c r="B3" t="e">', b'<c t="e" r="B3">'),
    "no place": lambda sheet: re.sub(rb'(<c|<row) r="[A-Z]*[0-9]+"', rb"\1", sheet),
    "prefixed": prefixed,
}


@pytest.mark.parametrize("name", VARIANTS)
@pytest.mark.parametrize("strict", [False, True], ids=["transitional", "strict"])
def test_an_error_is_seen_however_the_sheet_is_written(tmp_path, name, strict):
    parts = changed(packed(), lambda sheet: VARIANTS[name](with_error(sheet)))
    if strict:
        for old, new in STRICT.items():
            parts = {part: content.replace(old, new) for part, content in parts.items()}
    assert cells(saved(tmp_path / "x.xlsx", parts))[3, "level"] == "#REF!"


def test_looking_for_errors_takes_time_in_proportion(tmp_path):
    many = b'<c t="e"' * 1000
    parts = changed(
        packed(), lambda sheet: sheet.replace(b"</sheetData>", b"</sheetData><!--" + many + b"-->")
    )
    begun = time.process_time()
    read(saved(tmp_path / "x.xlsx", parts), "x.xlsx", Options())
    assert time.process_time() - begun < 1


@pytest.mark.parametrize("place", ["XFD1048576", "AAA100000"])
def test_a_cell_far_from_the_rest_is_named_and_costs_nothing(tmp_path, place):
    far = f'<row r="{re.sub("[A-Z]", "", place)}"><c r="{place}"><v>1</v></c></row></sheetData>'.encode()
    parts = changed(packed(), lambda sheet: sheet.replace(b"</sheetData>", far))
    with pytest.raises(SourceFileError, match=rf"cell {place} stands far from the rest"):
        read(saved(tmp_path / "x.xlsx", parts), "x.xlsx", Options())


def test_a_cell_at_the_last_row_of_a_narrow_sheet_is_read(tmp_path):
    far = b'<row r="1048576"><c r="A1048576" t="str"><v>end</v></c></row></sheetData>'
    parts = changed(packed(), lambda sheet: sheet.replace(b"</sheetData>", far))
    assert cells(saved(tmp_path / "x.xlsx", parts))[1048576, "code"] == "end"


def test_rows_out_of_order_are_all_read(tmp_path):
    rows = [("code", "level"), *((f"a{n}", str(n)) for n in range(48))]

    def turned(sheet):
        found = re.findall(rb"<row.*?</row>", sheet, re.DOTALL)
        return re.sub(
            rb"<sheetData>.*</sheetData>",
            b"<sheetData>" + b"".join(found[40:] + found[:40]) + b"</sheetData>",
            sheet,
            flags=re.DOTALL,
        )

    assert len(cells(saved(tmp_path / "x.xlsx", changed(packed(rows), turned)))) == 96


def test_a_part_that_unpacks_without_end_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("mentorstats.records.reading.package._LARGEST", 100_000)
    parts = changed(packed(), lambda sheet: sheet + b" " * 200_000)
    with pytest.raises(SourceFileError, match="unpacks to more than 100,000 bytes"):
        read(saved(tmp_path / "x.xlsx", parts), "x.xlsx", Options())


def test_entities_are_refused(tmp_path):
    declared = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    parts = changed(
        packed(), lambda sheet: with_error(sheet).replace(b"<worksheet", declared + b"<worksheet", 1)
    )
    with pytest.raises(SourceFileError):
        read(saved(tmp_path / "x.xlsx", parts), "x.xlsx", Options())


def test_spoilt_bytes_end_in_a_message_or_a_sound_sheet(tmp_path, capfd):
    """Flipped, cut and inserted bytes, deflate data and headers among them."""
    whole = saved(
        tmp_path / "whole.xlsx", packed([("code", "level"), *((f"a{n}", str(n % 4)) for n in range(60))])
    )
    content = whole.read_bytes()
    rng = np.random.default_rng(4)
    told = []
    for number in range(250):
        spoilt = bytearray(content)
        for _ in range(int(rng.integers(1, 4))):
            at = int(rng.integers(len(spoilt)))
            spoilt[at : at + int(rng.integers(0, 3))] = bytes(
                rng.integers(0, 256, int(rng.integers(0, 3)), dtype=np.uint8)
            )
        if number % 5 == 0:
            del spoilt[int(rng.integers(len(spoilt))) :]
        path = tmp_path / "spoilt.xlsx"
        path.write_bytes(bytes(spoilt))
        try:
            read(path, path.name, Options())
        except SourceFileError as error:
            told.append(str(error))
    assert 20 < len(told) < 250
    assert max(map(len, told)) < 2000
    assert "Traceback" not in capfd.readouterr().err


def rows(*lines):
    return lambda sheet: re.sub(
        rb"<sheetData>.*</sheetData>",
        b"<sheetData>" + b"".join(lines) + b"</sheetData>",
        sheet,
        flags=re.DOTALL,
    )


HEAD = b'<row r="1"><c r="A1" t="str"><v>code</v></c><c r="B1" t="str"><v>level</v></c></row>'


@pytest.mark.parametrize("place", ["ZZZZ90000", "XFE1", "A1048577", "A0", "7", "A" * 5000])
def test_a_place_outside_of_any_sheet_is_refused(tmp_path, place):
    line = f'<row r="2"><c r="{place}"><v>1</v></c></row>'.encode()
    path = saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line)))
    with pytest.raises(SourceFileError, match="outside of any sheet") as caught:
        read(path, path.name, Options())
    assert len(str(caught.value)) < 300


def test_cells_without_a_place_are_counted_from_their_row(tmp_path):
    far = b'<row r="1000000">' + b"<c><v>1</v></c>" * 2000 + b"</row>"
    path = saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, far)))
    with pytest.raises(SourceFileError, match="cell BXX1000000 stands far from the rest: 1,000,000 rows"):
        read(path, path.name, Options())


@pytest.mark.parametrize("part", ["xl/sharedStrings.xml", "xl/styles.xml", "xl/media/image1.png"])
def test_any_part_that_unpacks_to_very_much_is_refused(tmp_path, part):
    parts = packed() | {part: b"<si><t>a</t></si>" * 3_000_000}
    path = saved(tmp_path / "x.xlsx", parts)
    assert path.stat().st_size < 200_000
    with pytest.raises(SourceFileError, match="unpacks to more than"):
        read(path, path.name, Options())


@pytest.mark.parametrize("value", [b"<v/>", b"<v></v>", b""])
def test_a_formula_without_a_stored_value_is_not_read_as_empty(tmp_path, value):
    line = b'<row r="2"><c r="B2"><f>A1</f>' + value + b"</c></row>"
    path = saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line)))
    assert cells(path)[2, "level"] == package.UNCOMPUTED


def test_a_formula_that_gives_an_empty_text_is_empty_and_one_with_a_value_has_it(tmp_path):
    line = (
        b'<row r="2"><c r="A2" t="str"><f>A9</f><v></v></c><c r="B2"><f>1+2</f><v>3</v></c></row>'
        b'<row r="3"><c r="A3" t="str"><f>B1</f><v>a</v></c></row>'
    )
    found = cells(saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line))))
    assert (found[2, "code"], found[2, "level"], found[3, "code"]) == ("", "3", "a")


def test_an_error_stands_where_its_own_place_says(tmp_path):
    line = b'<row r="2"><c r="A2"><v>1</v></c><c r="B3" t="e"><v>#N/A</v></c></row>'
    found = cells(saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line))))
    assert (found[3, "level"], found[2, "level"]) == ("#N/A", "")


@pytest.mark.parametrize("place", ["XFD1048576", "C900000"])
def test_an_empty_cell_far_away_is_of_no_account(tmp_path, place):
    row = re.sub("[A-Z]", "", place)
    line = f'<row r="2"><c r="A2"><v>1</v></c></row><row r="{row}"><c r="{place}" s="0"/></row>'.encode()
    found = cells(saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line))))
    assert found == {(2, "code"): "1", (2, "level"): ""}


def test_two_cells_in_one_place_are_refused(tmp_path):
    line = b'<row r="2"><c r="A2"><v>1</v></c></row><row r="2"><c r="A2"><v>2</v></c></row>'
    path = saved(tmp_path / "x.xlsx", changed(packed(), rows(HEAD, line)))
    with pytest.raises(SourceFileError, match="cell A2 stands there twice"):
        read(path, path.name, Options())


def test_two_parts_of_one_name_are_refused(tmp_path):
    path = saved(tmp_path / "x.xlsx", packed())
    with zipfile.ZipFile(path, "a") as out:
        out.writestr("XL/worksheets/Sheet1.xml", b"<worksheet/>")
    with pytest.raises(SourceFileError, match="two parts of one name"):
        read(path, path.name, Options())


@pytest.mark.parametrize("piece", [40, 64, 100, 1000])
def test_pieces_never_divide_a_cell(tmp_path, monkeypatch, piece):
    monkeypatch.setattr(package, "_PIECE", piece)
    content = changed(packed([("code", "level"), *((f"a{n}", n) for n in range(60))]), lambda sheet: sheet)
    sheet = content["xl/worksheets/sheet1.xml"]
    assert b"".join(package._pieces(sheet)) == sheet
    assert package._nothing_unusual(sheet)
    doubled = sheet.replace(b'r="B40"', b'r="B39"')
    assert not package._nothing_unusual(doubled)


def test_the_quick_look_and_the_slow_one_agree_on_the_places(tmp_path):
    sheet = packed([("code", "level"), *((f"a{n}", n) for n in range(300))])["xl/worksheets/sheet1.xml"]
    slow = package._Cells("x")
    slow.read(sheet)
    assert len(slow.filled) == 602
    assert slow.filled[-1] == 300 * 2**14 + 1
    assert not slow.shown
