"""Commands on exports and records: propose, blank, check, trace and tables."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from mentorstats.commands.common import (
    DONE,
    FAULTS,
    note,
    note_set_aside,
    refuse_inputs,
    refuse_private,
    say,
    write_table,
)
from mentorstats.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd

    from mentorstats.records import Records


def propose(asked: argparse.Namespace) -> int:
    """Write a first mapping of a folder of exports, and show what it reads with it."""
    from mentorstats.records import propose
    from mentorstats.report.render import text as plain
    from mentorstats.writing import can_write, write_beside

    can_write(asked.folder)
    found = propose.propose(asked.folder, _asker())
    say(plain.proposal(found, propose.tried(asked.folder, found)))
    say(write_beside(found.path, found.text.encode("utf-8")))
    return DONE


def _asker() -> Callable[[str, Sequence[str]], str | None]:
    """Who answers what the exports cannot tell: whoever sits at the terminal, else nobody."""
    from mentorstats.records.propose.propose import nobody

    return _ask if sys.stdin.isatty() and sys.stderr.isatty() else nobody


def _ask(question: str, answers: Sequence[str]) -> str | None:
    """Put a question on standard error until an answer is one of its numbers, or empty."""
    note(f"\n{question}")
    for number, answer in enumerate(answers, 1):
        note(f"  {number}  {answer}")
    while True:
        print("Number (Enter: leave it open): ", end="", file=sys.stderr, flush=True)
        given = sys.stdin.readline().strip()
        if not given:
            return None
        if given.isdecimal() and 1 <= int(given) <= len(answers):
            return answers[int(given) - 1]


def blank(asked: argparse.Namespace) -> int:
    """Write an empty workbook to fill in."""
    from mentorstats.records import blank
    from mentorstats.writing import refuse_input, write_beside

    refuse_input(asked.file)
    if asked.file.exists():
        raise ArgumentError("is there already", where=str(asked.file), remedy="Name another file.")
    beside = asked.file.parent if (asked.file.parent / "mapping.toml").is_file() else None
    say(write_beside(asked.file, blank.workbook(asked.rubrics or beside)))
    return DONE


def check(asked: argparse.Namespace) -> int:
    """Read a folder of exports and list every fault; ends with 1 where there is one."""
    import pandas as pd

    from mentorstats import policy, records
    from mentorstats.declared import study
    from mentorstats.report.render import text as plain

    refuse_inputs(asked, folder=asked.folder)
    loaded = records.load(asked.folder)
    found, odd = loaded.problems, _oddities(loaded, asked.folder)
    _note_names(loaded)
    every = pd.concat([found, odd], ignore_index=True)
    if asked.out and asked.out.suffix.lower() == ".xlsx":
        _mark(asked.folder, every, asked.out)
    elif asked.out:
        write_table(every, asked.out)
    else:
        say(plain.checked(loaded.overview(), found, odd))
    for settings in (policy, study):
        settings.read(asked.folder)
    return FAULTS if (found["effect"] != "notice").any() else DONE


def _mark(folder: Path, faults: pd.DataFrame, out: Path) -> None:
    """Write the faults as a workbook, and copies of workbooks with faulty cells marked.

    A copy holds what the export holds; where people are replaced by codes it goes to the private folder.
    """
    from mentorstats.records import gather
    from mentorstats.records.checking import marked
    from mentorstats.records.identities import private
    from mentorstats.records.loading import plan_of
    from mentorstats.records.problems import Problems
    from mentorstats.writing import write_beside

    plan = plan_of(folder)
    note(f"mentorstats: wrote {write_beside(out, marked.listed(faults))}")
    for file, content in marked.copies(folder, gather.gather(folder, plan, Problems()), faults).items():
        name = f"{out.stem}-{file.replace('/', '-')}"
        if plan.identities is None:
            path = write_beside(out.parent / name, content)
        else:
            path = private.write_bytes(private.place(folder, plan.identities) / name, content)
        note(f"mentorstats: wrote {path}, a copy of {file} with faulty cells marked")


def _oddities(loaded: Records, folder: Path) -> pd.DataFrame:
    """What looks odd; where people were replaced by codes, say where the same list is with names."""
    from mentorstats.records.identities import local
    from mentorstats.records.loading import plan_of

    identities = plan_of(folder).identities
    if identities is None:
        return loaded.oddities()
    odd, private = local.oddities(loaded, folder, identities)
    note(f"mentorstats: people are shown by code; faults.csv and oddities.csv in {private} name them")
    return odd


def _note_names(loaded: Records) -> None:
    """Say which columns of codes hold what looks like names of people; a report stops at them."""
    from mentorstats.errors import IdentityError
    from mentorstats.records.checking import names

    try:
        names.refuse(loaded.tables)
    except IdentityError as error:
        note(f"mentorstats: {error}")


def trace(asked: argparse.Namespace) -> int:
    """Print from which cells ratings, lessons or rows come."""
    from mentorstats import records
    from mentorstats.records.trace import trace
    from mentorstats.report.render import text as plain

    refuse_inputs(asked, folder=asked.folder)
    found = trace(
        records.load(asked.folder),
        table=asked.table,
        where=dict(asked.where or ()),
        observation=asked.observation,
        candidate=asked.candidate,
        rater=asked.rater,
    )
    if asked.out:
        write_table(found, asked.out)
    else:
        say(plain.traced(found))
    return DONE


def tables(asked: argparse.Namespace) -> int:
    """Write the checked tables to take away."""
    from mentorstats import records
    from mentorstats.records import handout
    from mentorstats.records.checking import names
    from mentorstats.writing import can_write, refuse_input

    refuse_input(asked.out, folder=asked.folder)
    refuse_private(asked.folder, asked.out)
    can_write(asked.out)
    loaded = records.load(asked.folder)
    if not asked.names_are_codes:
        names.refuse(loaded.tables)
    note_set_aside(loaded)
    for path in handout.write(loaded, asked.out, asked.form):
        say(path)
    return DONE
