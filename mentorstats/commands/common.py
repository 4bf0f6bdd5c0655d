"""What every command shares: how it speaks, where it may write, how its tables are written."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from mentorstats.errors import printable

if TYPE_CHECKING:
    import pandas as pd

    from mentorstats.records import Records

DONE, FAULTS, DEFECT, INTERRUPTED = 0, 1, 3, 130  # exit codes


def note(message: str) -> None:
    """Print on standard error."""
    print(printable(message), file=sys.stderr)


def say(text: object = "") -> None:
    """Print on standard output; what data could do to a terminal is shown, not done."""
    print(printable(str(text)))


def note_set_aside(loaded: Records) -> None:
    """Say how many faulty entries were set aside, where any were."""
    n = int((loaded.problems["effect"] == "set_aside").sum())
    if n:
        note(f"mentorstats: {n:,} faulty entries were set aside; mentorstats check lists them")


def refuse_inputs(asked: argparse.Namespace, *inputs: Path, folder: Path | None = None) -> None:
    """Look at where the command will write before it reads anything."""
    from mentorstats.writing import can_write, refuse_input

    for path in (asked.out, getattr(asked, "figure", None)):
        if path is not None:
            refuse_input(path, *inputs, folder=folder)
            if folder is not None:
                refuse_private(folder, path)
            can_write(path.parent)


def refuse_private(folder: Path, out: Path) -> None:
    """Write nothing that may be shared where names and codes are kept."""
    from mentorstats.records.identities import private
    from mentorstats.records.loading import plan_of

    identities = plan_of(folder).identities
    if identities is not None:
        private.apart(private.place(folder, identities), out)


def write_table(table: pd.DataFrame, path: Path) -> None:
    """Write a table and say where it is."""
    from mentorstats import writing

    note(f"mentorstats: wrote {writing.write_table(path, table)}")
