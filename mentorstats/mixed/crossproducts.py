"""All that a linear model needs of the rows: sums of products, which add over chunks."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mentorstats.mixed.elimination import Elimination
from mentorstats.mixed.survey import Rows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Pair = tuple[int, int]

_TABLE = 4  # a table of all pairs is used while it has at most this many cells a row


@dataclass(frozen=True, slots=True)
class Meeting:
    """Pairs of members of two factors that share a row, and which pair each row belongs to."""

    left: Ints
    right: Ints
    of_row: Ints


def meet(left: Ints, right: Ints, m_left: int, m_right: int) -> Meeting:
    """Find the pairs of members that occur together."""
    key = left * m_right + right
    cells = m_left * m_right
    if cells <= _TABLE * len(key):
        present = np.zeros(cells, dtype=bool)
        present[key] = True
        found = np.flatnonzero(present)
        number = np.cumsum(present) - 1
        of_row = number[key]
    else:
        found, of_row = np.unique(key, return_inverse=True)
    return Meeting(found // m_right, found % m_right, of_row)


def sums(pair: Ints, count: int, left: Floats, right: Floats, weights: Floats) -> Floats:
    """Sum weight × left × right' over the rows of each pair: (count, k_left, k_right)."""
    out = np.empty((count, left.shape[1], right.shape[1]))
    for a in range(left.shape[1]):
        scaled = left[:, a] * weights
        for b in range(right.shape[1]):
            out[:, a, b] = np.bincount(pair, scaled * right[:, b], minlength=count)
    return out


@dataclass(frozen=True, slots=True)
class CrossProducts:
    """Sums over rows; X' holds the fixed columns and, last, the response.

    ``within[t]`` is (m, k, k), ``between[t, s]`` pairs with their (pairs, k_t, k_s), ``random_fixed``
    (N, p + 1), ``fixed`` (p + 1, p + 1). Random columns run factor by factor, member by member.
    """

    n: int
    left_out: int
    log_weights: float
    sizes: tuple[tuple[int, int], ...]  # (m, k) of each factor
    counts: tuple[Ints, ...]  # rows of each member
    within: tuple[Floats, ...]
    between: dict[Pair, tuple[Ints, Ints, Floats]]
    random_fixed: Floats
    fixed: Floats

    def __add__(self, other: CrossProducts) -> CrossProducts:
        """Add the sums of another chunk read with the same layout."""
        return CrossProducts(
            self.n + other.n,
            self.left_out + other.left_out,
            self.log_weights + other.log_weights,
            self.sizes,
            tuple(a + b for a, b in zip(self.counts, other.counts, strict=True)),
            tuple(a + b for a, b in zip(self.within, other.within, strict=True)),
            {
                pair: _join(self.between[pair], other.between[pair], self.sizes[pair[1]][0])
                for pair in self.between
            },
            self.random_fixed + other.random_fixed,
            self.fixed + other.fixed,
        )

    def select(self, factors: list[int], columns: list[int]) -> CrossProducts:
        """Keep some factors and some fixed columns (the response always)."""
        wide = [*columns, len(self.fixed) - 1]
        ends = np.concatenate([[0], np.cumsum([m * k for m, k in self.sizes])]).astype(int)
        rows = [np.arange(ends[t], ends[t + 1]) for t in factors]
        random = np.concatenate(rows) if rows else np.zeros(0, dtype=np.int64)
        number = {old: new for new, old in enumerate(factors)}
        return replace(
            self,
            sizes=tuple(self.sizes[t] for t in factors),
            counts=tuple(self.counts[t] for t in factors),
            within=tuple(self.within[t] for t in factors),
            between={
                (number[s], number[t]): part
                for (s, t), part in self.between.items()
                if s in number and t in number
            },
            random_fixed=np.ascontiguousarray(self.random_fixed[random][:, wide]),
            fixed=self.fixed[wide][:, wide],
        )

    def reordered(self, t: int, order: list[int]) -> CrossProducts:
        """Change the order of one factor's effects."""
        m, k = self.sizes[t]
        ends = np.concatenate([[0], np.cumsum([m * k for m, k in self.sizes])]).astype(int)
        random = self.random_fixed.copy()
        part = slice(ends[t], ends[t + 1])
        random[part] = random[part].reshape(m, k, -1)[:, order].reshape(m * k, -1)
        between = {}
        for (r, s), (left, right, block) in self.between.items():
            turned = block[:, order] if r == t else block[:, :, order] if s == t else block
            between[r, s] = (left, right, turned)
        within = list(self.within)
        within[t] = within[t][:, order][:, :, order]
        return replace(self, within=tuple(within), between=between, random_fixed=random)


def _join(a: tuple[Ints, Ints, Floats], b: tuple[Ints, Ints, Floats], m: int) -> tuple[Ints, Ints, Floats]:
    key = np.concatenate([a[0] * m + a[1], b[0] * m + b[1]])
    found, number = np.unique(key, return_inverse=True)
    total = np.zeros((len(found), *a[2].shape[1:]))
    total[number[: len(a[0])]] = a[2]
    total[number[len(a[0]) :]] += b[2]
    return found // m, found % m, total


def cross_products(
    rows: Rows, sizes: tuple[tuple[int, int], ...], *, shift: float, scale: float
) -> CrossProducts:
    """Sum the products over these rows, the response first shifted and divided for accuracy."""
    y = (rows.response - shift) / scale
    wide = np.column_stack([rows.fixed, y])
    weighted = wide * rows.weights[:, None]
    within, between, random_fixed, counts = [], {}, [], []
    for t, (m, k) in enumerate(sizes):
        codes, values = rows.codes[t], rows.values[t]
        counts.append(np.bincount(codes, minlength=m))
        within.append(sums(codes, m, values, values, rows.weights))
        part = np.empty((m, k, wide.shape[1]))
        for a in range(k):
            for c in range(wide.shape[1]):
                part[:, a, c] = np.bincount(codes, values[:, a] * weighted[:, c], minlength=m)
        random_fixed.append(part.reshape(m * k, -1))
        for s in range(t):
            pair = meet(rows.codes[s], codes, sizes[s][0], m)
            block = sums(pair.of_row, len(pair.left), rows.values[s], values, rows.weights)
            between[s, t] = (pair.left, pair.right, block)
    return CrossProducts(
        len(y),
        rows.left_out,
        float(np.log(rows.weights).sum()),
        sizes,
        tuple(counts),
        tuple(within),
        between,
        np.concatenate(random_fixed) if random_fixed else np.zeros((0, wide.shape[1])),
        wide.T @ weighted,
    )


@dataclass(frozen=True, slots=True)
class Blocks:
    """Where blocks of the random columns' products stand in the matrix that is factorised."""

    sizes: tuple[tuple[int, int], ...]
    pairs: tuple[Pair, ...]
    left: dict[Pair, Ints]
    right: dict[Pair, Ints]
    elimination: Elimination
    keep: Ints  # entries of the flattened blocks that lie on or below the diagonal
    rows: Ints  # of the entries kept
    cols: Ints

    @property
    def offsets(self) -> Ints:
        """First column of each factor."""
        return np.concatenate([[0], np.cumsum([m * k for m, k in self.sizes])]).astype(np.int64)


def lay_blocks(sizes: tuple[tuple[int, int], ...], meetings: dict[Pair, tuple[Ints, Ints]]) -> Blocks:
    """Work out the pattern once: diagonal blocks first, then the pairs of factors."""
    offsets = np.concatenate([[0], np.cumsum([m * k for m, k in sizes])]).astype(np.int64)
    rows, cols = [], []
    for t, (m, k) in enumerate(sizes):
        start = offsets[t] + np.arange(m)[:, None, None] * k
        rows.append(np.broadcast_to(start + np.arange(k)[:, None], (m, k, k)).ravel())
        cols.append(np.broadcast_to(start + np.arange(k), (m, k, k)).ravel())
    pairs = tuple(sorted(meetings))
    for s, t in pairs:
        left, right = meetings[s, t]
        k_s, k_t = sizes[s][1], sizes[t][1]
        shape = (len(left), k_s, k_t)
        row = offsets[s] + left[:, None, None] * k_s + np.arange(k_s)[:, None]
        col = offsets[t] + right[:, None, None] * k_t + np.arange(k_t)
        rows.append(np.broadcast_to(row, shape).ravel())
        cols.append(np.broadcast_to(col, shape).ravel())
    none = np.zeros(0, dtype=np.int64)
    row, col = np.concatenate([none, *rows]), np.concatenate([none, *cols])
    diagonal = sum(m * k * k for m, k in sizes)
    keep = np.concatenate([np.flatnonzero(row[:diagonal] >= col[:diagonal]), np.arange(diagonal, len(row))])
    factors = [np.arange(offsets[t], offsets[t + 1]) for t in range(len(sizes))]
    return Blocks(
        sizes,
        pairs,
        {pair: meetings[pair][0] for pair in pairs},
        {pair: meetings[pair][1] for pair in pairs},
        Elimination(int(offsets[-1]), row[keep], col[keep], factors),
        keep,
        row[keep],
        col[keep],
    )
