"""Time to the first answer of the command line, against starting Python and doing nothing.

Run: ``python tests/benchmarks/command_line.py``. Medians of interleaved runs.
"""

import statistics
import subprocess
import sys
import time

ROUNDS = 9
RUNS = {
    "python, nothing": "pass",
    "mentorstats --help": "from mentorstats.cli import main; main(['--help'])",
    "mentorstats agree --help": "from mentorstats.cli import main; main(['agree', '--help'])",
}


def main():
    times = {name: [] for name in RUNS}
    for _ in range(ROUNDS):
        for name, code in RUNS.items():
            begun = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)
            times[name].append(time.perf_counter() - begun)
    for name, seconds in times.items():
        print(f"{name:26s} {statistics.median(seconds):6.3f} s")


if __name__ == "__main__":
    main()
