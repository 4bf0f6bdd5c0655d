"""A report as one HTML file that stands alone: no script, no font, no picture from elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from mentorstats.report.figures import drawing
from mentorstats.report.model import Report, Section, Table
from mentorstats.report.numbers import number
from mentorstats.report.render.view import View, view
from mentorstats.sources import Source, source

NOTICE = "For use inside the programme only. Results of small groups can still be worked out from this page."
_CHECKSUM = 12  # hex digits of a checksum that are printed


@dataclass(frozen=True, slots=True)
class _Part:
    """A section with its tables in text and its figures drawn."""

    number: int
    section: Section
    tables: list[tuple[Table, View]]
    drawings: dict[str, Markup]
    opens: bool  # a new part of the report


def render(report: Report) -> bytes:
    """Render a report as HTML in UTF-8; the same report gives the same bytes.

    Raises
    ------
    ArgumentError
        The report cites a key that the bibliography lacks.
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters["groupby_in_order"] = _in_order
    cited: dict[str, Source] = {key: source(key) for key in report.cited()}
    page = environment.get_template("page.html.j2").render(
        report=report,
        parts=_parts(report),
        sources=dict(sorted(cited.items(), key=lambda item: item[1].full)),
        inputs=_inputs(report),
        notice=NOTICE,
        digits=_CHECKSUM,
        number=number,
    )
    return page.encode("utf-8")


def _parts(report: Report) -> list[_Part]:
    parts, before = [], ""
    for number_, section in enumerate(report.sections, start=1):
        tables = [(table, view(table)) for table in section.tables]
        drawn = {figure.key: Markup(drawing.svg(figure)) for figure in section.figures}
        parts.append(_Part(number_, section, tables, drawn, opens=section.part not in ("", before)))
        before = section.part
    return parts


def _in_order(parts: Iterable[_Part]) -> list[tuple[str, list[_Part]]]:
    """Sections of one part of the report together, in the order of the page."""
    return [(name, list(items)) for name, items in groupby(parts, key=lambda part: part.section.part)]


def _inputs(report: Report) -> list[dict[str, str]]:
    """Input files as text, with the first digits of their checksums."""
    rows = report.provenance.inputs.to_dict(orient="records")
    return [
        {
            "file": str(row["file"]),
            "sheet": str(row["sheet"] or ""),
            "table": str(row["table"] or ""),
            "read": number(float(row["rows_read"]), "rows"),
            "kept": number(float(row["rows_kept"]), "rows"),
            "aside": number(float(row["rows_set_aside"]), "rows"),
            "checksum": str(row["sha256"])[:_CHECKSUM],
        }
        for row in rows
    ]
