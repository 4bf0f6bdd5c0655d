"""The command line. What may be asked is in `cli_options`, what a command does in `commands`.

Results go to standard output, everything else to standard error. Exit codes: 0 done, also when
rows were set aside; 1 faults found by ``check``, or nothing usable left; 2 arguments, mapping,
policy or files wrong; 3 a defect of ours; 130 interrupted.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module
from types import TracebackType

from mentorstats.cli_options import parser
from mentorstats.commands.common import DEFECT, DONE, INTERRUPTED, note
from mentorstats.errors import MentorstatsError

THREADS = ("OPENBLAS_NUM_THREADS", "GOTO_NUM_THREADS", "OMP_NUM_THREADS")

# In which module of `commands` the function of a command stands; it is imported when it is asked for.
COMMANDS = {
    "demo": "reports",
    "propose": "exports",
    "blank": "exports",
    "check": "exports",
    "report": "reports",
    "trace": "exports",
    "tables": "exports",
    "agree": "estimates",
    "plan": "estimates",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code; argparse itself exits for ``--help`` and usage."""
    asked = parser().parse_args(argv)
    _one_thread()
    with _Outcome(debug=asked.debug) as outcome:
        module = import_module(f"mentorstats.commands.{COMMANDS[asked.command]}")
        outcome.code = getattr(module, asked.command)(asked)
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
        note(f"mentorstats: {message}")


if __name__ == "__main__":
    sys.exit(main())
