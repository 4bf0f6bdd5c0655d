"""Read a folder of exports and propose a mapping for it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from mentorstats.errors import MentorstatsError, SourceFileError
from mentorstats.records import gather
from mentorstats.records.loading import load
from mentorstats.records.mapping import FILE_NAME
from mentorstats.records.propose import grids, tables
from mentorstats.records.propose.draft import drafting, previous, writing
from mentorstats.records.propose.draft.drafts import Ask, Drafts

BESIDE = "mapping.proposed.toml"
_TITLE = "A proposal: read it, correct it, then run mentorstats check. % says how sure each guess is."


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping that is proposed: where it goes, its text, what it is made of and what is left open."""

    path: Path
    text: str
    drafts: Drafts
    left_open: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Trial:
    """What the loader makes of a proposal: rows by table and rows set aside, or why it cannot be used yet."""

    rows: dict[str, int]
    set_aside: int
    refused: str = ""


def tried(folder: str | Path, proposal: Proposal) -> Trial:
    """Load the folder by a proposal that is not written yet."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / FILE_NAME
        path.write_text(proposal.text, encoding="utf-8")
        try:
            loaded = load(folder, path)
        except MentorstatsError as error:
            return Trial({}, 0, str(error).replace(place + os.sep, ""))
    rows = {name: len(frame) for name, frame in loaded.tables.items() if len(frame)}
    return Trial(rows, int((loaded.problems["effect"] == "set_aside").sum()))


def nobody(question: str, answers: Sequence[str]) -> str | None:
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
    tables.decide(views)
    read = [one for one in views if one.table]
    if not read and old is None:
        raise SourceFileError(
            "nothing in the folder looks like records of a programme",
            where=str(place),
            remedy="Put exports of placements, lessons and ratings there, with headings.",
        )
    made = drafting.Builder(read, ask).build()
    if old is not None:
        made = previous.merged(old, made, views)
    used = {draft.where for draft in made.sources}
    made.unread += [(one.name, one.why_not) for one in views if not one.table and one.name not in used]
    made.unread += opened.failed
    text = writing.text(made, title=_TITLE)
    path = place / (BESIDE if old is not None else FILE_NAME)
    return Proposal(path, text, made, tuple(writing.questions(made)))
