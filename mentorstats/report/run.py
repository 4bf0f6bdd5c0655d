"""Find an analysis, run it on a folder of records, render its report, put its files in their place."""

from __future__ import annotations

import argparse
import datetime
import importlib.util
import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from mentorstats import places, policy, records
from mentorstats.declared import study
from mentorstats.errors import AnalysisError, MentorstatsError, nearest
from mentorstats.records.checking import names as names_like
from mentorstats.report import provenance, small_groups
from mentorstats.report.blocks import documents
from mentorstats.report.findings import summary, weights
from mentorstats.report.model import Report
from mentorstats.report.render import DEFAULT, FORMS, Form, form
from mentorstats.writing import write_beside

Analysis = Callable[..., Report]
MINIMUM = "minimum_group_size"
DEFECT = 3  # exit code


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
        near, folder = nearest(name, names()), Path(name).is_dir()
        remedy = f"Did you mean {near}?" if near else "Ask for one of these."
        raise AnalysisError(
            f"there is no report {name!r}",
            allowed=names(),
            remedy="The name of the report comes before the folder." if folder else remedy,
        )
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


def file_names(name: str, forms: Sequence[str] = FORMS) -> list[str]:
    """Names of the files that a report may consist of."""
    return [file for one in forms for file in form(one).file_names(name)]


@dataclass(frozen=True, slots=True)
class Written:
    """Files of a report, the page first, and the names of sections that could not be made."""

    paths: tuple[Path, ...]
    failed: tuple[str, ...]


def run(
    analysis: Analysis,
    loaded: records.Records,
    folder: Path,
    out: Path,
    *,
    forms: Sequence[str] = DEFAULT,
    seed: int = 0,
    date: str | None = None,
    as_of: str | None = None,
    names_are_codes: bool = False,
) -> Written:
    """Run an analysis on loaded records and write its report.

    Parameters
    ----------
    loaded
        ``Records`` of the folder.
    folder
        Where a ``policy.toml`` and a ``study.toml`` of the programme may lie.
    out
        Folder of the report, made where it is missing.
    forms
        Forms by name; see `mentorstats.report.render`.
    date
        Day of the run; see `mentorstats.report.provenance.day`.
    as_of
        Day that is asked about where one matters, like 2026-09-01: whose certification is current. The last
        day with a rating unless given.
    names_are_codes
        Go on where codes of people look like their names.

    Raises
    ------
    IdentityError
        They do; see `mentorstats.records.checking.names`.

    Returns
    -------
    Written
        The files, the page first: page, technical appendix and, where there is one, the follow-up sheet.
    """
    if not names_are_codes:
        names_like.refuse(loaded.tables)
    chosen = [form(name) for name in forms]
    of_run = provenance.day(date)
    asked_about = None if as_of is None else datetime.date.fromisoformat(provenance.day(as_of))
    rules = policy.read(folder)
    made = analysis(loaded, rules, seed=seed, given=study.read(folder), on=asked_about)
    return write(made, rules, out, chosen, date=of_run, settings=provenance.settings(folder))


def write(
    made: Report,
    rules: policy.Policy,
    out: Path,
    forms: Sequence[Form],
    *,
    date: str = "",
    settings: Mapping[str, str] | None = None,
) -> Written:
    """Blank small groups, lay the report out, render each document in each form, and write the files."""
    shown = small_groups.applied(made, rules.rule(MINIMUM))
    found = summary(shown.sections, weights(rules))
    of_run = replace(shown.provenance, date=date, settings=dict(settings or {}), rules=rules.used())
    dated = replace(shown, provenance=of_run)
    laid_out = documents(dated, found)
    rendered = [file for chosen in forms for file in chosen.files(laid_out)]
    paths = tuple(write_beside(out / name, content) for name, content in rendered)
    sections = (*dated.sections, *(() if dated.follow_up is None else (dated.follow_up,)))
    return Written(paths, tuple(section.name for section in sections if section.defect))


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
    parser.add_argument("--form", nargs="+", choices=FORMS, default=DEFAULT, help="forms to write (page)")
    parser.add_argument("--names-are-codes", action="store_true", help="go on where codes look like names")
    parser.add_argument("--as-of", help="day on which certificates are looked at (last day with a rating)")
    asked = parser.parse_args(argv)
    given = {"date": asked.date, "as_of": asked.as_of, "names_are_codes": asked.names_are_codes}
    given |= {"forms": asked.form}
    try:
        written = run(analysis, records.load(asked.folder), asked.folder, asked.out, seed=asked.seed, **given)
    except MentorstatsError as error:
        parser.exit(error.exit_code, f"{error}\n")
    if written.failed:
        parser.exit(DEFECT, f"{could_not_be_made(written.failed)}\n")


def could_not_be_made(names: Sequence[str]) -> str:
    """One line on the sections that failed."""
    return f"could not be made, by a defect of mentorstats (the appendix has its text): {', '.join(names)}"
