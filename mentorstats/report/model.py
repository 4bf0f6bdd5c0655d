"""What a report is: findings, and sections of tables and figures, unrounded; renderers turn it into bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from mentorstats.errors import AnalysisError
from mentorstats.estimate import Status, has_value
from mentorstats.policy import NO_SOURCE
from mentorstats.report.columns import Column, Kind

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from mentorstats.policy import Rule


class Verdict(StrEnum):
    """A judgement in words; each word has a ring in one ink, filled, half or open."""

    YES = "yes"
    NO = "no"
    NOT_CLEAR = "not clear"
    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "undecided"
    NOT_ASSESSED = "not assessed"

    @property
    def ring(self) -> str:
        """How the ring is drawn: filled, half or open."""
        if self in (Verdict.YES, Verdict.MET):
            return "filled"
        return "open" if self in (Verdict.NO, Verdict.NOT_MET) else "half"


class Concern(StrEnum):
    """What a finding is about; how heavily it weighs is a rule of the policy, ``finding_`` and this name."""

    RECORDS_UNUSABLE = "records_unusable"
    NOT_COMPARABLE = "not_comparable"
    AGREEMENT = "agreement"
    TOO_FEW_VISITS = "too_few_visits"
    RATERS_FLAGGED = "raters_flagged"
    FAIRNESS = "fairness"
    GROUPS_DIFFER = "groups_differ"
    CERTIFICATION = "certification"
    MENTORING = "mentoring"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a reader should know first.

    Attributes
    ----------
    concern
        What it is about, which decides its weight.
    what
        What was found, one sentence, the number after its name.
    how_sure
        How sure that is, one sentence: the interval in words, what would be expected by chance.
    action
        What to do, one sentence in the imperative; nothing needs doing where it is empty, and the finding is
        a good one.
    concerns
        Whom or what it is about, a few words without codes of single people.
    speaks_for
        Keys of other sections that it speaks for too, so that none of them is said to need nothing.
    """

    concern: Concern
    what: str
    how_sure: str
    action: str = ""
    concerns: str = ""
    speaks_for: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Whether nothing needs doing."""
        return not self.action


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of results with what is needed to print them honestly.

    Attributes
    ----------
    key
        Name inside the report; also the address of the table.
    data
        Unrounded. Only the columns that are declared, and their companions, are shown.
    columns
        What is shown, in this order; see `mentorstats.report.columns`.
    people
        Whether rows are about single people by code: the caution then stands under the table.
    lines
        Which rows add up to something that the table, its note or the answer beside it tells: columns whose
        values name the rows of one line, ``()`` for the whole table. One row of a line is never hidden
        alone.
    total
        Column that is true in rows which are the sum of the others of their line; none where it is empty.
    """

    key: str
    title: str
    data: pd.DataFrame
    columns: tuple[Column, ...]
    note: str = ""
    references: tuple[str, ...] = ()
    people: bool = False
    lines: tuple[tuple[str, ...], ...] = ()
    total: str = ""

    def __post_init__(self) -> None:
        named = [column.name for column in self.columns] + [name for line in self.lines for name in line]
        absent = [name for name in [*named, *([self.total] if self.total else [])] if name not in self.data]
        if absent:
            raise AnalysisError(f"no column {', '.join(absent)}", where=f"table {self.key!r}")

    def of(self, *kinds: Kind) -> tuple[Column, ...]:
        """Return the columns of these kinds."""
        return tuple(column for column in self.columns if column.kind in kinds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing, its words for who cannot see it, and the key of the table with the same numbers.

    ``draw`` is given axes and the data of that table as they are shown, so that a figure never has a number
    that its table hides; ``alt`` must not have one either.
    """

    key: str
    title: str
    draw: Callable[[Axes, pd.DataFrame], object]
    alt: str
    table: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One question and its answer, with the evidence.

    Attributes
    ----------
    name
        What the section is about in a few words without a verb, for lists: "drift over weeks".
    answer
        One or two sentences for the page; what else is to be said in words stands in ``detail``. A section
        without an answer is a note and stands in the appendix alone.
    detail, method, caution
        Paragraphs of plain text for the appendix.
    tables, figures
        The evidence; ``main`` has the keys of at most one table and one figure that the page shows, all
        others stand in the appendix.
    needs
        What record would fill the section, where the records cannot: "a table key_ratings".
    part
        The part of the report that it belongs to, where that has any.
    defect
        What went wrong where the section could not be made; for the appendix.
    """

    key: str
    name: str
    question: str
    answer: str = ""
    detail: tuple[str, ...] = ()
    main: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    figures: tuple[Figure, ...] = ()
    findings: tuple[Finding, ...] = ()
    method: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    caution: tuple[str, ...] = ()
    status: Status = Status.OK
    verdict: Verdict | None = None
    needs: str = ""
    part: str = ""
    defect: str = ""

    def __post_init__(self) -> None:
        where = f"section {self.key!r}"
        tables = [table.key for table in self.tables]
        figures = [figure.key for figure in self.figures]
        for figure in self.figures:
            if figure.table not in tables:
                raise AnalysisError(
                    f"figure {figure.key!r} has no table {figure.table!r} beside it",
                    where=where,
                    remedy="Give the section a table with the numbers of the figure.",
                )
            if not figure.alt.strip():
                raise AnalysisError(f"figure {figure.key!r} has no text alternative", where=where)
        unknown = sorted(set(self.main) - {*tables, *figures})
        if unknown:
            raise AnalysisError(f"no table or figure {', '.join(unknown)}", where=where)
        if sum(key in tables for key in self.main) > 1 or sum(key in figures for key in self.main) > 1:
            raise AnalysisError("more than one table or figure for the page", where=where)

    @property
    def assessed(self) -> bool:
        """Whether the records allow an answer at all."""
        return not self.needs

    @property
    def needs_nothing(self) -> bool:
        """Whether the section was looked at and nothing needs doing."""
        return self._asks_for_nothing and not self._open

    @property
    def unclear(self) -> bool:
        """Whether the section was looked at without a clear answer, and asks for nothing."""
        return self._asks_for_nothing and self._open

    @property
    def _asks_for_nothing(self) -> bool:
        looked = self.assessed and bool(self.answer) and not self.defect
        return looked and all(finding.good for finding in self.findings)

    @property
    def _open(self) -> bool:
        doubtful = self.verdict is not None and self.verdict.ring != "filled"
        return doubtful or not has_value(self.status)

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
    """Everything a renderer needs.

    Attributes
    ----------
    picture
        Key of the figure that carries the main message and stands with the findings; none where empty.
    follow_up
        What stands in a file of its own, for who acts on it inside the programme.
    """

    name: str
    title: str
    period: str
    sections: tuple[Section, ...]
    provenance: Provenance
    picture: str = ""
    follow_up: Section | None = None

    def __post_init__(self) -> None:
        keys = [section.key for section in self.sections]
        keys += [table.key for section in self.sections for table in section.tables]
        keys += [figure.key for section in self.sections for figure in section.figures]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            raise AnalysisError(f"key {', '.join(twice)} is used twice", where=f"report {self.name!r}")

    def cited(self) -> list[str]:
        """Keys of the bibliography cited anywhere, once each, in order of first use."""
        rules = [rule.source for rule in self.provenance.rules if rule.source != NO_SOURCE]
        return list(dict.fromkeys([*(key for section in self.sections for key in section.cited()), *rules]))
