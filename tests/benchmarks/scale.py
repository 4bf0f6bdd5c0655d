"""A linear mixed model of ten million ratings, read from Parquet in chunks: seconds, memory, estimates.

Run: ``OMP_NUM_THREADS=1 python tests/benchmarks/scale.py``. The data are invented and written in pieces;
each fit runs in a process of its own, whose peak memory is that of the whole process.

- fixed: one programme of about 101,000 cells (1,000 candidates with slopes, 6,000 lessons, 600 raters,
  their criteria), ever more ratings a cell.
- growing: ever more programmes of that size, whose raters know only their own candidates. There the random
  effects grow with the rows, and the optimisation needs most of the time and memory; ten million ratings
  (100,000 candidates, 600,000 lessons) need more than 20 GB, and are fitted only when asked for:
  ``--kinds growing --rows 10000000 --limit 40``.
"""

import argparse
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from mentorstats.mixed.algebra.covariance import triangles
from mentorstats.mixed.design.chunks import parquet_chunks, read_products
from mentorstats.mixed.design.crossproducts import lay_blocks
from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.design.scan import survey
from mentorstats.mixed.design.terms import by
from mentorstats.mixed.engines.engines import LinearEngine
from mentorstats.mixed.engines.linear import Problem

CANDIDATES, LESSONS, CRITERIA, MENTORS, SUPERVISORS = 1000, 6, 10, 450, 150
COUNTS = {"fixed": (100_000, 1_000_000, 10_000_000), "growing": (100_000, 1_000_000, 3_000_000)}
LIMIT = 16  # gigabytes of address space, so that a fit that is too large fails and the machine lives on
TRUTH = {
    "week": 0.05,
    "candidate": 0.36,
    "candidate: week": 0.0016,
    "lesson": 0.16,
    "rater": 0.1225,
    "rater × criterion": 0.0625,
    "residual": 0.64,
}
DECLARED = Declared(
    "score",
    ("week", "cohort", "criterion"),
    (by("candidate", slope="week"), by("lesson"), by("rater"), by("rater", "criterion")),
    "linear",
)


def cells(number: int) -> pd.DataFrame:
    """One programme: a row a lesson, rater and criterion, with the mean that its ratings vary around."""
    rng = np.random.default_rng([7, number])
    own = np.random.default_rng(7).normal(0, 0.3, CRITERIA)
    lessons = CANDIDATES * LESSONS
    candidate_of = np.repeat(np.arange(CANDIDATES), LESSONS)
    mentor = rng.integers(0, MENTORS, CANDIDATES)
    supervisor = MENTORS + rng.integers(0, SUPERVISORS, CANDIDATES)
    both = rng.random(lessons) < 0.684
    by_mentor = both | (rng.random(lessons) < 0.5)
    by_supervisor = both | ~by_mentor
    lesson = np.concatenate([np.flatnonzero(by_mentor), np.flatnonzero(by_supervisor)])
    rater = np.concatenate([mentor[candidate_of[by_mentor]], supervisor[candidate_of[by_supervisor]]])
    order = np.argsort(lesson, kind="stable")
    lesson, rater = np.repeat(lesson[order], CRITERIA), np.repeat(rater[order], CRITERIA)
    criterion = np.tile(np.arange(CRITERIA), len(order))
    candidate = candidate_of[lesson]
    week = 2.0 * (1 + lesson % LESSONS)
    cohort = candidate % 3
    level, change = rng.multivariate_normal([0, 0], [[0.36, -0.006], [-0.006, 0.0016]], CANDIDATES).T
    raters = MENTORS + SUPERVISORS
    mean = (
        0.05 * week
        + 0.1 * cohort
        + own[criterion]
        + level[candidate]
        + change[candidate] * week
        + rng.normal(0, 0.4, lessons)[lesson]
        + rng.normal(0, 0.35, raters)[rater]
        + rng.normal(0, 0.25, (raters, CRITERIA))[rater, criterion]
    )
    return pd.DataFrame(
        {
            "candidate": codes("c", number * CANDIDATES + candidate),
            "lesson": codes("l", number * lessons + lesson),
            "rater": codes("r", number * raters + rater),
            "criterion": codes("k", criterion, 2),
            "week": week,
            "cohort": codes("y", cohort, 1),
            "score": mean,
        }
    )


def codes(letter: str, numbers: np.ndarray, width: int = 7) -> np.ndarray:
    return np.char.add(letter, np.char.zfill(numbers.astype(str), width))


def write(path: Path, count: int, kind: str) -> None:
    """Write ``count`` rows, a piece at a time."""
    rng = np.random.default_rng(1)
    writer, number, done = None, 0, 0
    while done < count:
        if kind == "growing" or not number:
            table = pa.Table.from_pandas(cells(number), preserve_index=False)
            number += 1
        part = table.slice(0, count - done)
        score = part["score"].to_numpy() + rng.normal(0, 0.8, len(part))
        part = part.set_column(part.column_names.index("score"), "score", pa.array(score))
        writer = writer or pq.ParquetWriter(path, part.schema)
        writer.write_table(part)
        done += len(part)
    writer.close()


def fit(path: str) -> dict:
    """Fit in this process and say what it took."""
    marks = [time.perf_counter()]
    peaks = []

    def mark():
        marks.append(time.perf_counter())
        peaks.append(round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20, 2))

    chunks = parquet_chunks(path, DECLARED.used)
    found = survey(chunks, DECLARED)
    mark()
    products = read_products(chunks, found)
    mark()
    members = found.layout.members
    free = triangles(products.sizes, [grouping.correlated for grouping in DECLARED.grouped])
    blocks = lay_blocks(products.sizes, {pair: part[:2] for pair, part in products.between.items()})
    problem = Problem(products, blocks, free, True, math.log(found.sd))
    solution, minimum = problem.optimise()
    mark()
    scales = tuple(member.scales for member in members)
    engine = LinearEngine(problem, solution, minimum, found.mean, found.sd, scales)
    names = [name for member in members for name in member.coefficients]
    variances = [value for block in engine.covariances() for value in np.diag(block)]
    return {
        "rows": found.n,
        "members": {member.name: member.m for member in members},
        "seconds": np.diff(marks).round(3).tolist(),
        "peaks": peaks,
        "evaluations": minimum.evaluations,
        "estimates": {"week": float(engine.joint.beta[found.layout.names.index("week")])}
        | dict(zip(names, map(float, variances), strict=True))
        | {"residual": float(engine.residual)},
    }


def apart(path: Path, limit: float) -> dict:
    command = [sys.executable, __file__, "--fit", str(path), "--limit", str(limit)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return json.loads(done.stdout) if done.returncode == 0 else {"failed": done.stderr.splitlines()[-1:]}


def show(kind: str, count: int, took: dict) -> None:
    if "failed" in took:
        print(f"{kind:8s} {count:10,d} rows: failed ({took['failed']})", flush=True)
        return
    seconds, peaks = took["seconds"], took["peaks"]
    print(
        f"{kind:8s} {took['rows']:10,d} rows: survey {seconds[0]:6.2f} s, products {seconds[1]:6.2f} s, "
        f"optimisation {seconds[2]:6.2f} s ({took['evaluations']} evaluations), all {sum(seconds):6.2f} s; "
        f"peak {peaks[-1]:.2f} GB (before the optimisation {peaks[1]:.2f})",
        flush=True,
    )
    print("   " + ", ".join(f"{name} {m:,d}" for name, m in took["members"].items()))
    pairs = (f"{name} {took['estimates'][name]:.4g} ({true})" for name, true in TRUTH.items())
    print("   estimate (truth): " + ", ".join(pairs), flush=True)


def exponent(took: list[dict]) -> float:
    """Slope of log seconds over log rows, of what is done for each row."""
    size = np.log([one["rows"] for one in took])
    return float(np.polyfit(size, np.log([sum(one["seconds"][:2]) for one in took]), 1)[0])


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", nargs="*", type=int)
    parser.add_argument("--kinds", nargs="*", choices=COUNTS, default=list(COUNTS))
    parser.add_argument("--limit", type=float, default=LIMIT)
    parser.add_argument("--folder", help="where the invented data go")
    parser.add_argument("--fit")
    asked = parser.parse_args()
    if asked.fit:
        size = int(asked.limit * 2**30)
        resource.setrlimit(resource.RLIMIT_AS, (size, size))
        print(json.dumps(fit(asked.fit)))
        return
    for kind in asked.kinds:
        took = []
        for count in asked.rows or COUNTS[kind]:
            with tempfile.TemporaryDirectory(dir=asked.folder) as folder:
                path = Path(folder) / "ratings.parquet"
                write(path, count, kind)
                one = apart(path, asked.limit)
            show(kind, count, one)
            took += [one] if "failed" not in one else []
        if len(took) > 1:
            print(f"{kind:8s} seconds of survey and cross-products grow as rows to {exponent(took):.2f}")


if __name__ == "__main__":
    main()
