"""A report as documents of neutral blocks, so that a renderer only maps blocks to its form.

A report is three documents: the page, its technical appendix, and, where the analysis gives one, a follow-up
sheet. What stands in which is decided here, once, for all forms; so are the numbers of tables and figures,
which run through page and appendix. No sentence stands in two of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import TypeAlias

import pandas as pd

from mentorstats.caution import CAUTION
from mentorstats.report.columns import Column, counted, group, text
from mentorstats.report.findings import Placed, Summary
from mentorstats.report.model import Figure, Provenance, Report, Section, Table, Verdict
from mentorstats.report.numbers import number
from mentorstats.sources import Source, source

PAGE, APPENDIX, FOLLOW_UP = "", "-appendix", "-follow-up"
INSIDE = "For use inside the programme only."
NOT_FOR_PASSING_ON = "For use inside the programme only; not for passing on."
SUMMARY = "summary"
_CHECKSUM = 12  # hex digits of a checksum that are printed


@dataclass(frozen=True, slots=True)
class Link:
    """Words that lead to a key of this document or another one of the report."""

    text: str
    key: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 2 is a section's, 3 a part of it; ``key`` is its address, ``number`` the section's."""

    text: str
    level: int = 2
    key: str = ""
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph of plain text, and a link after it; ``role`` is answer, text, method, note or caution."""

    text: str
    role: str = "text"
    verdict: Verdict | None = None
    link: Link | None = None


@dataclass(frozen=True, slots=True)
class FindingBlock:
    """One finding, with its link to the section."""

    placed: Placed
    position: int


@dataclass(frozen=True, slots=True)
class LinkList:
    """A line that lists places: "Looked at, and nothing needed: …"."""

    lead: str
    links: tuple[Link, ...]
    between: str = ", "


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table with its number, and the sources of its own."""

    table: Table
    number: int | None = None
    sources: tuple[Link, ...] = ()


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """A figure with its number and the data of its table; ``twin`` leads to that table."""

    figure: Figure
    number: int
    twin: Link
    data: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Bibliography:
    """Full references, each with its address."""

    sources: dict[str, Source]


Block: TypeAlias = Heading | Paragraph | FindingBlock | LinkList | TableBlock | FigureBlock | Bibliography


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """One file of a report, whatever its form.

    ``suffix`` is what its name has after the report's; ``elsewhere`` says in which other document a key is
    found, by that one's suffix.
    """

    report: str
    suffix: str
    title: str
    subtitle: str
    notice: str
    caution: str
    version: str
    contents: tuple[Link, ...]
    blocks: tuple[Block, ...]
    elsewhere: dict[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Name of the file without its ending."""
        return f"{self.report}{self.suffix}"

    def keys(self) -> set[str]:
        """Addresses that stand in this document."""
        return set(_keys(self.blocks))


def documents(report: Report, found: Summary) -> tuple[Document, ...]:
    """Lay a report out as documents.

    Raises
    ------
    ArgumentError
        The report cites a key that the bibliography lacks.
    """
    numbering = _Numbering.of(report)
    drafts = [
        (PAGE, report.title, INSIDE, list(_page(report, found, numbering))),
        (APPENDIX, f"{report.title}: technical appendix", INSIDE, list(_appendix(report, found, numbering))),
    ]
    if report.follow_up is not None:
        sheet = list(_follow_up(report.follow_up))
        drafts.append((FOLLOW_UP, report.follow_up.question, NOT_FOR_PASSING_ON, sheet))
    places = {key: suffix for suffix, _, _, blocks in reversed(drafts) for key in _keys(blocks)}
    return tuple(
        Document(
            report=report.name,
            suffix=suffix,
            title=title,
            subtitle=report.period,
            notice=notice,
            caution=CAUTION,
            version=report.provenance.versions["mentorstats"],
            contents=tuple(Link(b.text, b.key) for b in blocks if isinstance(b, Heading) and b.number),
            blocks=tuple(blocks),
            elsewhere=places,
        )
        for suffix, title, notice, blocks in drafts
    )


@dataclass(frozen=True, slots=True)
class _Numbering:
    """Numbers of sections, tables and figures, by key."""

    sections: dict[str, int]
    tables: dict[str, int]
    figures: dict[str, int]

    @staticmethod
    def of(report: Report) -> _Numbering:
        """Number sections in their order; tables and figures of the page before those of the appendix."""
        assessed = [section for section in report.sections if section.assessed]
        answered = [section for section in assessed if section.answer]
        tables = [(table.key, table.key in section.main) for section in assessed for table in section.tables]
        figures = [
            (figure.key, figure.key in {*section.main, report.picture})
            for section in assessed
            for figure in section.figures
        ]

        def numbered(keys: Sequence[tuple[str, bool]]) -> dict[str, int]:
            ordered = [key for key, main in keys if main] + [key for key, main in keys if not main]
            return {key: place for place, key in enumerate(ordered, start=1)}

        return _Numbering(
            {section.key: place for place, section in enumerate(answered, start=1)},
            numbered(tables),
            numbered(figures),
        )


def _page(report: Report, found: Summary, numbering: _Numbering) -> Iterator[Block]:
    yield from _opening(report, found, numbering)
    answered = [section for section in report.sections if section.assessed and section.answer]
    for name, sections in groupby(answered, key=lambda section: section.part):
        if name:
            yield Heading(name, level=1)
        for section in sections:
            yield from _on_page(report, section, numbering)
    if found.missing:
        yield Heading("Not assessed", key="not-assessed")
        for section in found.missing:
            told = f"{section.question} {section.answer} This would need {section.needs}."
            yield Paragraph(told, role="missing")


def _opening(report: Report, found: Summary, numbering: _Numbering) -> Iterator[Block]:
    yield Heading("What to know first", key=SUMMARY)
    for position, placed in enumerate(found.first, start=1):
        yield FindingBlock(placed, position)
    if not found.first:
        yield Paragraph("Nothing in these records asks for action, and nothing stands out.", role="answer")
    for section in report.sections:
        for figure in section.figures:
            if figure.key == report.picture:
                yield _figure(figure, section, numbering)
    if found.quiet:
        yield LinkList("Looked at, nothing needed", tuple(Link(s.name, s.key) for s in found.quiet))
    if found.unclear:
        yield LinkList("Looked at, no clear answer", tuple(Link(s.name, s.key) for s in found.unclear))
    if found.others:
        yield LinkList(
            "Also found",
            tuple(Link(placed.finding.what.rstrip("."), placed.section) for placed in found.others),
            between="; ",
        )
    yield Paragraph(
        "Methods, all tables, sources and provenance:",
        role="note",
        link=Link("technical appendix", "appendix"),
    )
    if report.follow_up is not None:
        yield Paragraph("Raters flagged, one by one:", role="note", link=Link("follow-up sheet", "follow-up"))


def _on_page(report: Report, section: Section, numbering: _Numbering) -> Iterator[Block]:
    yield Heading(section.question, key=section.key, number=numbering.sections[section.key])
    yield Paragraph(section.answer, role="answer", verdict=section.verdict)
    for figure in section.figures:
        if figure.key in section.main and figure.key != report.picture:
            yield _figure(figure, section, numbering)
    for table in section.tables:
        if table.key in section.main:
            yield TableBlock(table, numbering.tables[table.key])
    if _has_more(section):
        yield Paragraph("", role="more", link=Link("Details and method", f"{section.key}-details"))


def _has_more(section: Section) -> bool:
    beyond = {*(t.key for t in section.tables), *(f.key for f in section.figures)} - set(section.main)
    rest = section.detail or section.method or section.references or section.caution or section.defect
    return bool(beyond or rest)


def _appendix(report: Report, found: Summary, numbering: _Numbering) -> Iterator[Block]:
    cited = {key: source(key) for key in report.cited()}
    yield Paragraph("What stands behind each answer of the report.", link=Link("Back to the report", SUMMARY))
    yield Heading("How to read this appendix", key="appendix")
    yield from (Paragraph(paragraph) for paragraph in _READING)
    for section in report.sections:
        if not section.assessed or not _has_more(section):
            continue
        number_ = numbering.sections.get(section.key)
        yield Heading(section.question, key=f"{section.key}-details", number=number_)
        if number_:
            yield Paragraph("", role="more", link=Link("The answer", section.key))
        if section.defect:
            yield Paragraph(f"A defect of mentorstats: {section.defect}", role="note")
        yield from (Paragraph(paragraph) for paragraph in section.detail)
        for figure in section.figures:
            if figure.key not in section.main and figure.key != report.picture:
                yield _figure(figure, section, numbering)
        for table in section.tables:
            if table.key not in section.main:
                yield TableBlock(table, numbering.tables[table.key], _links(table.references, cited))
        yield from (Paragraph(paragraph, role="caution") for paragraph in section.caution)
        yield from (Paragraph(paragraph, role="method") for paragraph in section.method)
        if section.references:
            yield LinkList("Sources", _links(section.references, cited))
    yield Heading("Sources", key="sources")
    checked = sum(bool(item.checked) for item in cited.values())
    yield Paragraph(
        f"{checked} of {len(cited)} references were checked against the publication, its publisher's page or "
        "published reference lists.",
        role="note",
    )
    yield Bibliography(dict(sorted(cited.items(), key=lambda item: item[1].full)))
    yield from _provenance(report.provenance, cited)


_READING = (
    "An interval in square brackets follows each estimate; what it leaves open, the records leave open. Its "
    "method is named in the section.",
    "A letter beside a value leads to a note under the table. “Not shown” means that the group is smaller "
    "than the programme's minimum; “not assessed” means that no judgement was made.",
)


def _links(keys: Iterable[str], cited: dict[str, Source]) -> tuple[Link, ...]:
    return tuple(Link(cited[key].short, f"source-{key}") for key in keys)


def _figure(figure: Figure, section: Section, numbering: _Numbering) -> FigureBlock:
    twin = Link(f"The same numbers: table {numbering.tables[figure.table]}", figure.table)
    return FigureBlock(figure, numbering.figures[figure.key], twin, _data(figure, section))


def _data(figure: Figure, section: Section) -> pd.DataFrame:
    return next(table.data for table in section.tables if table.key == figure.table)


def _follow_up(sheet: Section) -> Iterator[Block]:
    yield Heading(sheet.question, key="follow-up")
    yield Paragraph(sheet.answer, role="answer")
    yield from (Paragraph(paragraph) for paragraph in sheet.detail)
    for position, figure in enumerate(sheet.figures, start=1):
        twin = Link("The same numbers", figure.table)
        yield FigureBlock(figure, position, twin, _data(figure, sheet))
    yield from (TableBlock(table, position) for position, table in enumerate(sheet.tables, start=1))
    yield from (Paragraph(paragraph, role="caution") for paragraph in sheet.caution)
    yield from (Paragraph(paragraph, role="method") for paragraph in sheet.method)
    yield Paragraph("", role="more", link=Link("Back to the report", SUMMARY))


def _provenance(of: Provenance, cited: dict[str, Source]) -> Iterator[Block]:
    yield Heading("Where this report comes from", key="provenance")
    yield TableBlock(_pairs("run", "The run", _run(of)))
    yield TableBlock(_inputs(of))
    yield TableBlock(_rules(of, cited))


def _pairs(key: str, title: str, rows: list[tuple[str, str]]) -> Table:
    data = pd.DataFrame(rows, columns=["what", "value"])
    return Table(key=key, title=title, data=data, columns=(group("what", "What"), text("value", "Value")))


def _run(of: Provenance) -> list[tuple[str, str]]:
    seeds = ", ".join(f"{what} {seed}" for what, seed in of.seeds.items())
    settings = [(f"{file} (SHA-256)", checksum[:_CHECKSUM]) for file, checksum in of.settings.items()]
    return [
        ("Day of the run", of.date or "not stated"),
        ("Seeds", seeds or "nothing was drawn at random"),
        *settings,
        ("Software", ", ".join(f"{what} {version}" for what, version in of.versions.items())),
    ]


def _inputs(of: Provenance) -> Table:
    data = of.inputs.assign(sha256=of.inputs["sha256"].astype("str").str[:_CHECKSUM])
    return Table(
        key="inputs",
        title="Files that were read",
        data=data,
        columns=(
            group("file", "File"),
            text("sheet", "Sheet"),
            text("table", "Feeds"),
            counted("rows_read", "Read", "rows"),
            counted("rows_kept", "Kept", "rows"),
            counted("rows_set_aside", "Set aside", "rows"),
            text("sha256", "Checksum (SHA-256, first digits)"),
        ),
    )


def _rules(of: Provenance, cited: dict[str, Source]) -> Table:
    rows = [
        (
            rule.id,
            rule.choice or f"{rule.inequality} {number(rule.value, 'plain')}",
            rule.unit,
            rule.meaning,
            rule.kind,
            rule.effective_from.isoformat(),
            cited[rule.source].short if rule.source in cited else rule.source,
        )
        for rule in of.rules
    ]
    names = ("rule", "threshold", "unit", "meaning", "kind", "effective_from", "source")
    heads = ("Rule", "Threshold", "Unit", "Meaning", "Kind", "In force from", "Source")
    columns: list[Column] = [group(names[0], heads[0])]
    columns += [text(name, head) for name, head in zip(names[1:], heads[1:], strict=True)]
    return Table(
        key="rules",
        title="Rules of the policy that were used",
        data=pd.DataFrame(rows, columns=list(names)),
        columns=tuple(columns),
    )


def _keys(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Heading(key=key) if key:
                yield key
            case TableBlock(table=table):
                yield table.key
            case FigureBlock(figure=figure):
                yield figure.key
            case Bibliography(sources=sources):
                yield from (f"source-{key}" for key in sources)
