"""Where the headings of a sheet stand: below title rows, sometimes in two rows."""

from __future__ import annotations

import re
from functools import cache

from mentorstats import dictionary
from mentorstats.records.propose import words
from mentorstats.records.propose.grids import Grid

_KNOWN = 0.6  # share of a cell's words from which it counts as a known heading
_NUMBER = re.compile(r"^[-+]?\d+([.,]\d+)?\s*%?$")
_DATE = re.compile(r"^\d{1,4}[-/. ]\d{1,2}[-/. ]\d{1,4}")

Row = tuple[int, tuple[str, ...]]


def rows_of(grid: Grid) -> tuple[int, ...]:
    """Return the rows in which the headings stand, as a spreadsheet counts, one or two of them."""
    head = grid.head
    width = max(len(cells) for _, cells in head)
    if width == 1:
        return (head[0][0],)
    worth = [_worth(cells, width, place) for place, (_, cells) in enumerate(head[:-1] or head)]
    best = max(range(len(worth)), key=worth.__getitem__)
    if best and _above(head[best - 1], head[best], head[best + 1 :]):
        return (head[best - 1][0], head[best][0])
    if best + 2 < len(head) and _above(head[best], head[best + 1], head[best + 2 :]):
        return (head[best][0], head[best + 1][0])
    return (head[best][0],)


def _worth(cells: tuple[str, ...], width: int, place: int) -> float:
    """How much a row looks like headings: many filled cells, words and not values, some known, none twice."""
    filled = [cell for cell in cells if cell]
    if not filled:
        return -1.0
    values = sum(bool(_NUMBER.match(cell) or _DATE.match(cell)) for cell in filled) / len(filled)
    known = sum(_known(cell) for cell in filled)
    distinct = len(set(filled)) / len(filled)
    return 2.5 * len(filled) / width + distinct + 1.2 * known / len(filled) * 2 - 3 * values - 0.06 * place


def _known(cell: str) -> bool:
    """Whether most words of a cell are words of headings that the dictionary has."""
    found = words.tokens(cell)
    return bool(found) and sum(word in _vocabulary() for word in found) >= _KNOWN * len(found)


@cache
def _vocabulary() -> frozenset[str]:
    return frozenset(
        word
        for table in dictionary.tables()
        for name in dictionary.table(table).names
        for phrase in words.phrases(table, name)
        for word in words.tokens(phrase)
    )


def _above(upper: Row, lower: Row, below: tuple[Row, ...]) -> bool:
    """Whether the upper row gives groups for, or completes, the headings of the row under it."""
    (high, over), (low, under) = upper, lower
    if low != high + 1:
        return False
    width = max(len(over), len(under))
    over, under = over + ("",) * (width - len(over)), under + ("",) * (width - len(under))
    held = [cell for cell in over if cell]
    if len(held) < 2 or any(_NUMBER.match(cell) and "." not in cell for cell in held):
        return False
    if not below or _as_data(under, below):
        return False
    named = [cell for cell in under if cell]
    repeated = len(set(named)) < len(named)
    data = [any(place < len(cells) and cells[place] for _, cells in below) for place in range(width)]
    completes = any(o and not u and d for o, u, d in zip(over, under, data, strict=True))
    grouped = any(u and not o for o, u in zip(over, under, strict=True))
    return grouped and (repeated or completes) if named else False


def _as_data(under: tuple[str, ...], below: tuple[Row, ...]) -> bool:
    """Whether the lower row holds what stands in the rows below it, and is a record."""
    like = total = 0
    for place, cell in enumerate(under):
        column = [cells[place] for _, cells in below if place < len(cells) and cells[place]]
        if cell and column:
            total += 1
            like += cell in column or _shape(cell) in {_shape(other) for other in column}
    return total == 0 or like > 0.5 * total


def _shape(cell: str) -> str:
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", cell))
