"""A report as a document to edit: headings, captions, alternatives, links that lead somewhere."""

import io
import itertools
import re
import zipfile

import docx
import pytest
from docx.oxml.ns import qn

from mentorstats.report.blocks import FigureBlock, Heading, TableBlock, documents
from mentorstats.report.findings import summary
from mentorstats.report.model import Concern
from mentorstats.report.render import form
from mentorstats.report.render.document import bookmark_name


@pytest.fixture(scope="module")
def laid_out(analysed):
    return documents(analysed, summary(analysed.sections, dict.fromkeys(Concern, 1.0)))


@pytest.fixture(scope="module")
def files(laid_out):
    return dict(form("document").files(laid_out))


@pytest.fixture(scope="module")
def opened(files):
    return docx.Document(io.BytesIO(files["rater-calibration.docx"]))


def _blocks(laid_out, kind):
    return [block for one in laid_out[:2] for block in one.blocks if isinstance(block, kind)]


def test_report_and_appendix_make_one_document_and_the_follow_up_sheet_its_own(files):
    assert list(files) == ["rater-calibration.docx", "rater-calibration-follow-up.docx"]


def test_every_heading_is_a_heading_and_none_skips_a_level(opened, laid_out):
    found = [(p.style.name, p.text) for p in opened.paragraphs if p.style.name.startswith("Heading")]
    asked = [block.text for block in _blocks(laid_out, Heading)]
    assert all(any(text.endswith(wanted) for _, text in found) for wanted in asked)
    levels = [int(name[-1]) for name, _ in found]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_every_table_has_its_caption_and_a_heading_row_that_repeats(opened, laid_out):
    blocks = _blocks(laid_out, TableBlock)
    assert len(opened.tables) == len(blocks)
    captions = [p.text for p in opened.paragraphs if p.style.name == "Caption"]
    for block in blocks:
        assert any(caption.endswith(block.table.title) for caption in captions)
    for table in opened.tables:
        assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None


def test_numbers_of_tables_count_up_as_a_word_processor_would(opened):
    captions = [p.text for p in opened.paragraphs if p.style.name == "Caption"]
    for kind in ("Table", "Figure"):
        numbers = [int(m[1]) for m in (re.search(rf"^{kind} .*?(\d+)\. ", text) for text in captions) if m]
        assert numbers == list(range(1, len(numbers) + 1))


def test_every_picture_has_its_words(opened, laid_out):
    pictures = [one._inline.docPr.get("descr") for one in opened.inline_shapes]
    assert pictures == [block.figure.alt for block in _blocks(laid_out, FigureBlock)]


def test_every_link_leads_to_a_place_in_the_file(files):
    with zipfile.ZipFile(io.BytesIO(files["rater-calibration.docx"])) as parts:
        text = parts.read("word/document.xml").decode()
    places = re.findall(r'w:bookmarkStart [^>]*w:name="([^"]+)"', text)
    assert len(places) == len(set(places))
    assert set(re.findall(r'w:anchor="([^"]+)"', text)) <= set(places)


def test_the_caution_stands_at_the_top_and_on_every_page(opened, laid_out):
    assert laid_out[0].caution in [p.text for p in opened.paragraphs[:5]]
    assert laid_out[0].caution in opened.sections[0].footer.paragraphs[0].text


def test_the_same_report_gives_the_same_bytes(files, laid_out):
    assert dict(form("document").files(laid_out)) == files


def test_what_data_say_is_no_markup(make_long, make_records, shipped, tmp_path):
    from mentorstats.report import run

    long = make_long().replace({"site": {"north": "<w:t>&\N{RIGHT-TO-LEFT OVERRIDE}"}})
    made = run.find("rater-calibration")(make_records(long), shipped)
    (path, *_) = run.write(made, shipped, tmp_path, [form("document")]).paths
    assert docx.Document(str(path)).tables


def test_names_of_places_are_such_as_a_word_processor_takes():
    names = [bookmark_name(key) for key in ("a-b", "x" * 60, "x" * 61, "é")]
    assert all(re.fullmatch(r"[A-Za-z]\w{0,39}", name, flags=re.ASCII) for name in names)
    assert len(set(names)) == len(names)
