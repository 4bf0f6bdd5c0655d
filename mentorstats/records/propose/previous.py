"""What an older mapping of the same programme knew, and what is new since."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from mentorstats.records.propose.drafts import Drafts
from mentorstats.records.propose.tables import View

Old = dict[str, Any]


def known(path: Path) -> Old | None:
    return None


def reused(old: Old | None, views: list[View]) -> tuple[Drafts, list[View]]:
    return Drafts(), views


def merged(taken: Drafts, made: Drafts, old: Old | None) -> Drafts:
    return made
