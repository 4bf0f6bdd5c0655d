"""Time of fits, reliability and agreement with nothing set against one thread set from outside.

Run: ``python tests/benchmarks/threads.py``; a process for each case and setting, interleaved, in one run.
Exit code 1 where nothing set takes more than 1.3 times as long.
"""

import os
import statistics
import subprocess
import sys
import time

ROUNDS, MOST = 3, 1.3
SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS")
START = """
import sys, time
import numpy as np, pandas as pd
from mentorstats import agreement, mixed, reliability
rng = np.random.default_rng(1)
unit, rater = np.divmod(np.arange(4000), 10)
frame = pd.DataFrame({"unit": unit, "rater": rater, "group": unit % 40, "x": rng.normal(size=4000)})
frame["score"] = rng.normal(size=400)[unit] + rng.normal(size=10)[rater] + rng.normal(size=4000)
frame["level"] = np.clip(np.round(frame["score"] + 2), 0, 3).astype(int)
some = frame[rng.random(4000) < 0.6]
names = dict(unit="unit", rater="rater", level="level")
begun = time.perf_counter()
"""
CASES = {
    "g_study": 'reliability.g_study(some, object="unit", facets="rater", score="score", method="reml")',
    "fit, linear": 'mixed.fit(some, response="score", fixed="x", grouped=["unit", "rater"]).coefficients',
    "fit, ordinal": (
        'mixed.fit(some, response="level", fixed="x", grouped=["unit", "rater"], kind="ordinal", '
        "levels=[0, 1, 2, 3]).coefficients"
    ),
    "coefficients": (
        'agreement.coefficients(some, **names, levels=[0, 1, 2, 3], cluster="group", interval="bca", '
        "replicates=1000)"
    ),
    "icc_incomplete": 'agreement.icc_incomplete(some, **names, cluster="group")',
}


def seconds(code, one):
    """Time of the call in a process of its own, without imports."""
    free = {name: value for name, value in os.environ.items() if name not in SETTINGS}
    chosen = free | (dict.fromkeys(SETTINGS, "1") if one else {})
    program = f"{START}{code}\nprint(time.perf_counter() - begun)"
    done = subprocess.run(
        [sys.executable, "-c", program], env=chosen, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def main():
    """Print a line a case, and return whether all are within the limit."""
    begun, fine = time.perf_counter(), True
    print(f"{'call':<16}{'one thread, s':>14}{'nothing set, s':>16}{'ratio':>8}")
    for name, code in CASES.items():
        times = [(seconds(code, True), seconds(code, False)) for _ in range(ROUNDS)]
        one, free = (statistics.median(part) for part in zip(*times, strict=True))
        fine &= free <= MOST * one
        print(f"{name:<16}{one:>14.2f}{free:>16.2f}{free / one:>8.2f}")
    print(f"{time.perf_counter() - begun:.0f} s in all")
    return fine


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
