"""Time and memory of reading and checking a million rows of twelve columns against a bare read.

Run: ``python tests/benchmarks/validation.py``. The peer is pyarrow reading the same CSV into a
table, types guessed, nothing checked; ours is ``mentorstats.load`` as a whole: file to frames, with
row numbers, keys and problems. Medians of interleaved runs; peak memory from a
fresh process each (Linux).
"""

import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv

import mentorstats as ms

ROWS = 1_000_000
ROUNDS = 7
FAULTS = {"clean": 0, "400 errors": 400, "100,000 errors": 100_000}


def placements(seed=20260902):
    """A million placements: two columns without a repeat, two of dates, a closed list, a yes/no."""
    rng = np.random.default_rng(seed)

    def pick(values):
        return np.asarray(values)[rng.integers(0, len(values), ROWS)]

    def codes(letter, size):
        return [f"{letter}{i}" for i in range(size)]

    days = np.datetime64("2023-01-02") + np.arange(900)
    return {
        "placement": [f"P{i:07d}" for i in range(ROWS)],
        "candidate": [f"C{i:07d}" for i in rng.permutation(ROWS)],
        "mentor": pick(codes("M", 5000)),
        "supervisor": pick(codes("S", 400)),
        "site": pick(codes("site ", 200)),
        "cohort": pick(["2023", "2024", "2025"]),
        "licensure_area": pick(["art", "mathematics", "science"]),
        "grade_band": pick(["K-2", "3-5", "6-8"]),
        "start": pick(days.astype(str)),
        "end": pick((days + 1000).astype(str)),
        "status": pick(["running", "completed", "ended_early"]),
        "first_generation": pick(["yes", "no"]),
    }


def with_faults(columns, faults, seed=7):
    """Spoil cells of four columns, each with a different text."""
    columns = {name: list(values) for name, values in columns.items()}
    rows = np.random.default_rng(seed).choice(ROWS, size=faults, replace=False)
    for number, row in enumerate(rows):
        name = ("start", "status", "first_generation", "placement")[number % 4]
        columns[name][row] = "" if name == "placement" else f"wrong {number}"
    return columns


def write(folder, faults):
    folder.mkdir()
    table = pa.table({name: pa.array(list(v)) for name, v in with_faults(placements(), faults).items()})
    pa.csv.write_csv(table, folder / "placements.csv", pa.csv.WriteOptions(quoting_style="none"))


def bare(folder):
    return pa.csv.read_csv(folder / "placements.csv").num_rows


def ours(folder):
    return len(ms.load(folder).problems)


RUNS = {"bare": bare, "ours": ours}


def clock(call, folder):
    begun = time.perf_counter()
    call(folder)
    return time.perf_counter() - begun


def peak(name, folder):
    """Peak of resident memory in MB of a fresh process that reads once."""
    command = [sys.executable, __file__, name, str(folder)]
    return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def main():
    with tempfile.TemporaryDirectory() as place:
        print(f"{ROWS:,} rows x 12 columns, {ROUNDS} interleaved runs; seconds are medians")
        for kind, faults in FAULTS.items():
            folder = Path(place) / kind.replace(" ", "_")
            write(folder, faults)
            found = ours(folder)
            if found != faults:
                raise SystemExit(f"{found} problems where {faults} were planted")
            times = {name: [] for name in RUNS}
            for _ in range(ROUNDS):
                for name, call in RUNS.items():
                    times[name].append(clock(call, folder))
            middle = {name: statistics.median(taken) for name, taken in times.items()}
            size = (folder / "placements.csv").stat().st_size / 1e6
            print(
                f"{kind:>15}: bare {middle['bare']:.2f} s, ours {middle['ours']:.2f} s, "
                f"ratio {middle['ours'] / middle['bare']:.1f}; peak bare {peak('bare', folder):.0f} MB, "
                f"ours {peak('ours', folder):.0f} MB; file {size:.0f} MB"
            )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        RUNS[sys.argv[1]](Path(sys.argv[2]))
        # Not ru_maxrss, which a process inherits from the larger one that started it.
        status = Path("/proc/self/status").read_text(encoding="utf-8")
        print(int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) / 1024)
    else:
        main()
