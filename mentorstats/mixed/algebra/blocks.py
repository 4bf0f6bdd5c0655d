"""Networks without a link between them are factorised one by one, so that no dense tail spans two.

Programmes whose raters rate only their own candidates give such a matrix. Together they would share one
tail, whose cost grows with the cube of their number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from mentorstats.mixed.algebra.elimination import Elimination, Factor, Pattern, choose_ordering

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LARGE = 500  # columns beside the largest factor from which a network is factorised on its own
_TAIL = 600  # columns of the tail that small networks may share before they are divided into groups,
_GROUP = 400  # and of the tail that a group may have; with smaller ones calls cost more than arithmetic


def eliminate(n: int, rows: Ints, cols: Ints, factors: list[Ints]) -> Pattern:
    """Work out how a matrix is factorised; the parameters are those of ``Elimination``."""
    whole = _Piece(np.arange(n), np.arange(len(rows)), rows, cols, factors)
    if len(factors) < 2:
        return whole.eliminate()
    links = sparse.coo_array((np.ones(len(rows), dtype=bool), (rows, cols)), shape=(n, n))
    count, network = connected_components(links, directed=False)
    if count < 2:
        return whole.eliminate()
    members = np.array([np.bincount(network[columns], minlength=count) for columns in factors])
    large = members.sum(axis=0) - members.max(axis=0) >= _LARGE
    pieces = _cut(whole, (np.cumsum(large) * large)[network])
    patterns = [] if large.all() else _small(pieces.pop(0), network.astype(np.int64))
    patterns += [(piece, piece.eliminate()) for piece in pieces]
    return patterns[0][1] if len(patterns) == 1 else Parts(n, len(rows), patterns)


@dataclass(frozen=True, slots=True)
class _Piece:
    """Some columns of a matrix that no other column meets, numbered from 0."""

    columns: Ints  # where they stand in the whole
    entries: Ints  # where their entries stand
    rows: Ints
    cols: Ints
    factors: list[Ints]

    def eliminate(self) -> Elimination:
        return Elimination(len(self.columns), self.rows, self.cols, self.factors)


def _cut(whole: _Piece, group: Ints) -> list[_Piece]:
    """Divide columns by the number of their group; a number that no column has gives no piece."""
    number = np.unique(group, return_inverse=True)[1]
    factor = np.empty(len(number), dtype=np.int64)
    for t, columns in enumerate(whole.factors):
        factor[columns] = t
    place = np.empty(len(number), dtype=np.int64)
    pieces = []
    for columns, entries in zip(_sorted(number), _sorted(number[whole.rows]), strict=True):
        place[columns] = np.arange(len(columns))
        own = factor[columns]
        pieces.append(
            _Piece(
                whole.columns[columns],
                whole.entries[entries],
                place[whole.rows[entries]],
                place[whole.cols[entries]],
                [np.flatnonzero(own == t) for t in np.unique(own)],
            )
        )
    return pieces


def _sorted(number: Ints) -> list[Ints]:
    return np.split(np.argsort(number, kind="stable"), np.cumsum(np.bincount(number))[:-1])


def _small(piece: _Piece, network: Ints) -> list[tuple[_Piece, Elimination]]:
    """Keep small networks together while their common tail is short."""
    order = choose_ordering(len(piece.columns), piece.rows, piece.cols, piece.factors)
    tails = np.bincount(network[piece.columns[order.place >= order.head]], minlength=network.max() + 1)
    if tails.sum() <= _TAIL:
        return [(piece, Elimination(len(piece.columns), piece.rows, piece.cols, piece.factors, order))]
    group = np.cumsum(tails) // _GROUP
    return [(part, part.eliminate()) for part in _cut(piece, group[network[piece.columns]])]


class Parts:
    """Several patterns side by side."""

    def __init__(self, n: int, entries: int, patterns: list[tuple[_Piece, Elimination]]) -> None:
        self.n, self.entries = n, entries
        self.columns = [piece.columns for piece, _ in patterns]
        self.places = [piece.entries for piece, _ in patterns]
        self.patterns = [pattern for _, pattern in patterns]

    def factorise(self, numbers: Floats) -> PartsFactor:
        """Factorise the matrix with these numbers, in the order of the pattern given at the start."""
        pairs = zip(self.places, self.patterns, strict=True)
        return PartsFactor(self, [pattern.factorise(numbers[places]) for places, pattern in pairs])


class PartsFactor:
    """One factorisation of each part."""

    def __init__(self, parts: Parts, factors: list[Factor]) -> None:
        self.parts, self.factors = parts, factors

    @property
    def log_determinant(self) -> float:
        """Logarithm of the determinant."""
        return sum(factor.log_determinant for factor in self.factors)

    def half(self, right: Floats) -> Floats:
        """Solve the lower half: the returned w has w'w = right' inverse right (rows part by part)."""
        pairs = zip(self.parts.columns, self.factors, strict=True)
        return np.concatenate([factor.half(right[columns]) for columns, factor in pairs])

    def solve(self, right: Floats) -> Floats:
        """Solve for each column of ``right``, (n, c)."""
        return self.back(self.half(right))

    def back(self, half: Floats) -> Floats:
        """Finish a solution from its lower half."""
        out, begin = np.empty_like(half), 0
        for columns, factor in zip(self.parts.columns, self.factors, strict=True):
            out[columns] = factor.back(half[begin : begin + len(columns)])
            begin += len(columns)
        return out

    def inverse(self) -> Floats:
        """Entries of the inverse at the pattern, in the order of the pattern given at the start."""
        out = np.empty(self.parts.entries)
        for places, factor in zip(self.parts.places, self.factors, strict=True):
            out[places] = factor.inverse()
        return out

    def inverse_diagonal(self) -> Floats:
        """Diagonal of the inverse, (n,)."""
        out = np.empty(self.parts.n)
        for columns, factor in zip(self.parts.columns, self.factors, strict=True):
            out[columns] = factor.inverse_diagonal()
        return out
