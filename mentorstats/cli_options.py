"""What the command line can be asked: commands, options and the check of their values."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TypeAlias

from mentorstats import __version__
from mentorstats.errors import nearest

Subparsers: TypeAlias = "argparse._SubParsersAction[_Parser]"

WEIGHTS = ("identity", "linear", "quadratic", "ordinal", "radical", "ratio")
INTERVALS = ("auto", "linearised_z", "bca", "percentile", "fixed_count", "none")
SUFFIXES = (".csv", ".parquet")
HANDOUTS = ("package", "csv", "xlsx", "parquet")
PICTURES = (".png", ".svg")


class _Parser(argparse.ArgumentParser):
    """Names the word that is wrong, and the one most like it."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse, after a look for options that there are not: they would make others seem to be missing."""
        options = [option for action in self._actions for option in action.option_strings]
        heads = [str(word).partition("=")[0] for word in args or () if str(word).startswith("--")]
        for head in heads if self._subparsers is None else ():
            if head != "--" and not any(option.startswith(head) for option in options):
                self.error(f"there is no option {head!r}{_meant(head, options)}")
        return super().parse_known_args(args, namespace)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        if action.choices is None or value in action.choices:
            return
        what = "command" if action.metavar == "COMMAND" else "choice"
        names = ", ".join(map(str, action.choices))
        raise argparse.ArgumentError(
            None if what == "command" else action,
            f"there is no {what} {value!r}{_meant(value, action.choices)} ({what}s: {names})",
        )


def _meant(word: str, known: Iterable[str]) -> str:
    near = nearest(word.partition("=")[0], known)
    return f". Did you mean {near}?" if near else ""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the command line; ``command`` is the name of what was asked for."""
    made = _Parser(
        prog="mentorstats",
        description="Agreement, growth and programme-level reports from teacher-placement records.",
    )
    made.add_argument("--version", action="version", version=f"mentorstats {__version__}")
    made.add_argument("--debug", action="store_true", help="print a full traceback of a defect")
    commands = made.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (
        _add_demo,
        _add_propose,
        _add_blank,
        _add_check,
        _add_report,
        _add_agree,
        _add_plan,
        _add_trace,
        _add_tables,
    ):
        add(commands)
    return made


def _add_demo(commands: Subparsers) -> None:
    about = "write the exports of an invented programme, and the reports on it"
    command = commands.add_parser("demo", help=about, description=f"{about.capitalize()}.")
    command.add_argument("dir", type=Path, metavar="DIR", help="folder to write to")
    command.add_argument("--seed", type=int, help="random seed of the invented data")
    _add_date(command)
    command.set_defaults(command="demo")


def _add_propose(commands: Subparsers) -> None:
    about = "write a first mapping.toml from a folder of exports"
    command = commands.add_parser(
        "propose",
        help=about,
        description=f"{about.capitalize()}, with how sure each guess is. Beside a mapping.toml it "
        "writes mapping.proposed.toml and says what changed. In a terminal it asks what it cannot know.",
    )
    command.add_argument("folder", type=Path, metavar="FOLDER", help="folder of exports")
    command.set_defaults(command="propose")


def _add_blank(commands: Subparsers) -> None:
    about = "write an empty workbook to fill in, which then loads without a mapping"
    command = commands.add_parser("blank", help=about, description=f"{about.capitalize()}.")
    command.add_argument("file", type=_workbook_file, metavar="FILE.xlsx", help="workbook to write")
    command.add_argument(
        "--rubrics",
        type=Path,
        metavar="FOLDER",
        help="folder whose rubric is offered (that of FILE if it has a mapping, else an invented one)",
    )
    command.set_defaults(command="blank")


def _add_check(commands: Subparsers) -> None:
    about = "read a folder of exports and list every fault"
    command = commands.add_parser(
        "check", help=about, description=f"{about.capitalize()}. Ends with 1 where a fault was found."
    )
    command.add_argument("folder", type=Path, metavar="FOLDER", help="folder of exports")
    command.add_argument(
        "--out",
        type=_faults_file,
        metavar="FILE",
        help="write the faults to a .csv, .parquet or .xlsx; with .xlsx also marked copies of workbooks",
    )
    command.set_defaults(command="check")


def _add_report(commands: Subparsers) -> None:
    about = "write a report on a folder of exports"
    command = commands.add_parser("report", help=about, description=f"{about.capitalize()}.")
    command.add_argument("name", metavar="NAME", help="which report, for example rater-calibration")
    command.add_argument("folder", type=Path, metavar="FOLDER", help="folder of exports")
    command.add_argument("--out", type=Path, metavar="DIR", help="folder for the report (FOLDER/reports)")
    command.add_argument("--seed", type=int, default=0, help="random seed (%(default)s)")
    command.add_argument(
        "--as-of", metavar="DAY", help="day on which certification is checked (last day with a rating)"
    )
    command.add_argument(
        "--form",
        type=_several,
        default=["page"],
        metavar="F,F",
        help="page (opens in a browser), workbook (tables), document (to edit); several with commas (page)",
    )
    _add_names(command)
    _add_date(command)
    command.set_defaults(command="report")


def _add_agree(commands: Subparsers) -> None:
    about = "agreement of raters in any long table of ratings"
    command = commands.add_parser(
        "agree", help=about, description=f"{about.capitalize()}: one row a rating; CSV, XLSX or Parquet."
    )
    add = command.add_argument
    add("file", type=Path, metavar="FILE", help="the table; in a workbook its only sheet, or --sheet")
    add("--unit", type=_several, required=True, metavar="C[,C]", help="columns that name what was rated")
    add("--rater", type=_several, required=True, metavar="C[,C]", help="columns that name who rated")
    add("--level", required=True, metavar="C", help="column of the level given")
    add("--levels", type=_several, required=True, metavar="L,L,…", help="every level, lowest first")
    add("--weights", choices=WEIGHTS, default="identity", help="agreement weights (%(default)s)")
    add(
        "--cluster",
        type=_several,
        metavar="C[,C]",
        help="columns whose ratings are not independent, such as candidate",
    )
    add("--by", type=_several, metavar="C[,C]", help="columns to split by")
    add("--interval", choices=INTERVALS, default="auto", help="interval method (%(default)s)")
    add("--confidence", type=float, default=0.95, help="coverage of the intervals (%(default)s)")
    add("--seed", type=int, default=0, help="seed of resampled intervals (%(default)s)")
    add("--sheet", help="sheet of a workbook")
    add("--delimiter", type=_character, default=",", help="field separator of a CSV file: , ; or tab (,)")
    add("--out", type=_table_file, metavar="FILE", help="write the unrounded table to a .csv or .parquet")
    add("--figure", type=_picture_file, metavar="FILE", help="draw paired levels and intervals: .png or .svg")
    command.set_defaults(command="agree")


def _add_plan(commands: Subparsers) -> None:
    about = "how many visits by how many raters make a score dependable"
    command = commands.add_parser(
        "plan", help=about, description=f"{about.capitalize()}: from the ratings of a folder of exports."
    )
    add = command.add_argument
    add("folder", type=Path, metavar="FOLDER", help="folder of exports")
    add("--target", type=float, help="target dependability (the policy's target_dependability)")
    add("--raters", type=_sizes, default=[1, 2, 3], metavar="N,N,…", help="raters of a candidate (1,2,3)")
    add("--visits", type=_sizes, default=[1, 2, 3, 4, 6], metavar="N,N,…", help="visits by each (1,2,3,4,6)")
    add("--visit-cost", type=float, default=1.0, metavar="X", help="price of one visit (%(default)s)")
    add(
        "--rater-cost",
        type=float,
        default=0.0,
        metavar="X",
        help="additional price of each rater (%(default)s)",
    )
    add(
        "--cut",
        type=float,
        metavar="X",
        help="pass mark on the mean score; adds columns about it to the file",
    )
    add("--confidence", type=float, default=0.95, help="coverage of the intervals (%(default)s)")
    add("--seed", type=int, default=0, help="seed of the intervals (%(default)s)")
    add("--out", type=_table_file, metavar="FILE", help="write the unrounded table to a .csv or .parquet")
    add("--figure", type=_picture_file, metavar="FILE", help="draw dependability by visits: .png or .svg")
    _add_names(command)
    command.set_defaults(command="plan")


def _add_trace(commands: Subparsers) -> None:
    about = "from a rating, a count or a row of a table back to file, sheet, row and column"
    command = commands.add_parser("trace", help=about, description=f"{about.capitalize()}.")
    add = command.add_argument
    add("folder", type=Path, metavar="FOLDER", help="folder of exports")
    add("--observation", metavar="CODE", help="a lesson and all that was recorded of it")
    add("--candidate", metavar="CODE", help="a candidate: placements, lessons, ratings")
    add("--rater", metavar="CODE", help="a rater, also as mentor or supervisor")
    add("--table", metavar="TABLE", help="only rows of this table, for example ratings")
    add(
        "--where",
        type=_equal,
        action="append",
        metavar="FIELD=VALUE",
        help="only rows with this value, such as criterion=k7w2; may be given several times",
    )
    add("--out", type=_table_file, metavar="FILE", help="write a row a cell to a .csv or .parquet")
    command.set_defaults(command="trace")


def _add_tables(commands: Subparsers) -> None:
    about = "write the checked tables to take away, people under codes"
    command = commands.add_parser("tables", help=about, description=f"{about.capitalize()}.")
    command.add_argument("folder", type=Path, metavar="FOLDER", help="folder of exports")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write to")
    command.add_argument(
        "--form",
        choices=HANDOUTS,
        default="package",
        help="package: CSV and a description of every column (Data Package); xlsx: one file (%(default)s)",
    )
    _add_names(command)
    command.set_defaults(command="tables")


def _add_names(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--names-are-codes",
        action="store_true",
        help="go on where codes of people look like names, because they are codes",
    )


def _add_date(command: argparse.ArgumentParser) -> None:
    command.add_argument("--date", help="day of the run, like 2026-09-01 (SOURCE_DATE_EPOCH, else today)")


def _equal(text: str) -> tuple[str, str]:
    field, mark, value = text.partition("=")
    if not mark or not field.strip():
        raise argparse.ArgumentTypeError(f"{text!r} is not FIELD=VALUE")
    return field.strip(), value.strip()


def _several(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if not all(names):
        raise argparse.ArgumentTypeError(f"{text!r} holds an empty name")
    return names


def _character(text: str) -> str:
    mark = "\t" if text in ("tab", "\\t") else text
    if len(mark) != 1 or not mark.isascii():
        raise argparse.ArgumentTypeError(f"{text!r} is neither one character nor the word tab")
    return mark


def _sizes(text: str) -> list[int]:
    names = _several(text)
    if not all(name.isdecimal() and int(name) > 0 for name in names):
        raise argparse.ArgumentTypeError(f"{text!r} holds something other than whole numbers from 1")
    return [int(name) for name in names]


def _workbook_file(text: str) -> Path:
    return _ending(text, (".xlsx",))


def _table_file(text: str) -> Path:
    return _ending(text, SUFFIXES)


def _faults_file(text: str) -> Path:
    return _ending(text, (*SUFFIXES, ".xlsx"))


def _picture_file(text: str) -> Path:
    return _ending(text, PICTURES)


def _ending(text: str, suffixes: Sequence[str]) -> Path:
    path = Path(text)
    if path.suffix.lower() not in suffixes:
        raise argparse.ArgumentTypeError(f"{text!r} ends neither in {' nor in '.join(suffixes)}")
    return path
