"""A report as a document to edit: real headings, captions, numbered tables and figures, contents."""

from __future__ import annotations

import datetime
import hashlib
import io
import re
import zipfile
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

import docx
from docx.enum.text import WD_BREAK
from docx.oxml import OxmlElement, parse_xml
from docx.oxml.ns import nsdecls, qn
from docx.shared import Cm, Pt, RGBColor
from docx.text.paragraph import Paragraph as Line

from mentorstats.drawings import style
from mentorstats.errors import printable
from mentorstats.report.blocks import (
    Bibliography,
    Block,
    Document,
    FigureBlock,
    FindingBlock,
    Heading,
    Link,
    LinkList,
    Paragraph,
    TableBlock,
)
from mentorstats.report.figures import drawing
from mentorstats.report.render.view import Cell, View, view

ENDING = "docx"
TOGETHER = True
_MADE = datetime.datetime(2000, 1, 1)  # the same input gives the same bytes
_ZIPPED = (1980, 1, 1, 0, 0, 0)
_RINGS = {"filled": "\N{BLACK CIRCLE}", "half": "\N{CIRCLE WITH LEFT HALF BLACK}", "open": "\N{WHITE CIRCLE}"}
_WIDTH = Cm(16.5)  # of a picture, inside the margins
_MARGIN = Cm(2.2)
_SIZES = ((6, 9.0), (9, 8.0), (10, 7.0), (99, 6.5))  # columns up to, points of a table's text
_LONGEST_BOOKMARK = 40
_ACROSS, _NARROW, _WIDE = 9400, 5, 24  # width of a table; letters of a column
_BESIDE = 40  # left and right of a cell
_LINES = (("top", 8, style.INK), ("bottom", 8, style.INK), ("insideH", 4, style.RULE))  # eighths of a point
_HEADING = "<w:trPr><w:cantSplit/><w:tblHeader/></w:trPr>"
_INK, _QUIET = (RGBColor.from_string(colour[1:].upper()) for colour in (style.INK, style.QUIET))


def render(documents: Sequence[Document]) -> bytes:
    """Write documents as one file that a word processor edits; the same documents give the same bytes."""
    writer = _Writer(documents)
    for place, document in enumerate(documents):
        writer.add(document, first=not place)
    return _stable(writer.content())


class _Writer:
    """A file as it grows, one method a kind of block."""

    def __init__(self, documents: Sequence[Document]) -> None:
        self.file = docx.Document()
        self.first = documents[0]
        self.here = set().union(*(one.keys() for one in documents))
        self.headings = [one for one in self.first.blocks if isinstance(one, Heading) and one.level < 3]
        self.headings += [Heading(one.title, level=1, key=one.name) for one in documents[1:]]
        self.here |= {one.name for one in documents[1:]}
        self.bookmarks = 0
        self.pictures = 0
        self.deeper = False  # whether sections stand under a part
        self._look()

    def content(self) -> bytes:
        """The file."""
        out = io.BytesIO()
        self.file.save(out)
        return out.getvalue()

    def _look(self) -> None:
        """Page, styles, header, footer and properties."""
        page = self.file.sections[0]
        page.page_width, page.page_height = Cm(21), Cm(29.7)
        page.left_margin = page.right_margin = page.top_margin = page.bottom_margin = _MARGIN
        for name, size, before in (
            ("Normal", 10.5, 0),
            ("Title", 22, 0),
            ("Heading 1", 16, 18),
            ("Heading 2", 13, 14),
            ("Heading 3", 11, 10),
            ("Caption", 9.5, 10),
        ):
            one: Any = self.file.styles[name]
            one.font.name, one.font.size, one.font.color.rgb = "Calibri", Pt(size), _INK
            fonts = one.element.rPr.rFonts
            for kind in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
                fonts.attrib.pop(qn(f"w:{kind}"), None)
            one.paragraph_format.space_before, one.paragraph_format.space_after = Pt(before), Pt(5)
        self.file.styles["Caption"].paragraph_format.keep_with_next = True
        language = OxmlElement("w:lang")
        language.set(qn("w:val"), "en-GB")
        self.file.styles["Normal"].element.get_or_add_rPr().append(language)
        head = page.header.paragraphs[0]
        _quiet(head.add_run(printable(f"{self.first.title}, {self.first.subtitle}")), 8.5)
        foot = page.footer.paragraphs[0]
        _quiet(foot.add_run(f"{self.first.notice} {self.first.caution} Page "), 8)
        _field(foot, "PAGE", "1", size=8)
        properties = self.file.core_properties
        properties.title, properties.author = printable(self.first.title), ""
        properties.comments = f"mentorstats {self.first.version}"
        properties.created = properties.modified = _MADE
        properties.last_modified_by = ""

    def add(self, document: Document, *, first: bool) -> None:
        """Add a document; a further one begins on a page of its own."""
        self.deeper = not first
        if first:
            self.file.add_heading(printable(document.title), level=0)
            self._said(document.subtitle)
            self._said(document.notice, bold=True)
            self._said(document.caution)
            self._contents()
        else:
            self.file.add_paragraph().add_run().add_break(WD_BREAK.PAGE)
            self._bookmark(self.file.add_heading(printable(document.title), level=1), document.name)
        for block in document.blocks:
            self.block(block)

    def _contents(self) -> None:
        """A contents list: links to what stands there now, in a field that a word processor can renew."""
        self.file.add_paragraph().add_run("Contents").bold = True
        shown = [one for one in self.headings if one.level == 1 or one.key]
        for place, one in enumerate(shown):
            line = self.file.add_paragraph()
            line.paragraph_format.space_after = Pt(1)
            line.paragraph_format.left_indent = Cm(0.6 if one.level == 2 else 0)
            if not place:
                _field_part(line, "begin")
                _field_code(line, 'TOC \\o "1-2" \\h \\z \\u')
                _field_part(line, "separate")
            if one.key:
                self._link(line, Link(self._numbered(one), one.key))
            else:
                line.add_run(printable(one.text)).bold = True
            if place == len(shown) - 1:
                _field_part(line, "end")

    def block(self, block: Block) -> None:
        """Add one block."""
        match block:
            case Heading():
                self._heading(block)
            case Paragraph():
                self._paragraph(block)
            case FindingBlock():
                self._finding(block)
            case LinkList():
                line = self.file.add_paragraph()
                line.add_run(f"{block.lead}: ").bold = True
                for place, to in enumerate(block.links):
                    self._link(line, to)
                    line.add_run("." if place == len(block.links) - 1 else block.between)
            case FigureBlock():
                self._figure(block)
            case TableBlock():
                self._table(block)
            case Bibliography():
                for key, source in block.sources.items():
                    line = self.file.add_paragraph(style="List Bullet")
                    self._bookmark(line, f"source-{key}")
                    line.add_run(printable(source.full))

    def _numbered(self, block: Heading) -> str:
        return printable(f"{block.number}  {block.text}" if block.number else block.text)

    def _heading(self, block: Heading) -> None:
        if block.level == 1:
            self.deeper = True
        level = block.level if self.deeper else block.level - 1
        line = self.file.add_heading(self._numbered(block), level=max(level, 1))
        if block.key:
            self._bookmark(line, block.key)

    def _paragraph(self, block: Paragraph) -> None:
        if not block.text and block.link and block.link.key in self.here:
            line = self.file.add_paragraph()
        elif not block.text:
            return
        else:
            line = self.file.add_paragraph(printable(block.text))
        if block.role in ("method", "note", "caution"):
            _quiet(line, 9.5)
        if block.verdict:
            line.add_run(f" {_RINGS[block.verdict.ring]}\N{NO-BREAK SPACE}{block.verdict}").bold = True
        if block.link:
            line.add_run(" " if block.text else "")
            self._link(line, block.link)

    def _finding(self, block: FindingBlock) -> None:
        told = block.placed.finding
        line = self.file.add_paragraph()
        line.paragraph_format.keep_with_next = True
        line.add_run(printable(f"{block.position}. {told.what}")).bold = True
        sure = told.how_sure + (f" Concerns: {told.concerns}." if told.concerns else "")
        self._said(sure, indent=True)
        line = self._said("", indent=True)
        if told.action:
            line.add_run("What to do. ").bold = True
            line.add_run(f"{printable(told.action)} ")
        self._link(line, Link("See the evidence", block.placed.section))

    def _figure(self, block: FigureBlock) -> None:
        caption = self.file.add_paragraph(style="Caption")
        self._bookmark(caption, block.figure.key)
        caption.add_run("Figure ")
        _field(caption, "SEQ Figure \\* ARABIC", str(block.number))
        caption.add_run(printable(f". {block.figure.title}"))
        line = self.file.add_paragraph()
        line.paragraph_format.keep_with_next = True
        picture = line.add_run().add_picture(io.BytesIO(drawing.png(block.figure, block.data)), width=_WIDTH)
        self.pictures += 1
        named: Any = picture._inline.docPr
        named.set("id", str(self.pictures))
        named.set("name", f"Figure {block.number}")
        named.set("descr", printable(block.figure.alt))
        _quiet(self.file.add_paragraph(printable(f"Shown: {block.figure.alt}")), 9)
        self._link(self.file.add_paragraph(), block.twin)

    def _table(self, block: TableBlock) -> None:
        table, shown = block.table, view(block.table)
        caption = self.file.add_paragraph(style="Caption")
        self._bookmark(caption, table.key)
        if block.number:
            caption.add_run("Table ")
            _field(caption, "SEQ Table \\* ARABIC", str(block.number))
            caption.add_run(". ")
        caption.add_run(printable(table.title))
        size = next(points for most, points in _SIZES if len(shown.head) <= most)
        self.file.element.body.insert_element_before(_grid(shown, table.title, size), "w:sectPr")
        notes = [f"{letter}: {meaning}" for letter, meaning in shown.notes.items()]
        notes += [table.note, self.first.caution if table.people else ""]
        if not shown.rows:
            notes.insert(0, "No rows.")
        self.file.add_paragraph().paragraph_format.space_after = Pt(0)
        for note in filter(None, notes):
            _quiet(self.file.add_paragraph(printable(note)), 9)
        if block.sources:
            line = self.file.add_paragraph()
            _quiet(line.add_run("Sources: "), 9)
            for place, to in enumerate(block.sources):
                self._link(line, to)
                line.add_run("." if place == len(block.sources) - 1 else "; ")

    def _said(self, text: str, *, bold: bool = False, indent: bool = False) -> Line:
        line = self.file.add_paragraph()
        if indent:
            line.paragraph_format.left_indent = Cm(0.5)
        if text:
            line.add_run(printable(text)).bold = bold
        return line

    def _link(self, line: Line, to: Link) -> None:
        """A link inside the file; the words alone where it leads to another file."""
        run = line.add_run(printable(to.text))
        if to.key not in self.here:
            return
        run.font.color.rgb, run.font.underline = RGBColor.from_string(style.ACCENT[1:].upper()), True
        around = OxmlElement("w:hyperlink")
        around.set(qn("w:anchor"), bookmark_name(to.key))
        around.set(qn("w:history"), "1")
        run._r.addprevious(around)
        around.append(run._r)

    def _bookmark(self, line: Line, key: str) -> None:
        self.bookmarks += 1
        for kind in ("w:bookmarkStart", "w:bookmarkEnd"):
            mark = OxmlElement(kind)
            mark.set(qn("w:id"), str(self.bookmarks))
            if kind.endswith("Start"):
                mark.set(qn("w:name"), bookmark_name(key))
            line._p.append(mark)


def bookmark_name(key: str) -> str:
    """Name of a place that a word processor accepts: at most 40 letters, digits and low lines."""
    name = "at_" + re.sub(r"\W", "_", key, flags=re.ASCII)
    if len(name) <= _LONGEST_BOOKMARK:
        return name
    return f"{name[: _LONGEST_BOOKMARK - 9]}_{hashlib.sha256(key.encode()).hexdigest()[:8]}"


def _grid(shown: View, title: str, size: float) -> Any:
    """A whole table at once, as its XML: python-docx makes cells one by one, ten times slower."""
    heads = [Cell(f"{h.label} ({h.unit})" if h.unit else h.label, numeric=h.numeric) for h in shown.head]
    rows = ["".join(_cell(item, size, bold=True) for item in heads)]
    rows += ["".join(_cell(item, size, bold=item.heads) for item in row) for row in shown.rows]
    kept = "<w:trPr><w:cantSplit/></w:trPr>"
    parts = [f"<w:tr>{_HEADING if not place else kept}{row}</w:tr>" for place, row in enumerate(rows)]
    lines = "".join(
        f'<w:{side} w:val="single" w:sz="{width}" w:space="0" w:color="{colour[1:]}"/>'
        for side, width, colour in (
            ("top", 8, style.INK),
            ("bottom", 8, style.INK),
            ("insideH", 4, style.RULE),
        )
    )
    columns = "".join(f'<w:gridCol w:w="{width}"/>' for width in _widths(heads, shown.rows))
    return parse_xml(
        f'<w:tbl {nsdecls("w")}><w:tblPr><w:tblW w:w="5000" w:type="pct"/>'
        f'<w:tblBorders>{lines}</w:tblBorders><w:tblLayout w:type="autofit"/>{_margins()}<w:tblCaption '
        f'w:val="{_escaped(title)}"/></w:tblPr><w:tblGrid>{columns}</w:tblGrid>{"".join(parts)}</w:tbl>'
    )


def _margins() -> str:
    """Room beside the text of a cell: with eleven columns every letter counts."""
    sides = "".join(f'<w:{side} w:w="{_BESIDE}" w:type="dxa"/>' for side in ("left", "right"))
    return f"<w:tblCellMar>{sides}</w:tblCellMar>"


def _widths(heads: Sequence[Cell], rows: Sequence[Sequence[Cell]]) -> list[int]:
    """Widths of columns, in twentieths of a point: as their longest texts, no word of a heading broken."""
    needs = [
        max([min(max([_NARROW, *(max(len(item.text), len(item.under)) for item in column)]), _WIDE), *words])
        for column, words in (
            ([row[place] for row in rows], [1.25 * len(word) for word in head.text.split()])
            for place, head in enumerate(heads)
        )
    ]
    return [round(_ACROSS * need / sum(needs)) for need in needs]


def _cell(item: Cell, size: float, *, bold: bool) -> str:
    side = '<w:jc w:val="right"/>' if item.numeric else ""
    ring = f"{_RINGS[item.ring]}\N{NO-BREAK SPACE}" if item.ring else ""
    runs = _run(ring + item.text, size, "<w:b/>" if bold else "")
    if item.mark:
        runs += _run(item.mark, size, "", '<w:vertAlign w:val="superscript"/>')
    if item.under:
        runs += "<w:r><w:br/></w:r>" + _run(item.under, size - 0.5, f'<w:color w:val="{style.QUIET[1:]}"/>')
    return f'<w:tc><w:p><w:pPr><w:spacing w:after="0"/>{side}</w:pPr>{runs}</w:p></w:tc>'


def _run(text: str, size: float, before: str, after: str = "") -> str:
    how = f'{before}<w:sz w:val="{round(2 * size)}"/>{after}'
    return f'<w:r><w:rPr>{how}</w:rPr><w:t xml:space="preserve">{_escaped(text)}</w:t></w:r>'


def _escaped(text: str) -> str:
    return escape(printable(text), {'"': "&quot;"})


def _quiet(what: Any, size: float) -> None:
    """Set a run, or all runs of a paragraph, in quiet ink."""
    for run in getattr(what, "runs", [what]):
        run.font.color.rgb, run.font.size = _QUIET, Pt(size)


def _field(line: Line, code: str, shown: str, *, size: float | None = None) -> None:
    """A field that a word processor keeps up to date, with what it shows now."""
    _field_part(line, "begin")
    _field_code(line, code)
    _field_part(line, "separate")
    run = line.add_run(shown)
    if size:
        _quiet(run, size)
    _field_part(line, "end")


def _field_part(line: Line, kind: str) -> None:
    part = OxmlElement("w:fldChar")
    part.set(qn("w:fldCharType"), kind)
    line.add_run()._r.append(part)


def _field_code(line: Line, code: str) -> None:
    text = OxmlElement("w:instrText")
    text.set(qn("xml:space"), "preserve")
    text.text = f" {code} "
    line.add_run()._r.append(text)


def _stable(content: bytes) -> bytes:
    """The same package with a fixed time of each part, so that equal documents are equal files."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = zipfile.ZipInfo(name, _ZIPPED)
            part.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(part, old.read(name))
    return out.getvalue()
