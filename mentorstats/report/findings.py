"""What a reader should know first: findings of all sections in the order of their weight."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from mentorstats.policy import Policy
from mentorstats.report.model import Concern, Finding, Section

FIRST = 5  # as many as a page opens with


@dataclass(frozen=True, slots=True)
class Placed:
    """A finding with the key of the section that it comes from."""

    finding: Finding
    section: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What the page opens with.

    Attributes
    ----------
    first
        At most five findings, heaviest first: those that ask for something, then good ones.
    others
        Findings for which there was no room.
    quiet
        Sections that were looked at and need nothing.
    unclear
        Sections that were looked at without a clear answer and ask for nothing.
    missing
        Sections that the records cannot fill.
    """

    first: tuple[Placed, ...]
    others: tuple[Placed, ...]
    quiet: tuple[Section, ...]
    unclear: tuple[Section, ...]
    missing: tuple[Section, ...]


def weights(policy: Policy) -> dict[Concern, float]:
    """Weight of each concern, from the policy's rows ``finding_…``."""
    return {concern: policy.value(f"finding_{concern.value}") for concern in Concern}


def summary(sections: Iterable[Section], weight: dict[Concern, float]) -> Summary:
    """Choose what the page opens with.

    Findings that ask for something stand before good ones, by weight; equal weights keep the order of the
    sections. A section is quiet where none of its findings asks for anything, none stands above, and no
    finding of another section speaks for it.
    """
    asked = list(sections)
    placed = [Placed(finding, section.key) for section in asked for finding in section.findings]
    ordered = sorted(placed, key=lambda item: (item.finding.good, -weight[item.finding.concern]))
    first = tuple(ordered[:FIRST])
    named = {item.section for item in first}
    named |= {key for item in placed if not item.finding.good for key in item.finding.speaks_for}
    return Summary(
        first=first,
        others=tuple(ordered[FIRST:]),
        quiet=tuple(s for s in asked if s.needs_nothing and s.key not in named),
        unclear=tuple(s for s in asked if s.unclear and s.key not in named),
        missing=tuple(section for section in asked if not section.assessed),
    )
