"""The tables of a report as a workbook: numbers as numbers, a sheet a table, and a sheet that lists them."""

from __future__ import annotations

import datetime
import io
import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from mentorstats.declared.vocabulary import STATUSES, meanings
from mentorstats.errors import printable
from mentorstats.estimate import Status
from mentorstats.report.blocks import Document, FindingBlock, Heading, Paragraph, TableBlock
from mentorstats.report.columns import BOUNDS, STATUS, WORDS, Column, Kind
from mentorstats.report.numbers import UNITS
from mentorstats.report.render.view import HIDDEN, NOT_RECORDED, words

ENDING = "xlsx"
TOGETHER = True
_OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}
_MADE = datetime.datetime(2000, 1, 1)  # the same input gives the same bytes
_LONGEST_NAME = 31  # of a sheet
_LONGEST_CELL = 32767
_WIDEST, _NARROWEST = 48, 9  # characters
_LINE = 15.0  # points a line of text; a program that opens the file need not fit rows to wrapped text
_ANSWERS, _CONTENTS = (44, 80, 60), (32, 60, 60, 8)  # widths of columns
_INFINITE = "unlimited"


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A table that becomes a sheet, with the question that it belongs to."""

    name: str
    block: TableBlock
    question: str

    @property
    def title(self) -> str:
        """Title with the table's number, as it stands on the page."""
        number = f"Table {self.block.number}. " if self.block.number else ""
        return number + self.block.table.title


def render(documents: Sequence[Document]) -> bytes:
    """Write the tables of documents as one workbook; the same documents give the same bytes.

    The first sheet has the findings and the answers, the second lists the tables. Every other sheet is one
    table: title, question, headings, rows with unrounded numbers in the format of their unit, then notes,
    meanings of the words for what could not be computed, and sources. Nothing is a formula or a link that
    data could write.
    """
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        first = documents[0]
        book.set_properties({"title": first.title, "author": "", "created": _MADE})
        writer = _Writer(book, first)
        sheets = list(_sheets(documents))
        writer.answers(documents)
        writer.contents(sheets)
        for sheet in sheets:
            writer.table(sheet, documents)
    return content.getvalue()


def _sheets(documents: Sequence[Document]) -> Iterator[_Sheet]:
    taken = {"answers", "contents"}
    for document in documents:
        question = document.title
        for block in document.blocks:
            if isinstance(block, Heading) and block.level == 2:
                question = block.text
            elif isinstance(block, TableBlock):
                yield _Sheet(_name(block.table.key, taken), block, question)


def _name(key: str, taken: set[str]) -> str:
    """A name that a sheet may have, the same in every run: the table's key, cut where it is long."""
    name, place = key[:_LONGEST_NAME], 1
    while name.lower() in taken:
        place += 1
        name = f"{key[: _LONGEST_NAME - 3]}-{place}"
    taken.add(name.lower())
    return name


class _Writer:
    """A workbook with its formats; each method writes one sheet."""

    def __init__(self, book: xlsxwriter.Workbook, first: Document) -> None:
        self.book, self.first = book, first
        top = {"valign": "top"}
        self.title = book.add_format({"bold": True, "font_size": 14})
        self.quiet = book.add_format({"font_color": "#5a6472"})
        self.head = book.add_format({"bold": True, "text_wrap": True, "bottom": 1, **top})
        self.words = book.add_format({"text_wrap": True, **top})
        self.link = book.add_format({"font_color": "#1d4477", "underline": 1, **top})
        self.numbers: dict[str, Any] = {}

    def number(self, unit: str) -> Any:
        """Format of a number of this unit."""
        if unit not in self.numbers:
            self.numbers[unit] = self.book.add_format({"num_format": number_format(unit), "valign": "top"})
        return self.numbers[unit]

    def _new(self, name: str, title: str, under: Sequence[str]) -> tuple[Worksheet, int]:
        """A sheet with its heading; also the row below it."""
        sheet = self.book.add_worksheet(name)
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{self.first.notice.replace('&', '&&')}&R&P / &N")
        _text(sheet, 0, 0, title, self.title)
        for place, line in enumerate(under, start=1):
            _text(sheet, place, 0, line, self.quiet)
        return sheet, len(under) + 2

    def answers(self, documents: Sequence[Document]) -> None:
        """Findings, then each question with its answer and verdict."""
        under = [self.first.subtitle, self.first.notice, self.first.caution]
        sheet, row = self._new("Answers", self.first.title, under)
        _widths(sheet, _ANSWERS)
        findings = [b for one in documents for b in one.blocks if isinstance(b, FindingBlock)]
        if findings:
            heads = ("What was found", "How sure that is", "What to do")
            row = self._row(sheet, row, heads, self.head, _ANSWERS)
            for told in (found.placed.finding for found in findings):
                said = (told.what, told.how_sure, told.action)
                row = self._row(sheet, row, said, self.words, _ANSWERS)
            row += 1
        row = self._row(sheet, row, ("Question", "Answer", "Verdict"), self.head, _ANSWERS)
        question = ""
        for block in (b for one in documents for b in one.blocks):
            if isinstance(block, Heading):
                question = block.text
            elif isinstance(block, Paragraph) and block.role == "answer":
                said = (question, block.text, block.verdict or "")
                row = self._row(sheet, row, said, self.words, _ANSWERS)
            elif isinstance(block, Paragraph) and block.role == "missing":
                row = self._row(sheet, row, ("Not assessed", block.text, ""), self.words, _ANSWERS)

    def contents(self, sheets: Sequence[_Sheet]) -> None:
        """Every table with a link to its sheet."""
        sheet, row = self._new("Contents", "Tables", [self.first.subtitle])
        row = self._row(sheet, row, ("Sheet", "Table", "Question", "Rows"), self.head, _CONTENTS)
        for one in sheets:
            target = one.name.replace("'", "''")
            sheet.write_url(row, 0, f"internal:'{target}'!A1", self.link, one.name)
            _text(sheet, row, 1, one.title, self.words)
            _text(sheet, row, 2, one.question, self.words)
            sheet.write_number(row, 3, len(one.block.table.data), self.words)
            sheet.set_row(row, _height((one.name, one.title, one.question), _CONTENTS))
            row += 1
        _widths(sheet, _CONTENTS)

    def table(self, one: _Sheet, documents: Sequence[Document]) -> None:
        """One table with its notes."""
        table = one.block.table
        sheet, row = self._new(one.name, one.title, [one.question, self.first.subtitle])
        columns = [part for column in table.columns for part in _parts(column, table.data)]
        heads, widths = [part.label for part in columns], []
        sheet.freeze_panes(row + 1, 1)
        for place, part in enumerate(columns):
            values = table.data[part.name].tolist()
            shown = [HIDDEN if hidden else value for value, hidden in zip(values, part.hidden, strict=True)]
            lengths = [
                self._cell(sheet, row + below, place, value, part) for below, value in enumerate(shown, 1)
            ]
            longest = max([len(part.label) // 2, *(len(word) for word in part.label.split()), *lengths])
            widths.append(min(max(longest + 2, _NARROWEST), _WIDEST))
        _widths(sheet, widths)
        self._row(sheet, row, heads, self.head, widths)
        for below in range(len(table.data)):
            told = [words(table.data[part.name].iloc[below]) for part in columns if not part.numeric]
            if any(len(text) > _WIDEST for text in told):
                sheet.set_row(row + 1 + below, _height(told, [_WIDEST] * len(told)))
        row += len(table.data) + 2
        if not len(table.data):
            _text(sheet, row - 1, 0, "No rows.", self.quiet)
            row += 1
        sources = "; ".join(link.text for link in one.block.sources)
        notes = [table.note, f"Sources: {sources}." if sources else ""]
        notes += [documents[0].caution if table.people else ""]
        for note in filter(None, notes):
            _text(sheet, row, 0, note, self.quiet)
            row += 1

    def _row(self, sheet: Worksheet, row: int, values: Sequence[str], how: Any, widths: Sequence[int]) -> int:
        sheet.set_row(row, _height(values, widths))
        for place, value in enumerate(values):
            _text(sheet, row, place, value, how)
        return row + 1

    def _cell(self, sheet: Worksheet, row: int, place: int, value: Any, part: _Part) -> int:
        """Write a value; its width in characters."""
        if value is not HIDDEN and part.numeric and not pd.isna(value):
            number = float(value)
            if math.isfinite(number):
                number *= 100 if part.unit == "points" else 1
                sheet.write_number(row, place, number, self.number(part.unit))
                return 8
            value = _INFINITE if number > 0 else f"minus {_INFINITE}"
        text = words(value) or part.absent
        if part.name.endswith(STATUS):
            text = "" if text == Status.OK else meanings(STATUSES).get(text, text)
        _text(sheet, row, place, text, self.words)
        return len(text)


@dataclass(frozen=True, slots=True)
class _Part:
    """A column of a sheet: a table's column, or one of what goes along with it."""

    name: str
    label: str
    unit: str
    numeric: bool
    hidden: Sequence[bool]
    absent: str = ""


def _parts(column: Column, data: pd.DataFrame) -> Iterator[_Part]:
    """The columns of a sheet that show one column of the table: value, bounds, status, words."""
    label, none = column.label, [False] * len(data)
    unit = "" if column.kind == Kind.COUNT else UNITS[column.unit].heading if column.unit in UNITS else ""
    if unit:
        label += f" ({unit})"
    hidden = none
    if column.name + STATUS in data and column.blanked:
        hidden = (data[column.name + STATUS].astype("str") == Status.TOO_FEW_TO_SHOW.value).tolist()
    elif column.kind == Kind.COUNT:
        hidden = data[column.name].isna().tolist()
    absent = NOT_RECORDED if column.kind == Kind.GROUP else ""
    yield _Part(column.name, label, column.unit, column.numeric, hidden, absent)
    if column.kind == Kind.GROUP and column.name + WORDS in data:
        yield _Part(column.name + WORDS, f"{column.label}: meaning", "", False, none)
    for end, which in zip(BOUNDS, ("lower limit", "upper limit"), strict=True):
        if column.kind == Kind.STATISTIC and column.name + end in data:
            yield _Part(column.name + end, f"{column.label}: {which}", column.unit, True, hidden)
    if column.blanked and column.name + STATUS in data:
        statuses = data[column.name + STATUS].astype("str")
        if not statuses.isin([Status.OK.value, Status.TOO_FEW_TO_SHOW.value]).all():
            yield _Part(column.name + STATUS, f"{column.label}: status", "", False, none)


def number_format(unit: str) -> str:
    """Format code of a spreadsheet for a unit, with the decimals that the page prints."""
    if unit == "plain" or unit not in UNITS:
        return "General"
    how = UNITS[unit]
    places = "0" if not how.decimals else f"0.{'0' * how.decimals}"
    if unit == "share":
        return f"{places}%"
    whole = f"#,##{places}"
    return f"+{whole};\N{MINUS SIGN}{whole};{places}" if how.signed else whole


def _widths(sheet: Worksheet, widths: Sequence[int]) -> None:
    for place, width in enumerate(widths):
        sheet.set_column(place, place, width)


def _height(texts: Sequence[str], widths: Sequence[int]) -> float:
    """Height of a row whose texts are broken at words to fit their columns."""
    pairs = zip(texts, widths, strict=False)
    lines = [len(textwrap.wrap(str(text), max(width, 1))) for text, width in pairs]
    return _LINE * max([1, *lines])


def _text(sheet: Worksheet, row: int, place: int, value: str, how: Any) -> None:
    """Write words as words, whatever they begin with."""
    shown = printable(str(value))[:_LONGEST_CELL]
    if shown:
        sheet.write_string(row, place, shown, how)
    else:
        sheet.write_blank(row, place, None, how)
