"""The command line: calls and prints; no computation. What may be asked is in `cli_options`.

Results go to standard output, everything else to standard error. Exit codes: 0 done, also when
rows were set aside; 1 faults found by ``check``, or nothing usable left; 2 arguments, mapping,
policy or files wrong; 3 a defect of ours; 130 interrupted.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from mentorstats.cli_options import parser
from mentorstats.errors import ArgumentError, MentorstatsError, printable

if TYPE_CHECKING:
    import pandas as pd

    from mentorstats.records import Records
    from mentorstats.report.run import Written

DONE, FAULTS, DEFECT, INTERRUPTED = 0, 1, 3, 130

THREADS = ("OPENBLAS_NUM_THREADS", "GOTO_NUM_THREADS", "OMP_NUM_THREADS")
NARROW = "ratings of one candidate are not independent; without --cluster the interval is likely too narrow"


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code; argparse itself exits for ``--help`` and usage."""
    asked = parser().parse_args(argv)
    _one_thread()
    with _Outcome(debug=asked.debug) as outcome:
        outcome.code = COMMANDS[asked.command](asked)
        sys.stdout.flush()
    return outcome.code


def _one_thread() -> None:
    """Let linear algebra run on one thread unless the user says otherwise; before numpy is loaded.

    Models factorise small matrices many times. Threads then spend their time waiting for each other: on a
    busy machine with two cores a plan took 90 seconds with two threads, and 4 with one.
    """
    if not any(name in os.environ for name in THREADS):
        os.environ[THREADS[0]] = "1"


class _Outcome:
    """Turns whatever ends a command into an exit code and at most one message."""

    def __init__(self, *, debug: bool) -> None:
        self.debug = debug
        self.code = DONE

    def __enter__(self) -> _Outcome:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> bool:
        if error is None:
            return True
        if isinstance(error, BrokenPipeError):  # the reader has seen enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        elif isinstance(error, KeyboardInterrupt):
            self._say(INTERRUPTED, "interrupted")
        elif isinstance(error, MentorstatsError):
            self._say(error.exit_code, str(error))
        elif isinstance(error, Exception):
            if self.debug:
                traceback.print_exception(error)
            self._say(
                DEFECT, f"a defect of mentorstats: {type(error).__name__}: {error} (--debug shows where)"
            )
        else:
            return False
        return True

    def _say(self, code: int, message: str) -> None:
        self.code = code
        _note(f"mentorstats: {message}")


def _note(message: str) -> None:
    print(printable(message), file=sys.stderr)


def _print(text: object = "") -> None:
    """Print on standard output; what data could do to a terminal is shown, not done."""
    print(printable(str(text)))


def _demo(asked: argparse.Namespace) -> int:
    from mentorstats import demo, records
    from mentorstats.report import run
    from mentorstats.report.render import FORMS
    from mentorstats.writing import OWN

    reports, names = asked.dir / OWN, run.names()
    later = [f"{OWN}/{file}" for name in names for file in run.file_names(name)]
    demo.write(asked.dir, seed=demo.SEED if asked.seed is None else asked.seed, later=later)
    loaded = records.load(asked.dir)
    _note_set_aside(loaded)
    how = {"forms": FORMS, "date": asked.date}
    found = [run.run(run.find(name), loaded, asked.dir, reports, **how) for name in names]
    demo.note(asked.dir, [path for one in found for path in one.paths])
    return max((_written(one) for one in found), default=DONE)


def _propose(asked: argparse.Namespace) -> int:
    from mentorstats.records import propose
    from mentorstats.report.render import text as plain
    from mentorstats.writing import can_write, write_beside

    can_write(asked.folder)
    found = propose.propose(asked.folder, _asker())
    _print(plain.proposal(found, propose.tried(asked.folder, found)))
    _print(write_beside(found.path, found.text.encode("utf-8")))
    return DONE


def _asker() -> Callable[[str, Sequence[str]], str | None]:
    """Who answers what the exports cannot tell: whoever sits at the terminal, else nobody."""
    from mentorstats.records.propose.propose import nobody

    return _ask if sys.stdin.isatty() and sys.stderr.isatty() else nobody


def _ask(question: str, answers: Sequence[str]) -> str | None:
    """Put a question on standard error until an answer is one of its numbers, or empty."""
    _note(f"\n{question}")
    for number, answer in enumerate(answers, 1):
        _note(f"  {number}  {answer}")
    while True:
        print("Number (Enter: leave it open): ", end="", file=sys.stderr, flush=True)
        given = sys.stdin.readline().strip()
        if not given:
            return None
        if given.isdecimal() and 1 <= int(given) <= len(answers):
            return answers[int(given) - 1]


def _blank(asked: argparse.Namespace) -> int:
    from mentorstats.records import blank
    from mentorstats.writing import refuse_input, write_beside

    refuse_input(asked.file)
    if asked.file.exists():
        raise ArgumentError("is there already", where=str(asked.file), remedy="Name another file.")
    beside = asked.file.parent if (asked.file.parent / "mapping.toml").is_file() else None
    _print(write_beside(asked.file, blank.workbook(asked.rubrics or beside)))
    return DONE


def _check(asked: argparse.Namespace) -> int:
    import pandas as pd

    from mentorstats import policy, records
    from mentorstats.declared import study
    from mentorstats.report.render import text as plain

    _refuse_inputs(asked, folder=asked.folder)
    loaded = records.load(asked.folder)
    found, odd = loaded.problems, _oddities(loaded, asked.folder)
    _note_names(loaded)
    every = pd.concat([found, odd], ignore_index=True)
    if asked.out and asked.out.suffix.lower() == ".xlsx":
        _mark(asked.folder, every, asked.out)
    elif asked.out:
        _write_table(every, asked.out)
    else:
        _print(plain.checked(loaded.overview(), found, odd))
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
    _note(f"mentorstats: wrote {write_beside(out, marked.listed(faults))}")
    for file, content in marked.copies(folder, gather.gather(folder, plan, Problems()), faults).items():
        name = f"{out.stem}-{file.replace('/', '-')}"
        if plan.identities is None:
            path = write_beside(out.parent / name, content)
        else:
            path = private.write_bytes(private.place(folder, plan.identities) / name, content)
        _note(f"mentorstats: wrote {path}, a copy of {file} with faulty cells marked")


def _oddities(loaded: Records, folder: Path) -> pd.DataFrame:
    """What looks odd; where people were replaced by codes, say where the same list is with names."""
    from mentorstats.records.identities import local
    from mentorstats.records.loading import plan_of

    identities = plan_of(folder).identities
    if identities is None:
        return loaded.oddities()
    odd, private = local.oddities(loaded, folder, identities)
    _note(f"mentorstats: people are shown by code; faults.csv and oddities.csv in {private} name them")
    return odd


def _note_names(loaded: Records) -> None:
    """Say which columns of codes hold what looks like names of people; a report stops at them."""
    from mentorstats.errors import IdentityError
    from mentorstats.records.checking import names

    try:
        names.refuse(loaded.tables)
    except IdentityError as error:
        _note(f"mentorstats: {error}")


def _trace(asked: argparse.Namespace) -> int:
    from mentorstats import records
    from mentorstats.records.trace import trace
    from mentorstats.report.render import text as plain

    _refuse_inputs(asked, folder=asked.folder)
    found = trace(
        records.load(asked.folder),
        table=asked.table,
        where=dict(asked.where or ()),
        observation=asked.observation,
        candidate=asked.candidate,
        rater=asked.rater,
    )
    if asked.out:
        _write_table(found, asked.out)
    else:
        _print(plain.traced(found))
    return DONE


def _tables(asked: argparse.Namespace) -> int:
    from mentorstats import records
    from mentorstats.records import handout
    from mentorstats.records.checking import names
    from mentorstats.writing import can_write, refuse_input

    refuse_input(asked.out, folder=asked.folder)
    _refuse_private(asked.folder, asked.out)
    can_write(asked.out)
    loaded = records.load(asked.folder)
    if not asked.names_are_codes:
        names.refuse(loaded.tables)
    _note_set_aside(loaded)
    for path in handout.write(loaded, asked.out, asked.form):
        _print(path)
    return DONE


def _report(asked: argparse.Namespace) -> int:
    from mentorstats import records
    from mentorstats.report import run
    from mentorstats.report.render import form
    from mentorstats.writing import OWN, can_write, refuse_input

    analysis = run.find(asked.name)
    for name in asked.form:
        form(name)
    out = asked.out or asked.folder / OWN
    refuse_input(out, folder=asked.folder)
    _refuse_private(asked.folder, out)
    can_write(out)
    loaded = records.load(asked.folder)
    _note_set_aside(loaded)
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
        _print(path)
    if found.failed:
        _note(f"mentorstats: {could_not_be_made(found.failed)}")
        return DEFECT
    return DONE


def _note_set_aside(loaded: Records) -> None:
    n = int((loaded.problems["effect"] == "set_aside").sum())
    if n:
        _note(f"mentorstats: {n:,} faulty entries were set aside; mentorstats check lists them")


def _agree(asked: argparse.Namespace) -> int:
    from mentorstats import agreement
    from mentorstats.records.reading.text_table import read_table
    from mentorstats.report.render import text as plain

    _refuse_inputs(asked, asked.file)
    text = read_table(asked.file, sheet=asked.sheet, delimiter=asked.delimiter)
    levels, table = _declared(asked.levels, asked.level, text)
    wanted: dict[str, Any] = {
        "unit": asked.unit,
        "rater": asked.rater,
        "level": asked.level,
        "levels": levels,
        "cluster": asked.cluster,
        "confidence": asked.confidence,
    }
    found = agreement.coefficients(
        table, **wanted, weights=asked.weights, by=asked.by, interval=asked.interval, seed=asked.seed
    )
    if not asked.cluster and asked.interval != "none":
        _note(f"mentorstats: {NARROW}")
    parts = list(_parts(found, table, asked.by))
    if asked.figure:
        _draw(asked.figure, parts, wanted, asked.weights)
    if asked.out:
        _write_table(found.reset_index(), asked.out)
        return DONE
    for heading, rows, part in parts:
        if heading:
            _print(f"{heading}\n")
        _print(plain.agreement(rows, agreement.by_level(part, **wanted), weights=asked.weights))
        _print()
        _print_intraclass(part, wanted, asked.seed)
    return DONE


def _print_intraclass(part: pd.DataFrame, wanted: dict[str, Any], seed: int) -> None:
    from mentorstats.agreement.scores import intraclass
    from mentorstats.report.render import text as plain

    block = intraclass.intraclass(part, **wanted, seed=seed)
    if block is not None:
        _print(plain.intraclass(block.found, block.note))
        _print()


def _draw(
    path: Path, parts: list[tuple[str, pd.DataFrame, pd.DataFrame]], wanted: dict[str, Any], weights: str
) -> None:
    from mentorstats import agreement
    from mentorstats.report.figures import agreement as agreement_figure
    from mentorstats.writing import write_beside

    what = {name: wanted[name] for name in ("unit", "rater", "level", "levels")}
    panels = [
        agreement_figure.Panel(heading, agreement.paired_counts(part, **what), rows)
        for heading, rows, part in parts
    ]
    drawn = agreement_figure.picture(panels, path.suffix.lower().removeprefix("."), weights=weights)
    _note(f"mentorstats: wrote {write_beside(path, drawn)}")


def _plan(asked: argparse.Namespace) -> int:
    from mentorstats import policy, records
    from mentorstats.calibration.networks.extra_scores_by_role import role_links
    from mentorstats.records.checking import names
    from mentorstats.reliability.plans.visit_plans import visit_plans
    from mentorstats.report.figures import plans
    from mentorstats.report.render import text as plain
    from mentorstats.writing import write_beside

    _refuse_inputs(asked, folder=asked.folder)
    rules = policy.read(asked.folder)
    target = rules.value("target_dependability") if asked.target is None else asked.target
    loaded = records.load(asked.folder)
    if not asked.names_are_codes:
        names.refuse(loaded.tables)
    _note_set_aside(loaded)
    found = visit_plans(
        loaded.long(),
        rubrics=loaded.rubrics,
        visits=asked.visits,
        raters=asked.raters,
        target=target,
        visit_cost=asked.visit_cost,
        rater_cost=asked.rater_cost,
        cut=asked.cut,
        enough=math.ceil(rules.value("newest_version_candidates")),
        confidence=asked.confidence,
        seed=asked.seed,
    )
    if asked.out:
        _write_table(found.table, asked.out)
    if asked.figure:
        drawn = plans.picture(found, asked.figure.suffix.lower().removeprefix("."))
        _note(f"mentorstats: wrote {write_beside(asked.figure, drawn)}")
    _print(plain.visit_plans(found, role_links(found.scores.table, price=asked.visit_cost)))
    return DONE


def _declared(
    labels: Sequence[str], column: str, table: pd.DataFrame
) -> tuple[Sequence[object], pd.DataFrame]:
    """Levels, and the table with its levels in the same kind: numbers where all labels are numbers."""
    import pandas as pd

    from mentorstats.errors import need_columns

    need_columns(table.columns, [column], where="the file")
    declared = pd.to_numeric(pd.Series(labels, dtype="str"), errors="coerce")
    if declared.isna().any():
        return list(labels), table
    numbers = pd.to_numeric(table[column], errors="coerce")
    mixed = table[column].astype(object).where(~numbers.isin(declared), numbers)
    whole = bool((declared % 1 == 0).all())
    return [int(level) if whole else float(level) for level in declared], table.assign(**{column: mixed})


def _parts(
    found: pd.DataFrame, table: pd.DataFrame, by: list[str] | None
) -> Iterator[tuple[str, pd.DataFrame, pd.DataFrame]]:
    """Heading, results and rows of each group."""
    import pandas as pd

    if not by:
        yield "", found, table
        return
    groups = table.groupby(by, observed=True, dropna=False, sort=True)
    results = found.groupby(level=by, dropna=False, sort=True)
    for (key, rows), (_, chosen) in zip(groups, results, strict=True):
        named = pd.Series(key, index=by, dtype="object").fillna("not recorded")
        heading = ", ".join(f"{name} {value}" for name, value in named.items())
        yield heading, chosen.droplevel(list(range(len(by)))), rows


def _refuse_inputs(asked: argparse.Namespace, *inputs: Path, folder: Path | None = None) -> None:
    """Look at where the command will write before it reads anything."""
    from mentorstats.writing import can_write, refuse_input

    for path in (asked.out, getattr(asked, "figure", None)):
        if path is not None:
            refuse_input(path, *inputs, folder=folder)
            if folder is not None:
                _refuse_private(folder, path)
            can_write(path.parent)


def _refuse_private(folder: Path, out: Path) -> None:
    """Write nothing that may be shared where names and codes are kept."""
    from mentorstats.records.identities import private
    from mentorstats.records.loading import plan_of

    identities = plan_of(folder).identities
    if identities is not None:
        private.apart(private.place(folder, identities), out)


def _write_table(table: pd.DataFrame, path: Path) -> None:
    from mentorstats.writing import write_table

    _note(f"mentorstats: wrote {write_table(path, table)}")


COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "demo": _demo,
    "propose": _propose,
    "blank": _blank,
    "check": _check,
    "report": _report,
    "trace": _trace,
    "tables": _tables,
    "agree": _agree,
    "plan": _plan,
}


if __name__ == "__main__":
    sys.exit(main())
