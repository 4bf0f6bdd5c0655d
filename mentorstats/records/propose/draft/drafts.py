"""What a proposal is made of: guesses with a confidence, blocks of sources and scales, what is left open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from mentorstats.records.propose.assign import UNSURE

BEFORE = "as before"  # the remark on what an older mapping said

Ask = Callable[[str, Sequence[str]], str | None]
"""Asks one question with its possible answers; returns one of them, or None where nobody answers."""


@dataclass(slots=True)
class Guess:
    """One value of the mapping: what is written, how sure it is from 0 to 1, and a remark."""

    value: Any
    sure: float
    note: str = ""

    @property
    def unsure(self) -> bool:
        """Whether somebody has to look at it."""
        return self.sure < UNSURE


@dataclass(slots=True)
class Draft:
    """One ``[[source]]`` block; ``plain`` holds keys that are no guess, such as the file."""

    table: str
    plain: dict[str, Any]
    columns: dict[str, Guess] = field(default_factory=dict)
    constants: dict[str, Guess] = field(default_factory=dict)
    criteria: dict[str, Guess] = field(default_factory=dict)
    raters: list[Draft] = field(default_factory=list)
    dates: Guess | None = None
    levels: dict[str, str] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    unused: list[tuple[str, str]] = field(default_factory=list)

    @property
    def where(self) -> str:
        """File and sheet, as a person names them."""
        sheet = self.plain.get("sheet")
        return f"{self.plain['file']}, sheet {sheet!r}" if sheet else str(self.plain["file"])

    def guesses(self) -> list[tuple[str, Guess]]:
        """All guesses of the block, with what each is called."""
        parts = [(f"columns.{name}", guess) for name, guess in self.columns.items()]
        parts += [(f"constants.{name}", guess) for name, guess in self.constants.items()]
        parts += [(f"criteria.{name}", guess) for name, guess in self.criteria.items()]
        parts += [("dates", self.dates)] if self.dates else []
        for rater in self.raters:
            parts += rater.guesses()
        return parts


@dataclass(slots=True)
class ScaleDraft:
    """One ``[[scale]]`` block; ``levels`` is a guess whose value is a list, lowest first."""

    rubric: str
    version: str
    levels: Guess
    criteria: list[str]
    labels: list[str] = field(default_factory=list)
    titles: dict[str, str] = field(default_factory=dict)
    weights: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Drafts:
    """A whole proposal before it is written."""

    sources: list[Draft] = field(default_factory=list)
    scales: list[ScaleDraft] = field(default_factory=list)
    opened: list[str] = field(default_factory=list)
    unread: list[tuple[str, str]] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)
    identities: dict[str, Any] = field(default_factory=dict)
    names: bool = False
