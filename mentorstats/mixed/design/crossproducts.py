"""All that a linear model needs of the rows: sums of products, which add over chunks."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.mixed.algebra.blocks import eliminate
from mentorstats.mixed.algebra.elimination import Pattern
from mentorstats.mixed.design.scan import Rows

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
        of_row, found = pd.factorize(key, sort=True)
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


Keyed = tuple[Ints, Floats]  # pairs, each as one ascending number, and their blocks


def _join(a: tuple[Ints, Ints, Floats], b: tuple[Ints, Ints, Floats], m: int) -> tuple[Ints, Ints, Floats]:
    key, total = _merge([(a[0] * m + a[1], a[2]), (b[0] * m + b[1], b[2])])
    return key // m, key % m, total


def _merge(parts: list[Keyed]) -> Keyed:
    """Sum the blocks of equal pairs."""
    if len(parts) == 1:
        return parts[0]
    key = np.concatenate([part[0] for part in parts])
    order = np.argsort(key, kind="stable")  # merges runs that are sorted, in linear time
    key = key[order]
    begin = np.flatnonzero(np.diff(key, prepend=key[:1] - 1))
    blocks = np.concatenate([part[1] for part in parts])[order]
    return key[begin], np.add.reduceat(blocks, begin) if len(begin) else blocks


class Pairs:
    """Blocks of pairs that come in chunks, merged so seldom that each is moved only a few times."""

    def __init__(self, m_right: int) -> None:
        self.m_right = m_right
        self._held: list[Keyed] = []

    def add(self, pair: Meeting, blocks: Floats) -> None:
        """Take the blocks of one chunk."""
        self._held.append((pair.left * self.m_right + pair.right, blocks))
        if sum(len(key) for key, _ in self._held[1:]) > len(self._held[0][0]):
            self._held = [_merge(self._held)]

    def result(self) -> tuple[Ints, Ints, Floats]:
        """Left and right member of each pair, and its block."""
        key, blocks = _merge(self._held)
        self._held = [(key, blocks)]
        return key // self.m_right, key % self.m_right, blocks


class Running:
    """Products summed chunk by chunk; a chunk costs what its own rows cost, however many members there are.

    Parameters
    ----------
    sizes
        Members of each factor, and effects of one member.
    columns
        Number of fixed columns.
    shift, scale
        What the response is reduced and divided by, for accuracy.
    """

    def __init__(
        self, sizes: tuple[tuple[int, int], ...], columns: int, *, shift: float, scale: float
    ) -> None:
        self.sizes, self.shift, self.scale = sizes, shift, scale
        self._n = self._left_out = 0
        self._log_weights = 0.0
        self._counts = [np.zeros(m, dtype=np.int64) for m, _ in sizes]
        self._within = [np.zeros((m, k, k)) for m, k in sizes]
        self._random = [np.zeros((m, k, columns + 1)) for m, k in sizes]
        self._pairs = {(s, t): Pairs(sizes[t][0]) for t in range(len(sizes)) for s in range(t)}
        self._fixed = np.zeros((columns + 1, columns + 1))

    def add(self, rows: Rows) -> None:
        """Add the products of these rows."""
        wide = np.column_stack([rows.fixed, (rows.response - self.shift) / self.scale])
        plain = bool((rows.weights == 1).all())
        weighted = wide if plain else wide * rows.weights[:, None]
        self._n += len(wide)
        self._left_out += rows.left_out
        self._log_weights += 0.0 if plain else float(np.log(rows.weights).sum())
        self._fixed += wide.T @ weighted
        for t, (m, _) in enumerate(self.sizes):
            codes, values = rows.codes[t], rows.values[t]
            counts = np.bincount(codes, minlength=m)
            present = np.flatnonzero(counts)
            number = (np.cumsum(counts > 0) - 1)[codes]
            self._counts[t] += counts
            self._within[t][present] += sums(number, len(present), values, values, rows.weights)
            self._random[t][present] += _scatter(number, len(present), values, weighted)
            for s in range(t):
                pair = meet(rows.codes[s], codes, self.sizes[s][0], m)
                blocks = sums(pair.of_row, len(pair.left), rows.values[s], values, rows.weights)
                self._pairs[s, t].add(pair, blocks)

    def result(self) -> CrossProducts:
        """Give the sums over all rows so far."""
        columns = len(self._fixed)
        parts = [part.reshape(-1, columns) for part in self._random]
        return CrossProducts(
            self._n,
            self._left_out,
            self._log_weights,
            self.sizes,
            tuple(self._counts),
            tuple(self._within),
            {pair: held.result() for pair, held in self._pairs.items()},
            np.concatenate(parts) if parts else np.zeros((0, columns)),
            self._fixed,
        )


def _scatter(number: Ints, m: int, values: Floats, columns: Floats) -> Floats:
    """Sum values × columns' over the rows of each member: (m, k, columns)."""
    n, k = values.shape
    at = number[:, None] * k + np.arange(k)
    design = sparse.csr_array((values.ravel(), at.ravel(), np.arange(n + 1) * k), shape=(n, m * k))
    return np.asarray(design.T @ columns).reshape(m, k, columns.shape[1])


def cross_products(
    rows: Rows, sizes: tuple[tuple[int, int], ...], *, shift: float, scale: float
) -> CrossProducts:
    """Sum the products over these rows, the response first shifted and divided for accuracy."""
    running = Running(sizes, rows.fixed.shape[1], shift=shift, scale=scale)
    running.add(rows)
    return running.result()


@dataclass(frozen=True, slots=True)
class Blocks:
    """Where blocks of the random columns' products stand in the matrix that is factorised."""

    sizes: tuple[tuple[int, int], ...]
    pairs: tuple[Pair, ...]
    left: dict[Pair, Ints]
    right: dict[Pair, Ints]
    elimination: Pattern
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
        eliminate(int(offsets[-1]), row[keep], col[keep], factors),
        keep,
        row[keep],
        col[keep],
    )
