"""Commands that write reports: demo and report."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from mentorstats.commands.common import (
    DEFECT,
    DONE,
    note,
    note_set_aside,
    refuse_private,
    say,
)

if TYPE_CHECKING:
    from mentorstats.report.run import Written


def demo(asked: argparse.Namespace) -> int:
    """Write an invented programme's exports, and every report on them."""
    from mentorstats import demo, records
    from mentorstats.report import run
    from mentorstats.report.render import FORMS
    from mentorstats.writing import OWN

    reports, names = asked.dir / OWN, run.names()
    later = [f"{OWN}/{file}" for name in names for file in run.file_names(name)]
    demo.write(asked.dir, seed=demo.SEED if asked.seed is None else asked.seed, later=later)
    loaded = records.load(asked.dir)
    note_set_aside(loaded)
    how = {"forms": FORMS, "date": asked.date}
    found = [run.run(run.find(name), loaded, asked.dir, reports, **how) for name in names]
    demo.note(asked.dir, [path for one in found for path in one.paths])
    return max((_written(one) for one in found), default=DONE)


def report(asked: argparse.Namespace) -> int:
    """Write a report on a folder of exports."""
    from mentorstats import records
    from mentorstats.report import run
    from mentorstats.report.render import form
    from mentorstats.writing import OWN, can_write, refuse_input

    analysis = run.find(asked.name)
    for name in asked.form:
        form(name)
    out = asked.out or asked.folder / OWN
    refuse_input(out, folder=asked.folder)
    refuse_private(asked.folder, out)
    can_write(out)
    loaded = records.load(asked.folder)
    note_set_aside(loaded)
    days = {"date": asked.date, "as_of": asked.as_of}
    return _written(
        run.run(
            analysis,
            loaded,
            asked.folder,
            out,
            seed=asked.seed,
            names_are_codes=asked.names_are_codes,
            forms=asked.form,
            **days,
        )
    )


def _written(found: Written) -> int:
    """Print where a report is, and say which of its sections could not be made."""
    from mentorstats.report.run import could_not_be_made

    for path in found.paths:
        say(path)
    if found.failed:
        note(f"mentorstats: {could_not_be_made(found.failed)}")
        return DEFECT
    return DONE
