"""Factorise a symmetric positive definite matrix of fixed pattern, and invert it on that pattern.

The matrix of a model with random effects is sparse with dense corners. Columns that meet few others
are eliminated level by level, all columns of a level at once (no column of a level touches another);
what remains, the tail, is dense and goes to LAPACK. The pattern is worked out once, the numbers as
often as the variances change. Entries of the inverse are found from the root downwards
[takahashi_1973].
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lapack
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_PAIR = 12e-9  # seconds a pair of a sparse update takes, and a fused operation in LAPACK; only their
_FLOP = 4e-11  # ratio matters, for choosing what is eliminated sparsely
_LEVEL = 2e-4
_PLAIN_ENOUGH = 0.004  # seconds an evaluation; looking for a better ordering takes as long as a few
_LARGEST_TAIL = 9000
_DENSE_SHARE = 0.12  # share of entries above which a matrix product beats a list of pairs


class Factor(Protocol):
    """One factorisation: log determinant, solutions, entries of the inverse."""

    @property
    def log_determinant(self) -> float:
        """Logarithm of the determinant."""

    def half(self, right: Floats) -> Floats:
        """Solve the lower half: the returned w has w'w = right' inverse right; its rows in any fixed order.

        ``right`` is (n, c).
        """

    def solve(self, right: Floats) -> Floats:
        """Solve for each column of ``right``, (n, c)."""

    def back(self, half: Floats) -> Floats:
        """Finish a solution from its lower half; also turns unit noise into noise of covariance inverse."""

    def inverse(self) -> Floats:
        """Entries of the inverse at the pattern, in the order of the pattern given at the start."""

    def inverse_diagonal(self) -> Floats:
        """Diagonal of the inverse, (n,)."""


class Pattern(Protocol):
    """Where a matrix has entries."""

    def factorise(self, numbers: Floats) -> Factor:
        """Factorise the matrix with these numbers, in the order of the pattern given at the start."""


@dataclass(frozen=True, slots=True)
class Ordering:
    """Which columns are eliminated sparsely, in which order, and where they then hold numbers."""

    place: Ints  # new position of each column
    head: int  # how many are eliminated sparsely
    starts: Ints  # where each head column's rows begin
    rows: Ints  # rows below the diagonal, ascending, in new positions


def plain_ordering(n: int, rows: Ints, cols: Ints, first: Ints) -> Ordering:
    """Eliminate one factor (columns ``first``), leave everything else in the tail."""
    chosen = np.zeros(n, dtype=bool)
    chosen[first] = True
    place = np.empty(n, dtype=np.int64)
    place[first] = np.arange(len(first))
    place[~chosen] = np.arange(len(first), n)
    low, high = _below(place, rows, cols)
    keep = low < len(first)
    pattern = sparse.csc_array(
        (np.ones(int(keep.sum())), (high[keep], low[keep])), shape=(n, max(len(first), 1))
    )
    pattern.sum_duplicates()
    return Ordering(
        place, len(first), pattern.indptr[: len(first) + 1].astype(np.int64), pattern.indices.astype(np.int64)
    )


def filling_ordering(n: int, rows: Ints, cols: Ints) -> Ordering:
    """Order all columns by minimum degree, and put the crowded end of the elimination in the tail."""
    noise = np.random.default_rng(1).uniform(0.5, 1.0, len(rows))
    off = sparse.csc_array((noise, (rows, cols)), shape=(n, n))
    off = off + off.T
    heavy = np.asarray(abs(off).sum(axis=0)).ravel() + 1.0
    lu = splu(
        (off + sparse.diags_array(heavy)).tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    lower = sparse.tril(sparse.csc_array(lu.L), k=-1).tocsc()
    lower.sort_indices()
    counts = np.diff(lower.indptr).astype(np.float64)
    pairs = np.concatenate([[0.0], np.cumsum(counts * (counts + 1) / 2)])
    depth = _levels(n, lower.indptr, lower.indices)
    deepest = np.concatenate([[0], np.maximum.accumulate(depth + 1)])
    tail = n - np.arange(n + 1)
    cost = pairs * 3 * _PAIR + tail**3.0 * _FLOP + deepest * _LEVEL
    cost[tail > _LARGEST_TAIL] = np.inf
    head = int(np.argmin(cost))
    end = lower.indptr[head]
    return Ordering(
        np.asarray(lu.perm_c, dtype=np.int64),
        head,
        lower.indptr[: head + 1].astype(np.int64),
        lower.indices[:end].astype(np.int64),
    )


def choose_ordering(n: int, rows: Ints, cols: Ints, factors: list[Ints]) -> Ordering:
    """Take the plain ordering where it is cheap, the filling one otherwise."""
    largest = max(factors, key=len, default=np.zeros(0, dtype=np.int64))
    plain = plain_ordering(n, rows, cols, largest)
    counts = np.diff(plain.starts).astype(np.float64)
    tail = n - plain.head
    cost = float((counts * (counts + 1) / 2).sum()) * 3 * _PAIR + tail**3.0 * _FLOP
    if cost < _PLAIN_ENOUGH or len(factors) <= 1:
        return plain
    filling = filling_ordering(n, rows, cols)
    counts = np.diff(filling.starts).astype(np.float64)
    other = float((counts * (counts + 1) / 2).sum()) * 3 * _PAIR + (n - filling.head) ** 3.0 * _FLOP
    return filling if other < cost else plain


def _below(place: Ints, rows: Ints, cols: Ints) -> tuple[Ints, Ints]:
    a, b = place[rows], place[cols]
    low, high = np.minimum(a, b), np.maximum(a, b)
    off = low != high
    return low[off], high[off]


def _levels(n: int, starts: NDArray[np.integer], rows: NDArray[np.integer]) -> Ints:
    """Height of each column above the leaves of the elimination tree."""
    begin, end = starts[:-1], starts[1:]
    parent = np.full(n, -1)
    has = end > begin
    parent[np.flatnonzero(has)] = rows[begin[has]]
    level = [0] * n
    for column, up in enumerate(parent.tolist()):
        if up >= 0 and level[up] <= level[column]:
            level[up] = level[column] + 1
    return np.array(level, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Level:
    """Columns eliminated together, and the pairs of their rows."""

    columns: Ints
    entries: Ints  # positions of their entries below the diagonal
    owner: Ints  # column of each entry
    left: Ints  # pairs that fall on a head column: position of the one entry,
    right: Ints  # of the other,
    target: Ints  # and of where their product goes


class Elimination:
    """The pattern, worked out once.

    Parameters
    ----------
    n
        Number of columns.
    rows, cols
        Every entry of the pattern, either triangle, diagonal included, no entry twice; the order is
        that in which ``factorise`` takes the numbers.
    factors
        Columns of each grouping factor; columns of different members of one factor never meet.
    order
        Where it has been chosen already.
    """

    def __init__(
        self, n: int, rows: Ints, cols: Ints, factors: list[Ints], order: Ordering | None = None
    ) -> None:
        order = order or choose_ordering(n, rows, cols, factors)
        self.n, self.place, self.head = n, order.place, order.head
        self.tail = n - order.head
        self.starts, self.rows = order.starts, order.rows
        self.owner = np.repeat(np.arange(self.head), np.diff(self.starts))
        self.base = self.head + len(self.rows)
        self._keys = self.owner * n + self.rows
        a, b = self.place[rows], self.place[cols]
        self.at = self._position(np.maximum(a, b), np.minimum(a, b))
        height = _levels(n, self.starts, self.rows) if self.head else np.zeros(0, dtype=np.int64)
        height = height[: self.head]
        self._crossing = self.rows >= self.head
        self.dense = (
            self.head > 0 and self.tail > 0 and (self._crossing.sum() > _DENSE_SHARE * self.head * self.tail)
        )
        self.levels = [
            self._level(np.flatnonzero(height == at)) for at in range(int(height.max(initial=-1)) + 1)
        ]
        self._tail_entries = np.flatnonzero(self._crossing)

    def _position(self, high: Ints, low: Ints) -> Ints:
        """Where the number of (high, low) is kept: head diagonal, head below it, tail row by row."""
        where = self.base + (high - self.head) * self.tail + (low - self.head)
        head = low < self.head
        diagonal = head & (high == low)
        where[diagonal] = low[diagonal]
        below = head & ~diagonal
        where[below] = self.head + np.searchsorted(self._keys, low[below] * self.n + high[below])
        return where

    def _pairs(self, columns: Ints, part: NDArray[np.bool_] | None) -> tuple[Ints, Ints]:
        """Positions in ``rows`` of all pairs (i, k), i >= k, of rows of one column; ``part`` of them."""
        if part is None:
            begin, count = self.starts[columns], np.diff(self.starts)[columns]
        else:
            running = np.concatenate([[0], np.cumsum(part)])
            begin, count = self.starts[columns], np.diff(running[self.starts])[columns]
        left, right = [], []
        for size in np.unique(count[count > 0]):
            high, low = np.tril_indices(int(size))
            first = begin[count == size]
            left.append((first[:, None] + high).ravel())
            right.append((first[:, None] + low).ravel())
        if not left:
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        return np.concatenate(left), np.concatenate(right)

    def _level(self, columns: Ints) -> _Level:
        entries = _runs(self.starts[columns], np.diff(self.starts)[columns])
        inner = ~self._crossing
        if not inner[entries].any():
            none = np.zeros(0, dtype=np.int64)
            return _Level(columns, entries, self.owner[entries], none, none, none)
        left, right = self._pairs(columns, None)
        keep = inner[right]
        left, right = left[keep], right[keep]
        target = self._position(self.rows[left], self.rows[right])
        return _Level(columns, entries, self.owner[entries], left, right, target)

    @cached_property
    def diagonal(self) -> Ints:
        """Where the diagonal entry of each entry's row is kept."""
        return self._position(self.rows, self.rows)

    @cached_property
    def _tail_pairs(self) -> tuple[Ints, Ints, Ints]:
        """All pairs of rows that both lie in the tail, and where in the tail their product goes."""
        crossing = self._tail_entries
        count = np.bincount(self.owner[crossing], minlength=self.head)
        begin = self.starts[1:] - count
        left, right = [], []
        for size in np.unique(count[count > 0]):
            high, low = np.tril_indices(int(size))
            first = begin[count == size]
            left.append((first[:, None] + high).ravel())
            right.append((first[:, None] + low).ravel())
        if not left:
            none = np.zeros(0, dtype=np.int64)
            return none, none, none
        a, b = np.concatenate(left), np.concatenate(right)
        return a, b, (self.rows[a] - self.head) * self.tail + (self.rows[b] - self.head)

    def factorise(self, numbers: Floats) -> "SparseFactor":
        """Factorise the matrix with these numbers, in the order of the pattern given at the start."""
        flat = np.zeros(self.base + self.tail * self.tail)
        flat[self.at] = numbers
        h = self.head
        below = flat[h : self.base]
        ratio = np.empty_like(below)
        for level in self.levels:
            ratio[level.entries] = below[level.entries] / flat[level.owner]
            if len(level.target):
                np.subtract.at(flat, level.target, below[level.left] * ratio[level.right])
        corner = flat[self.base :].reshape(self.tail, self.tail)
        if h and self.tail and len(self._tail_entries):
            self._update_corner(corner, below, ratio)
        upper, failed = lapack.dpotrf(corner.T, lower=0, overwrite_a=1) if self.tail else (corner, 0)
        if failed or (h and not flat[:h].min() > 0):
            raise np.linalg.LinAlgError("the matrix is not positive definite")
        return SparseFactor(self, flat[:h], ratio, upper)

    def _update_corner(self, corner: Floats, below: Floats, ratio: Floats) -> None:
        if self.dense:
            entries = self._tail_entries
            wide = np.zeros((2, self.head, self.tail))
            at = (self.owner[entries], self.rows[entries] - self.head)
            wide[0][at] = below[entries]
            wide[1][at] = ratio[entries]
            corner -= wide[0].T @ wide[1]
            return
        left, right, target = self._tail_pairs
        products = below[left] * ratio[right]
        corner -= np.bincount(target, products, self.tail * self.tail).reshape(self.tail, self.tail)


def _runs(begin: Ints, count: Ints) -> Ints:
    """Concatenate the runs begin, begin + 1, …, of the lengths given."""
    total = int(count.sum())
    ends = np.cumsum(count)
    return np.asarray(np.arange(total) + np.repeat(begin - (ends - count), count), dtype=np.int64)


class SparseFactor:
    """A factorisation by ``Elimination``."""

    def __init__(self, pattern: Elimination, pivots: Floats, ratio: Floats, upper: Floats) -> None:
        self.pattern, self.pivots, self.ratio, self.upper = pattern, pivots, ratio, upper

    @property
    def log_determinant(self) -> float:
        """Logarithm of the determinant."""
        return float(np.log(self.pivots).sum() + 2 * np.log(np.diagonal(self.upper)).sum())

    @cached_property
    def _steps(self) -> list[tuple[Ints, sparse.csc_array]]:
        pattern = self.pattern
        counts = np.diff(pattern.starts)
        steps = []
        for level in pattern.levels:
            ends = np.concatenate([[0], np.cumsum(counts[level.columns])])
            block = sparse.csc_array(
                (self.ratio[level.entries], pattern.rows[level.entries], ends),
                shape=(pattern.n, len(level.columns)),
            )
            steps.append((level.columns, block))
        return steps

    def half(self, right: Floats) -> Floats:
        """Solve the lower half: the returned w has w'w = right' inverse right (rows in new order).

        ``right`` is (n, c).
        """
        return self._scaled(self._forward(right))

    def _forward(self, right: Floats) -> Floats:
        pattern = self.pattern
        w = np.empty_like(right)
        w[pattern.place] = right
        for columns, block in self._steps:
            w -= block @ w[columns]
        if pattern.tail:
            w[pattern.head :] = _triangle(self.upper, w[pattern.head :], transposed=True)
        return w

    def _scaled(self, w: Floats) -> Floats:
        w[: self.pattern.head] /= np.sqrt(self.pivots)[:, None]
        return w

    def solve(self, right: Floats) -> Floats:
        """Solve for each column of ``right``, (n, c)."""
        return self.back(self.half(right))

    def back(self, half: Floats) -> Floats:
        """Finish a solution from its lower half; also turns unit noise into noise of covariance inverse."""
        pattern = self.pattern
        w = half.copy()
        if pattern.tail:
            w[pattern.head :] = _triangle(self.upper, w[pattern.head :], transposed=False)
        w[: pattern.head] /= np.sqrt(self.pivots)[:, None]
        for columns, block in reversed(self._steps):
            w[columns] -= block.T @ w
        return np.ascontiguousarray(w[pattern.place])

    def inverse(self) -> Floats:
        """Entries of the inverse at the pattern, in the order of the pattern given at the start."""
        pattern = self.pattern
        h, q = pattern.head, pattern.tail
        flat = np.empty(pattern.base + q * q)
        if q:
            inverse, failed = lapack.dpotri(self.upper, lower=0)
            if failed:
                raise np.linalg.LinAlgError("the matrix is not positive definite")
            flat[pattern.base :] = inverse.T.ravel()
        below = flat[h : pattern.base]
        if pattern.dense and len(pattern.levels) == 1:
            self._dense_inverse(flat, below)
        else:
            self._listed_inverse(flat, below)
        return flat[pattern.at]

    def inverse_diagonal(self) -> Floats:
        """Diagonal of the inverse, (n,); cheaper than all of ``inverse`` where one factor is eliminated."""
        pattern = self.pattern
        if len(pattern.levels) != 1 or pattern.dense or not pattern.tail:
            on_diagonal = pattern.at < pattern.head
            corner = (pattern.at - pattern.base) % (pattern.tail + 1) == 0 if pattern.tail else on_diagonal
            on_diagonal |= (pattern.at >= pattern.base) & corner
            values = np.empty(pattern.n)
            at = pattern.at[on_diagonal]
            column = np.where(at < pattern.head, at, pattern.head + (at - pattern.base) // (pattern.tail + 1))
            values[column] = self.inverse()[on_diagonal]
            return values[pattern.place]
        inverse, _ = lapack.dpotri(self.upper, lower=0)
        left, right, target = pattern._tail_pairs
        shares = self.ratio[left] * self.ratio[right] * inverse.T.ravel()[target]
        shares[left != right] *= 2
        head = 1 / self.pivots + np.bincount(pattern.owner[left], shares, pattern.head)
        return np.concatenate([head, np.diagonal(inverse)])[pattern.place]

    def _dense_inverse(self, flat: Floats, below: Floats) -> None:
        pattern = self.pattern
        h, q = pattern.head, pattern.tail
        corner = flat[pattern.base :].reshape(q, q)
        corner += np.tril(corner, -1).T
        at = (pattern.owner, pattern.rows - h)
        wide = np.zeros((h, q))
        wide[at] = self.ratio
        product = wide @ corner
        below[:] = -product[at]
        flat[:h] = 1 / self.pivots + (product * wide).sum(axis=1)

    def _listed_inverse(self, flat: Floats, below: Floats) -> None:
        """Each entry of the inverse adds to the two entries of a column whose rows it joins."""
        pattern, ratio = self.pattern, self.ratio
        flat[: pattern.head] = 1 / self.pivots
        below[:] = 0.0
        left, right, target = pattern._tail_pairs
        if len(left):
            inverse = flat[pattern.base :][target]
            below -= np.bincount(left, ratio[right] * inverse, len(below))
            below -= np.bincount(right, ratio[left] * inverse, len(below))
        for level in reversed(pattern.levels):
            inverse = flat[level.target]
            np.subtract.at(below, level.left, ratio[level.right] * inverse)
            np.subtract.at(below, level.right, ratio[level.left] * inverse)
            own = ratio[level.entries]
            below[level.entries] += own * flat[pattern.diagonal[level.entries]]  # came twice
            flat[: pattern.head] -= np.bincount(level.owner, own * below[level.entries], pattern.head)


def _triangle(upper: Floats, right: Floats, *, transposed: bool) -> Floats:
    solution, _ = lapack.dtrtrs(upper, right, lower=0, trans=int(transposed))
    return np.asarray(solution)
