"""Data sets with known variances, and how often intervals of incomplete-data coefficients hold the truth.

Run as a script to write the table: python tests/agreement/icc_simulation.py
"""

import csv
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd

from mentorstats.agreement import icc_incomplete

TABLE = Path(__file__).with_name("icc_coverage.csv")
COEFFICIENTS = ("icc_a_1", "icc_c_1", "icc_a_k", "icc_c_k")
DATA_SETS, SUBSET = 1000, 25


@dataclass(frozen=True)
class Cell:
    """Units and raters, the share of cells scored, and the variances."""

    units: int
    raters: int
    share: float
    of_cluster: float  # clusters of four units; zero: none
    of_unit: float
    of_rater: float
    of_rest: float
    of_second: float = 0.0  # ten clusters across those


CELLS = (
    Cell(40, 6, 1.0, 0.0, 1.0, 0.3, 0.7),
    Cell(40, 6, 0.6, 0.0, 1.0, 0.3, 0.7),
    Cell(40, 4, 0.6, 0.0, 2.0, 1.0, 0.7),
    Cell(60, 20, 0.12, 0.0, 1.0, 0.3, 0.7),
    Cell(30, 8, 0.6, 0.0, 0.3, 0.1, 1.0),
    Cell(40, 6, 0.6, 0.0, 1.0, 0.0, 0.7),
    Cell(25, 10, 0.25, 0.0, 0.1, 0.1, 1.0),
    Cell(60, 8, 0.4, 0.5, 0.3, 0.2, 0.6),
    Cell(60, 8, 0.4, 0.5, 0.3, 0.2, 0.6, 0.3),
)


def data_set(cell, seed):
    """One data set."""
    generator = np.random.default_rng([seed, *map(int, (cell.units, cell.raters, 100 * cell.of_rest))])
    unit = np.sqrt(cell.of_unit) * generator.normal(size=cell.units)
    cluster = np.sqrt(cell.of_cluster) * generator.normal(size=-(-cell.units // 4))
    rater = np.sqrt(cell.of_rater) * generator.normal(size=cell.raters)
    rest = np.sqrt(cell.of_rest) * generator.normal(size=(cell.units, cell.raters))
    at, by = np.nonzero(generator.random(rest.shape) < cell.share)
    second = np.sqrt(cell.of_second) * generator.normal(size=10)
    score = unit[at] + cluster[at // 4] + second[at % 10] + rater[by] + rest[at, by]
    return pd.DataFrame({"unit": at, "rater": by, "level": score, "cluster": at // 4, "second": at % 10})


def run(cell, n):
    """Of the first n data sets: with an interval, holding the truth, with the SEM in its own (4, 3)."""
    counts = np.zeros((4, 3), dtype=int)
    cluster = [name for name, of in (("cluster", cell.of_cluster), ("second", cell.of_second)) if of] or None
    signal = cell.of_unit + cell.of_cluster + cell.of_second
    for seed in range(n):
        found = icc_incomplete(
            data_set(cell, seed), unit="unit", rater="rater", level="level", cluster=cluster, replicates=2000
        )
        error = cell.of_rater * found["q"] + cell.of_rest / found["k"]
        truth, sem = signal / (signal + error), np.sqrt(error)
        counts[:, 0] += found["low"].notna()
        counts[:, 1] += (found["low"] <= truth) & (truth <= found["high"])
        counts[:, 2] += (found["sem_low"] <= sem) & (sem <= found["sem_high"])
    return counts


def write():
    """Run all cells and write the table."""
    with TABLE.open("w", encoding="utf-8", newline="") as handle:
        out = csv.writer(handle, lineterminator="\n")
        names = [field.name for field in fields(Cell)]
        out.writerow([*names, "coefficient", "data_sets", "intervals", "covered", "sem_covered", "subset"])
        for cell in CELLS:
            first, whole = run(cell, SUBSET), run(cell, DATA_SETS)
            for name, part, counted in zip(COEFFICIENTS, first, whole, strict=True):
                out.writerow([*astuple(cell), name, DATA_SETS, *counted, part[1]])


if __name__ == "__main__":
    write()
