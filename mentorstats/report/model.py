"""What a report is: sections of tables and figures, unrounded; renderers turn it into bytes.

A statistic column ``x`` of a table may have companions ``x_low``, ``x_high`` (bounds) and
``x_status`` (a status of the closed list) in the same data; they are shown together with it. A
group column ``x`` may have ``x_words``, what its code stands for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from mentorstats.errors import AnalysisError
from mentorstats.estimate import Status
from mentorstats.sources import SOURCES

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from mentorstats.policy import Rule

BOUNDS = ("_low", "_high")
STATUS = "_status"
WORDS = "_words"


class Verdict(StrEnum):
    """A judgement in words; each word has a ring in one ink, filled, half or open."""

    YES = "yes"
    NO = "no"
    NOT_CLEAR = "not clear"
    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "undecided"
    TOO_FEW = "too few to say"

    @property
    def ring(self) -> str:
        """How the ring is drawn: filled, half or open."""
        if self in (Verdict.YES, Verdict.MET):
            return "filled"
        return "open" if self in (Verdict.NO, Verdict.NOT_MET) else "half"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of results with what is needed to print them honestly.

    Attributes
    ----------
    key
        Name inside the report; also the address of the table on the page.
    data
        Unrounded. Only the columns of ``labels``, and companions of statistic columns, are shown.
    labels
        Column to heading, in the order of the page.
    units
        Column to unit: one that ``mentorstats.report.numbers`` knows.
    group_columns
        Columns that say which group a row is about.
    count_columns
        Columns of counts; those in ``people`` decide whether the row may be shown.
    statistic_columns
        Columns of results, blanked where the group is too small.
    lines
        Which rows add up to something that the table, its note or the answer beside it tells: columns whose
        values name the rows of one line, ``()`` for the whole table. One row of a line is never hidden
        alone.
    total
        Column that is true in rows which are the sum of the others of their line; none where it is empty.
    folded
        Whether a page shows the title alone until a reader asks for more; what only a few look up.
    """

    key: str
    title: str
    data: pd.DataFrame
    labels: Mapping[str, str]
    units: Mapping[str, str] = field(default_factory=dict)
    group_columns: tuple[str, ...] = ()
    count_columns: tuple[str, ...] = ()
    statistic_columns: tuple[str, ...] = ()
    note: str = ""
    references: tuple[str, ...] = ()
    folded: bool = False
    lines: tuple[tuple[str, ...], ...] = ()
    total: str = ""

    def __post_init__(self) -> None:
        named = [*self.labels, *self.group_columns, *self.count_columns, *self.statistic_columns]
        named += [name for line in self.lines for name in line] + ([self.total] if self.total else [])
        absent = [name for name in named if name not in self.data.columns]
        if absent:
            raise AnalysisError(f"no column {', '.join(absent)}", where=f"table {self.key!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing, its words for who cannot see it, and the key of the table with the same numbers."""

    key: str
    title: str
    draw: Callable[[Axes], None]
    alt: str
    table: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One question and its answer in a sentence, with the evidence.

    ``method`` and ``caution`` are paragraphs of plain text. A section that the records cannot
    fill has a status other than ok and says in its answer what record would fill it. ``part`` is the part
    of the report that it belongs to, where that has any.
    """

    key: str
    question: str
    answer: str
    tables: tuple[Table, ...] = ()
    figures: tuple[Figure, ...] = ()
    method: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    caution: tuple[str, ...] = ()
    status: Status = Status.OK
    verdict: Verdict | None = None
    part: str = ""

    def __post_init__(self) -> None:
        tables = {table.key for table in self.tables}
        for figure in self.figures:
            if figure.table not in tables:
                raise AnalysisError(
                    f"figure {figure.key!r} has no table {figure.table!r} beside it",
                    where=f"section {self.key!r}",
                    remedy="Give the section a table with the numbers of the figure.",
                )
            if not figure.alt.strip():
                raise AnalysisError(f"figure {figure.key!r} has no text alternative")

    def cited(self) -> Iterable[str]:
        """Keys of the bibliography that the section and its tables cite."""
        yield from self.references
        for table in self.tables:
            yield from table.references


def part(name: str, *sections: Section) -> tuple[Section, ...]:
    """Put sections together as one part of a report."""
    return tuple(replace(section, part=name) for section in sections)


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Where a report comes from: enough to make it again.

    ``inputs`` has the columns of ``Records.sources``; ``versions`` is library to version;
    ``settings`` is mapping or policy file to its SHA-256; ``date`` is the day of the run (ISO 8601).
    """

    versions: Mapping[str, str]
    inputs: pd.DataFrame
    seeds: Mapping[str, int]
    rules: tuple[Rule, ...]
    settings: Mapping[str, str] = field(default_factory=dict)
    date: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything a renderer needs."""

    name: str
    title: str
    period: str
    sections: tuple[Section, ...]
    provenance: Provenance

    def __post_init__(self) -> None:
        keys = [section.key for section in self.sections]
        keys += [table.key for section in self.sections for table in section.tables]
        keys += [figure.key for section in self.sections for figure in section.figures]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            raise AnalysisError(f"key {', '.join(twice)} is used twice", where=f"report {self.name!r}")

    def cited(self) -> list[str]:
        """Keys of the bibliography cited anywhere, once each, in order of first use."""
        rules = [rule.source for rule in self.provenance.rules if rule.source in SOURCES]
        return list(dict.fromkeys([*(key for section in self.sections for key in section.cited()), *rules]))
