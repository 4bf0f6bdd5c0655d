"""A report as three documents: each thing once, numbers that run on, links that lead somewhere."""

import re

import pandas as pd
import pytest

from mentorstats.report import blocks
from mentorstats.report.blocks import APPENDIX, FOLLOW_UP, PAGE, documents
from mentorstats.report.columns import counted, group
from mentorstats.report.findings import Summary, summary
from mentorstats.report.model import Concern, Figure, Finding, Provenance, Report, Section, Table, part

INPUTS = pd.DataFrame(
    columns=["file", "sheet", "table", "sha256", "rows_read", "rows_kept", "rows_set_aside"]
)
FROM = Provenance(versions={"mentorstats": "0"}, inputs=INPUTS, seeds={}, rules=())
WEIGHT = dict.fromkeys(Concern, 1.0)


def table(key):
    data = pd.DataFrame({"site": ["Moss"], "n": [12]})
    return Table(key=key, title=f"Table {key}", data=data, columns=(group("site", "Site"), counted("n", "N")))


def figure(key, twin):
    return Figure(key=key, title=key, draw=lambda axes, data: None, alt="Words", table=twin)


def report(**more):
    act = Finding(concern=Concern.AGREEMENT, what="Low.", how_sure="Sure.", action="Act.")
    sections = (
        *part(
            "First",
            Section(
                key="a",
                name="a",
                question="A?",
                answer="Answer a.",
                detail=("Detail a.",),
                main=("a2",),
                tables=(table("a1"), table("a2")),
                figures=(figure("fa", "a1"),),
                findings=(act,),
                references=("cohen_1960",),
            ),
            Section(key="b", name="b", question="B?", answer="Answer b."),
        ),
        *part("Second", Section(key="c", name="c", question="C?", answer="None.", needs="a table c")),
        *part("Notes", Section(key="d", name="d", question="D?", detail=("Note d.",))),
    )
    return Report(name="r", title="R", period="2026", sections=sections, provenance=FROM, **more)


def made(**more):
    whole = report(**more)
    return {d.suffix: d for d in documents(whole, summary(whole.sections, WEIGHT))}


def words(document):
    told = []
    for block in document.blocks:
        told += [getattr(block, "text", ""), getattr(getattr(block, "table", None), "title", "")]
    return [word for word in told if word]


def test_the_page_has_answers_and_the_appendix_the_rest() -> None:
    found = made()
    assert set(found) == {PAGE, APPENDIX}
    assert "Answer a." in words(found[PAGE])
    assert "Answer a." not in words(found[APPENDIX])
    assert "Detail a." in words(found[APPENDIX])
    assert "Table a2" in words(found[PAGE])
    assert "Table a2" not in words(found[APPENDIX])
    assert "Table a1" in words(found[APPENDIX])
    assert "Note d." in words(found[APPENDIX])
    assert not any("D?" in text for text in words(found[PAGE]))


def test_no_answer_stands_in_two_documents() -> None:
    found = made()
    assert not set(words(found[PAGE])) & set(words(found[APPENDIX])) - {"A?", ""}


def test_a_section_that_the_records_cannot_fill_is_one_line_at_the_end() -> None:
    told = words(made()[PAGE])
    assert told[-1] == "C? None. This would need a table c."
    assert "Not assessed" in told


def test_numbers_run_through_page_and_appendix_and_parts_head_their_sections() -> None:
    found = made()
    numbers = {
        b.table.key: b.number for d in found.values() for b in d.blocks if isinstance(b, blocks.TableBlock)
    }
    assert (numbers["a2"], numbers["a1"]) == (1, 2)
    headings = [b for b in found[PAGE].blocks if isinstance(b, blocks.Heading)]
    assert [(b.text, b.number) for b in headings if b.number] == [("A?", 1), ("B?", 2)]
    assert [b.text for b in headings if b.level == 1] == ["First"]


def test_the_picture_stands_with_the_findings_and_nowhere_else() -> None:
    found = made(picture="fa")
    drawn = [d.suffix for d in found.values() for b in d.blocks if isinstance(b, blocks.FigureBlock)]
    assert drawn == [PAGE]
    first = [type(b).__name__ for b in found[PAGE].blocks[:3]]
    assert first == ["Heading", "FindingBlock", "FigureBlock"]


def test_a_follow_up_sheet_is_a_document_of_its_own_and_not_for_passing_on() -> None:
    sheet = Section(key="s", name="sheet", question="Sheet", answer="Look.", tables=(table("s1"),))
    found = made(follow_up=sheet)
    assert found[FOLLOW_UP].name == "r-follow-up"
    assert "not for passing on" in found[FOLLOW_UP].notice
    assert found[PAGE].elsewhere["s1"] == FOLLOW_UP


def test_nothing_found_is_said() -> None:
    whole = report()
    nothing = Summary(first=(), others=(), quiet=(), unclear=(), missing=())
    assert "Nothing in these records asks for action" in " ".join(words(documents(whole, nothing)[0]))


@pytest.fixture
def links(pages):
    """Return file and address of every link of the three documents."""
    found = []
    for suffix, html in pages.items():
        for href in re.findall(r'href="([^"]+)"', html):
            file, _, key = href.partition("#")
            found.append((file or f"rater-calibration{suffix}.html", key))
    return found


def test_every_link_between_the_documents_leads_somewhere(pages, links) -> None:
    ids = {
        f"rater-calibration{suffix}.html": set(re.findall(r'\bid="([^"]+)"', html))
        for suffix, html in pages.items()
    }
    assert {file for file, _ in links} == set(ids)
    assert [link for link in links if link[1] not in ids[link[0]]] == []


def test_every_section_links_back_to_the_summary(made_sections, html) -> None:
    assert html.count('href="#summary"') >= made_sections


@pytest.fixture
def made_sections(made):
    return sum(bool(section.answer and section.assessed and section.method) for section in made.sections)
