"""Find an analysis, run it on a folder of records, render its report, put it in its place."""

from __future__ import annotations

import argparse
import datetime
import importlib.util
import inspect
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from mentorstats import places, policy, records, study
from mentorstats.errors import AnalysisError, MentorstatsError
from mentorstats.report import provenance
from mentorstats.report.files import write_beside
from mentorstats.report.model import Report
from mentorstats.report.render import page

Analysis = Callable[..., Report]


def names() -> list[str]:
    """Names of the analyses, as they are asked for."""
    return sorted(path.stem.replace("_", "-") for path in places.analyses().glob("[!_]*.py"))


def find(name: str) -> Analysis:
    """Return the ``report`` function of an analysis.

    Raises
    ------
    AnalysisError
        No analysis of that name, or a file without such a function.
    """
    if name not in names():
        raise AnalysisError(f"no analysis {name!r}", allowed=names(), remedy="Ask for one of these.")
    path = places.analyses() / f"{name.replace('-', '_')}.py"
    spec = importlib.util.spec_from_file_location(f"analysis_{path.stem}", path)
    if spec is None or spec.loader is None:
        raise AnalysisError("cannot be read as a Python file", where=str(path))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found = getattr(module, "report", None)
    if not callable(found):
        raise AnalysisError(
            "has no function report",
            where=str(path),
            remedy="Give it report(records, policy, *, seed=0, given=None, on=None).",
        )
    analysis: Analysis = found
    return analysis


def run(
    analysis: Analysis,
    loaded: records.Records,
    folder: Path,
    out: Path,
    *,
    seed: int = 0,
    date: str | None = None,
    as_of: str | None = None,
) -> Path:
    """Run an analysis on loaded records and write its page.

    Parameters
    ----------
    loaded
        ``Records`` of the folder.
    folder
        Where a ``policy.toml`` and a ``study.toml`` of the programme may lie.
    out
        Folder of the page, made where it is missing.
    date
        Day of the run; see `mentorstats.report.provenance.day`.
    as_of
        Day that is asked about where one matters, like 2026-09-01: how certificates stand. The last day
        with a rating unless given.

    Returns
    -------
    Path
        The page.
    """
    of_run = provenance.day(date)
    asked_about = None if as_of is None else datetime.date.fromisoformat(provenance.day(as_of))
    given = study.read(folder)
    made = analysis(loaded, policy.read(folder), seed=seed, given=given, on=asked_about)
    settings = provenance.settings(folder)
    dated = replace(made, provenance=replace(made.provenance, date=of_run, settings=settings))
    return write_beside(out / f"{made.name}.html", page.render(dated))


def script(analysis: Analysis, argv: Sequence[str] | None = None) -> None:
    """Run an analysis file as a script: arguments, loading, rendering.

    Ends with the exit code of the command line and one message where something is wrong.
    """
    parser = argparse.ArgumentParser(description=inspect.getdoc(inspect.getmodule(analysis)))
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("folder", type=Path, help="folder of exports")
    parser.add_argument("--out", type=Path, required=True, help="folder for the report")
    parser.add_argument("--seed", type=int, default=0, help="seed of every random step (0)")
    parser.add_argument("--date", help="day of the run, as 2026-09-01 (today)")
    parser.add_argument("--as-of", help="day on which certificates are looked at (last day with a rating)")
    asked = parser.parse_args(argv)
    days = {"date": asked.date, "as_of": asked.as_of}
    try:
        run(analysis, records.load(asked.folder), asked.folder, asked.out, seed=asked.seed, **days)
    except MentorstatsError as error:
        parser.exit(error.exit_code, f"{error}\n")
