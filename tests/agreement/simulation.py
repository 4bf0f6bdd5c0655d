"""Clustered pairs of ratings with known agreement, for the coverage of intervals.

A pair copies one level with probability 1 - d and is two independent draws with probability d. Then every
kappa, weighted or not, and alpha is 1 - E(d), whatever the margins; AC1 follows from them. The tendency
d differs between clusters by a beta distribution with the intracluster correlation asked for. ``candidate``
clusters all hold as many pairs; ``supervisor`` clusters hold one to seven candidates.

Run ``python tests/agreement/simulation.py`` to make coverage.csv again (35 minutes on one core).
"""

import csv
import itertools
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import sparse

from mentorstats.agreement.coefficients.coefficients import estimate
from mentorstats.agreement.coefficients.members import Asked, kinds
from mentorstats.agreement.counts.tabulate import Tabulation, Way

TABLE = Path(__file__).parent / "coverage.csv"
SEED = 20261125
DATA_SETS, SUBSET = 2000, 100
COEFFICIENTS = ("cohen_kappa", "quadratic_kappa", "krippendorff_alpha", "gwet_ac")

CORRELATIONS, PAIRS, KAPPAS, CLUSTERS = (0.0, 0.05, 0.2), (2, 5, 20), (0.2, 0.6, 0.9), (20, 50, 200)
MARGINS = {
    ("even", 3): (1 / 3, 1 / 3, 1 / 3),
    ("even", 4): (0.25, 0.25, 0.25, 0.25),
    ("uneven", 3): (0.02, 0.28, 0.70),
    ("uneven", 4): (0.02, 0.18, 0.70, 0.10),
}


@dataclass(frozen=True)
class Cell:
    cluster: str
    correlation: float
    pairs: int
    margins: str
    levels: int
    kappa: float
    clusters: int

    def seed(self):
        return [SEED, CELLS.index(self)]


CELLS = [
    Cell(cluster, correlation, pairs, margins, levels, kappa, clusters)
    for cluster, correlation, pairs, (margins, levels), kappa, clusters in itertools.product(
        ("candidate", "supervisor"), CORRELATIONS, PAIRS, MARGINS, KAPPAS, CLUSTERS
    )
]


def truth(cell):
    """The coefficients in the population."""
    pi = np.array(MARGINS[cell.margins, cell.levels])
    observed = cell.kappa + (1 - cell.kappa) * (pi @ pi)
    chance = (pi @ (1 - pi)) / (cell.levels - 1)
    kappa = dict.fromkeys(COEFFICIENTS[:3], cell.kappa)
    return {**kappa, "gwet_ac": (observed - chance) / (1 - chance)}


def draw(cell, rng, n):
    """Counts of every pair of levels in every cluster of ``n`` data sets (n, clusters, levels squared)."""
    pi, mean = np.array(MARGINS[cell.margins, cell.levels]), 1 - cell.kappa
    shape = (n, cell.clusters)
    if cell.correlation:
        size = 1 / cell.correlation - 1
        tendency = rng.beta(mean * size, (1 - mean) * size, shape)
    else:
        tendency = np.full(shape, mean)
    candidates = rng.integers(1, 8, shape) if cell.cluster == "supervisor" else np.ones(shape, dtype=int)
    apart, same = np.outer(pi, pi).ravel(), np.diag(pi).ravel()
    return rng.multinomial(
        cell.pairs * candidates, (1 - tendency)[..., None] * same + tendency[..., None] * apart
    )


def tables(cell, rng, n):
    """Tabulations of ``n`` data sets, with their clusters."""
    q = cell.levels
    first, second = np.divmod(np.arange(q * q), q)
    level = np.column_stack([first, second]).ravel()
    pattern, rater = np.repeat(np.arange(q * q), 2), np.tile([0, 1], q * q)
    counts = np.bincount(pattern * q + level, minlength=q * q * q).reshape(q * q, q).astype(float)
    for by_cluster in draw(cell, rng, n):
        members = sparse.csr_array(by_cluster.astype(float))
        units = by_cluster.sum(axis=0).astype(float)
        yield Tabulation(counts, units, pattern, rater, level, 2, (Way(1, True, members),))


def run(cell, evaluated=DATA_SETS):
    """How often the default and the naive interval hold the truth; ``subset`` counts the first data sets."""
    asked = {
        name: Asked(tuple(range(1, cell.levels + 1)), name, "auto", 2000, 0.95, 0)
        for name in ("identity", "quadratic")
    }
    known = truth(cell)
    members = {}
    for name in COEFFICIENTS:
        weights = "quadratic" if name == "quadratic_kappa" else "identity"
        plain = "cohen_kappa" if name == "quadratic_kappa" else name
        members[name] = next(kind for kind in kinds(asked[weights], 2) if kind.name == plain), asked[weights]
    tally = {name: {"subset": 0, "default": 0, "naive": 0, "intervals": 0} for name in COEFFICIENTS}
    rng = np.random.default_rng(cell.seed())
    for number, table in enumerate(itertools.islice(tables(cell, rng, DATA_SETS), evaluated)):
        alone = Tabulation(table.counts, table.units, table.pattern, table.rater, table.level, 2)
        for name, (kind, wanted) in members.items():
            row = estimate(kind, table, wanted, None, None)
            if np.isnan(row.low):
                continue
            held = row.low <= known[name] <= row.high
            naive = estimate(kind, alone, wanted, None, None)
            tally[name]["intervals"] += 1
            tally[name]["default"] += held
            tally[name]["naive"] += naive.low <= known[name] <= naive.high
            tally[name]["subset"] += held and number < SUBSET
    return tally


FIELDS = ["cluster", "correlation", "pairs", "margins", "levels", "kappa", "clusters", "coefficient"]
COUNTS = ["data_sets", "intervals", "default", "naive", "subset"]


def main():
    begun = time.monotonic()
    with TABLE.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow([*FIELDS, *COUNTS])
        for number, cell in enumerate(CELLS, start=1):
            for name, counted in run(cell).items():
                given = [getattr(cell, field) for field in FIELDS[:-1]]
                writer.writerow([*given, name, DATA_SETS, *(counted[key] for key in COUNTS[1:])])
            handle.flush()
            print(
                f"\r{number} of {len(CELLS)} cells, {time.monotonic() - begun:.0f} s", end="", file=sys.stderr
            )


if __name__ == "__main__":
    main()
