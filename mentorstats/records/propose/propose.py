"""Read a folder of exports and propose a mapping for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from mentorstats.errors import SourceFileError
from mentorstats.records import gather
from mentorstats.records.mapping import FILE_NAME
from mentorstats.records.propose import drafting, grids, previous, tables, writing
from mentorstats.records.propose.drafts import Ask, Drafts
from mentorstats.records.propose.tables import View

BESIDE = "mapping.proposed.toml"
_TITLE = "A proposal by mentorstats: read it, correct it, then run mentorstats check. % says how sure each guess is."


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping that is proposed: where it goes, its text, what it is made of and what is left open."""

    path: Path
    text: str
    drafts: Drafts
    left_open: tuple[str, ...]


def nobody(question: str, answers: Sequence[str]) -> str | None:  # noqa: ARG001 - what Ask is called with
    """Answer nothing: what cannot be known stays open."""
    return None


def propose(folder: str | Path, ask: Ask = nobody) -> Proposal:
    """Propose a mapping for the exports of a folder; writes nothing.

    Parameters
    ----------
    folder
        Folder that holds CSV, XLSX or Parquet files. A ``mapping.toml`` in it is used for what it knows, and
        the proposal is then to be written beside it.
    ask
        Is asked only what the files cannot tell, such as the order of levels that are words.

    Raises
    ------
    SourceFileError
        The folder holds no table, or nothing in it looks like a record of ours.
    MappingError
        There is a mapping, and it is not legal.
    """
    place = Path(folder)
    opened = grids.opened(place, gather.files_of(place))
    views = [tables.view(grid) for grid in opened.grids]
    old = previous.known(place / FILE_NAME)
    taken, fresh = previous.reused(old, views)
    tables.decide(fresh)
    read = [one for one in fresh if one.table]
    if not read and not taken.sources:
        raise SourceFileError(
            "nothing in the folder looks like records of a programme",
            where=str(place),
            remedy="Put exports of placements, lessons and ratings there, with headings.",
        )
    made = drafting.Builder(read, ask).build() if read else Drafts()
    made = previous.merged(taken, made, old)
    made.unread += [(one.name, one.why_not) for one in fresh if not one.table]
    made.unread += opened.failed
    text = writing.text(made, title=_TITLE)
    path = place / (BESIDE if old is not None else FILE_NAME)
    return Proposal(path, text, made, tuple(writing.questions(made)))


__all__ = ["Proposal", "View", "propose"]
