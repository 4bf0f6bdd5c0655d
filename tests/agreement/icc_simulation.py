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


CELLS = (
    Cell(40, 6, 1.0, 0.0, 1.0, 0.3, 0.7),
    Cell(40, 6, 0.6, 0.0, 1.0, 0.3, 0.7),
    Cell(40, 4, 0.6, 0.0, 2.0, 1.0, 0.7),
    Cell(60, 20, 0.12, 0.0, 1.0, 0.3, 0.7),
    Cell(30, 8, 0.6, 0.0, 0.3, 0.1, 1.0),
    Cell(40, 6, 0.6, 0.0, 1.0, 0.0, 0.7),
    Cell(25, 10, 0.25, 0.0, 0.1, 0.1, 1.0),
    Cell(60, 8, 0.4, 0.5, 0.3, 0.2, 0.6),
)


def data_set(cell, seed):
    """One data set."""
    generator = np.random.default_rng([seed, *map(int, (cell.units, cell.raters, 100 * cell.of_rest))])
    unit = np.sqrt(cell.of_unit) * generator.normal(size=cell.units)
    cluster = np.sqrt(cell.of_cluster) * generator.normal(size=-(-cell.units // 4))
    rater = np.sqrt(cell.of_rater) * generator.normal(size=cell.raters)
    rest = np.sqrt(cell.of_rest) * generator.normal(size=(cell.units, cell.raters))
    at, by = np.nonzero(generator.random(rest.shape) < cell.share)
    score = unit[at] + cluster[at // 4] + rater[by] + rest[at, by]
    return pd.DataFrame({"unit": at, "rater": by, "level": score, "cluster": at // 4})


def run(cell, n):
    """How many of the first n data sets have an interval, and one that holds the truth (4, 2)."""
    counts = np.zeros((4, 2), dtype=int)
    cluster = "cluster" if cell.of_cluster else None
    signal = cell.of_unit + cell.of_cluster
    for seed in range(n):
        found = icc_incomplete(
            data_set(cell, seed), unit="unit", rater="rater", level="level", cluster=cluster, replicates=2000
        )
        truth = signal / (signal + cell.of_rater * found["q"] + cell.of_rest / found["k"])
        counts[:, 0] += found["low"].notna()
        counts[:, 1] += (found["low"] <= truth) & (truth <= found["high"])
    return counts


def write():
    """Run all cells and write the table."""
    with TABLE.open("w", encoding="utf-8", newline="") as handle:
        out = csv.writer(handle, lineterminator="\n")
        names = [field.name for field in fields(Cell)]
        out.writerow([*names, "coefficient", "data_sets", "intervals", "covered", "subset"])
        for cell in CELLS:
            first, whole = run(cell, SUBSET), run(cell, DATA_SETS)
            for name, part, (made, held) in zip(COEFFICIENTS, first, whole, strict=True):
                out.writerow([*astuple(cell), name, DATA_SETS, made, held, part[1]])


if __name__ == "__main__":
    write()
