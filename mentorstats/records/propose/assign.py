"""Which column is which field: the assignment with the greatest sum of scores."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from mentorstats.records.propose import evidence
from mentorstats.records.propose.columns import Column
from mentorstats.records.propose.evidence import Pools

LEAST = 0.34  # score below which a column is left out
UNSURE = 0.7  # confidence below which a guess is one to look at

Fields = Sequence[tuple[str, str]]  # table and field; one of each name


@dataclass(frozen=True, slots=True)
class Match:
    """A column taken for a field: its score, and by how much the next best choice is worse."""

    column: Column
    score: float
    margin: float

    @property
    def confidence(self) -> float:
        """How sure the guess is, from 0 to 1 (see tests/records/propose for how often each was right)."""
        near = min(max(self.margin, 0.0) / 0.25, 1.0)
        return float(np.clip(self.score * (0.62 + 0.38 * near), 0.05, 0.99))


def matches(columns: Sequence[Column], fields: Fields, pools: Pools) -> dict[str, Match]:
    """Assign columns to fields, each at most once.

    Parameters
    ----------
    columns
        Columns that may be assigned.
    fields
        The table from which each field is described, and its name; a name may occur for several tables and
        is then one thing.
    pools
        Codes that other sheets hold.

    Returns
    -------
    dict
        Match by field name; fields and columns without a partner are left out.
    """
    names = list(dict.fromkeys(name for _, name in fields))
    if not columns or not names:
        return {}
    scores = score_table(columns, fields, pools)
    worth = np.where(scores >= LEAST, scores**2, 0.0)  # squared, so that one good match beats two poor ones
    rows, places = linear_sum_assignment(worth, maximize=True)
    found = {}
    for row, place in zip(rows.tolist(), places.tolist(), strict=True):
        if worth[row, place] > 0.0:
            others = np.delete(scores[row], place)
            rivals = np.delete(scores[:, place], row)
            free = [r for r in range(len(columns)) if r not in rows[worth[rows, places] > 0] or r == row]
            next_field = float(others.max()) if others.size else 0.0
            next_column = max((float(scores[r, place]) for r in free if r != row), default=0.0)
            rival = max(next_column, 0.0 if not rivals.size else float(rivals.max()) - 0.15)
            margin = float(scores[row, place]) - max(next_field - 0.1, rival)
            found[names[place]] = Match(columns[row], float(scores[row, place]), margin)
    return found


def score_table(columns: Sequence[Column], fields: Fields, pools: Pools) -> np.ndarray:
    """Scores, a row a column and a column a field name; a name of several tables has its best score."""
    names = list(dict.fromkeys(name for _, name in fields))
    scores = np.zeros((len(columns), len(names)))
    for table, name in fields:
        place = names.index(name)
        for row, column in enumerate(columns):
            scores[row, place] = max(scores[row, place], evidence.score(column, table, name, pools))
    return scores


def weights(tables: Mapping[str, Sequence[str]]) -> dict[tuple[str, str], float]:
    """How much a field tells of its table: one that few tables have tells more."""
    count: dict[str, int] = {}
    for fields in tables.values():
        for name in fields:
            count[name] = count.get(name, 0) + 1
    return {(table, name): count[name] ** -0.5 for table, fields in tables.items() for name in fields}
