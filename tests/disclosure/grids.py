"""Tables of counts with their margins, and an intruder who tries every possibility."""

import numpy as np
import pandas as pd

from mentorstats.disclosure import from_tables

TOTAL = "total"


def grid(values, rows="row", columns="column"):
    """Return a two-way table with its margins."""
    counts = np.asarray(values)
    whole = np.block([[counts, counts.sum(axis=1, keepdims=True)], [counts.sum(axis=0), counts.sum()]])
    n, m = counts.shape
    labels = [*map(str, range(n)), TOTAL], [*map(str, range(m)), TOTAL]
    cells = [(a, b, whole[i, j]) for i, a in enumerate(labels[0]) for j, b in enumerate(labels[1])]
    return pd.DataFrame(cells, columns=[rows, columns, "n"])


def name(i, j, rows="row", columns="column"):
    return " · ".join(sorted([f"{rows} {i}", f"{columns} {j}"]))


def names(mask, **labels):
    return [name(i, j, **labels) for i, j in zip(*np.nonzero(mask), strict=True)]


def random_tables(seed, n_rows=3, n_columns=3, most=14):
    """Return a table of sites by cohorts, and one of the same sites by area, that share the sites' totals."""
    rng = np.random.default_rng(seed)
    first = rng.integers(1, most, (n_rows, n_columns))
    tables = [grid(first, "site", "cohort")]
    if rng.random() < 0.5:
        totals = first.sum(axis=1)
        part = np.array([rng.integers(1, total) for total in totals])
        tables.append(grid(np.column_stack([part, totals - part]), "site", "area"))
    return tables


def sensitive(published, minimum):
    cells = published.cells["value"]
    return [str(cell) for cell in cells.index[(cells > 0) & (cells < minimum)]]


def rows_and_columns(published, protected):
    """The naive rule: in every line with one hidden cell, hide the smallest other one, until none has one."""
    hidden, size = set(protected), published.cells["value"]
    changed = True
    while changed:
        changed = False
        for line in published.sums:
            if len(hidden & set(line.cells)) == 1:
                hidden.add(min(set(line.cells) - hidden, key=lambda cell: (size[cell], cell)))
                changed = True
    return published.hiding(sorted(hidden))


def tried(published, names, least=1):
    """Least and greatest count of hidden cells, by trying all whole numbers; no linear algebra."""
    hidden, value = published.hidden, published.cells["value"].to_dict()
    lines = [line for line in published.sums if set(line.cells) & set(hidden)]
    known = {
        cell: [value[line.total] for line in lines if cell in line.parts and line.total not in hidden]
        for cell in hidden
    }
    most = {cell: int(min(known[cell], default=value[cell] + 5)) for cell in hidden}
    found = {cell: set() for cell in names}

    def consistent(world):
        here = value | world
        for line in lines:
            if all(cell in world or cell not in hidden for cell in line.cells) and here[line.total] != sum(
                here[part] for part in line.parts
            ):
                return False
        return True

    def search(world, left):
        if not left:
            for cell in names:
                found[cell].add(world[cell])
            return
        for number in range(least, most[left[0]] + 1):
            more = {**world, left[0]: number}
            if consistent(more):
                search(more, left[1:])

    search({}, hidden)
    return {cell: (min(seen), max(seen)) for cell, seen in found.items()}


def published_of(seed, **sizes):
    return from_tables(random_tables(seed, **sizes), least=1)
