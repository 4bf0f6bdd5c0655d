"""Arithmetic of graphs: what is joined, what a network hangs on, which parts hold together firmly.

Raters are vertices; so are the things that two of them can have in common (lessons, candidates).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_ROUNDING = 1e-9  # shares of lessons are sums of fractions


def joined(rater: Ints, things: Sequence[Ints], raters: int) -> Ints:
    """Number the connected parts of the graph of raters and of whatever they have in common.

    Parameters
    ----------
    rater
        Rater of each row, (n,), from 0.
    things
        Codes, (n,) each, of the things in the same row; -1 joins nobody. Codes of different kinds do not
        meet, so lessons and sites may both start from 0.
    raters
        Number of raters; one without rows is a part of its own.

    Returns
    -------
    array of int
        Part of each rater, (raters,), numbered from 0 in no particular order.
    """
    rows, cols, size = [], [], raters
    for codes in things:
        known = codes >= 0
        rows.append(rater[known])
        cols.append(codes[known] + size)
        size += int(codes.max(initial=-1)) + 1
    edges = (np.concatenate(rows), np.concatenate(cols)) if rows else (np.empty(0, int), np.empty(0, int))
    graph = sparse.coo_array((np.ones(len(edges[0]), dtype=bool), edges), shape=(size, size))
    part = connected_components(graph, directed=False)[1][:raters]
    return np.unique(part, return_inverse=True)[1].astype(np.int64)


def cut_off(first: Ints, second: Ints, weights: Ints) -> Ints:
    """Say how much each vertex holds together: what is cut off from the rest when it goes.

    A vertex that cuts nothing off has 0. For an articulation point [hopcroft_tarjan_1973] the pieces left
    of its component are weighed, and the answer is the weight of all but the heaviest.

    Parameters
    ----------
    first, second
        Ends of each edge, (m,); an edge may stand more than once, none joins a vertex with itself.
    weights
        Weights of the vertices, (n, k), for k ways of counting: 1 for those who count, else 0.

    Returns
    -------
    array of int
        Weight cut off, (n, k).
    """
    n, k = weights.shape
    graph = sparse.coo_array((np.ones(len(first), dtype=bool), (first, second)), shape=(n, n))
    graph = (graph + graph.T).tocsr()
    order, parent, low, size = _depth_first(graph.indptr.tolist(), graph.indices.tolist())
    below = np.zeros((n + 1, k), dtype=np.int64)
    np.cumsum(weights[order], axis=0, out=below[1:])
    below = below[np.arange(n) + size] - below[:-1]  # of each vertex and all under it, by place in the order
    falls = np.flatnonzero((parent >= 0) & (low >= parent))
    pieces, heaviest = np.zeros((n, k), dtype=np.int64), np.zeros((n, k), dtype=np.int64)
    np.add.at(pieces, parent[falls], below[falls])
    np.maximum.at(heaviest, parent[falls], below[falls])
    roots = np.flatnonzero(parent < 0)
    others = np.repeat(below[roots], size[roots], axis=0) - weights[order]
    out = np.empty((n, k), dtype=np.int64)
    out[order] = others - np.maximum(heaviest, others - pieces)
    return out


def _depth_first(starts: list[int], ends: list[int]) -> tuple[Ints, Ints, Ints, Ints]:
    """Walk a graph depth first; all but the order itself by, and in, places of the order.

    Returns the order of vertices, the place of each one's parent (-1 for a root), the lowest place that
    it or anything under it is joined with, and how many stand under it, itself included.
    """
    n = len(starts) - 1
    seen, order, parent, low, size = [-1] * n, [0] * n, [-1] * n, list(range(n)), [1] * n
    following = starts[:-1]
    place = -1
    for root in range(n):
        if seen[root] >= 0:
            continue
        place += 1
        seen[root], order[place] = place, root
        here = place
        while here >= 0:
            at = order[here]
            if following[at] < starts[at + 1]:
                to = ends[following[at]]
                following[at] += 1
                met = seen[to]
                if met < 0:
                    place += 1
                    seen[to], order[place], parent[place] = place, to, here
                    here = place
                elif met < low[here] and met != parent[here]:
                    low[here] = met
                continue
            above = parent[here]
            if above >= 0:
                size[above] += size[here]
                low[above] = min(low[above], low[here])
            here = above
    return np.array(order, int), np.array(parent, int), np.array(low, int), np.array(size, int)


def shared(rater: Ints, thing: Ints, raters: int) -> sparse.csr_array:
    """Count what each two raters have in common, so that a rater's row adds up to all it shares.

    A thing that m raters have in common counts 1 / (m − 1) for each two of them.

    Parameters
    ----------
    rater, thing
        Codes, (n,), each pair once.
    """
    things = int(thing.max(initial=-1)) + 1
    members = np.bincount(thing, minlength=things)
    wide = sparse.coo_array((np.ones(len(rater)), (rater, thing)), shape=(raters, things)).tocsr()
    each = sparse.diags_array(np.where(members > 1, 1.0 / np.maximum(members - 1, 1), 0.0))
    both = sparse.csr_array(wide @ each @ wide.T)
    both.setdiag(0.0)
    both.eliminate_zeros()
    return both


def firm_parts(weights: sparse.csr_array, least: float) -> Ints:
    """Divide a graph into the largest parts that no cut of less than ``least`` divides further.

    Each part on its own holds together by at least ``least`` wherever it is cut. Vertices with less are
    taken off first; then cuts come from maximum-adjacency orders [stoer_wagner_1997], in which each vertex
    is tied to the one before it at least as strongly as to all earlier ones together.

    Parameters
    ----------
    weights
        Symmetric, (n, n), zero diagonal, nothing negative.
    least
        Smallest weight of a cut that holds.

    Returns
    -------
    array of int
        Part of each vertex, (n,), numbered from 0 by the first vertex of each.
    """
    n = weights.shape[0]
    label = np.arange(n)
    waiting = [np.arange(n)]
    while waiting:
        members = waiting.pop()
        inside = sparse.csr_array(weights[members][:, members])
        strong = np.asarray(inside.sum(axis=1)).ravel() >= least - _ROUNDING
        if not strong.all():
            if strong.any():
                waiting.append(members[strong])
            continue
        part = connected_components(inside, directed=False)[1]
        if part.max(initial=0) > 0:
            waiting += [members[part == number] for number in range(int(part.max()) + 1)]
            continue
        side = _thin_side(inside, least)
        if side is None:
            label[members] = members.min(initial=n)
        else:
            waiting += [members[side], members[~side]]
    return np.unique(label, return_inverse=True)[1].astype(np.int64)


def _thin_side(weights: sparse.csr_array, least: float) -> NDArray[np.bool_] | None:
    """One side of a cut of less than ``least``, or None where there is none."""
    n = weights.shape[0]
    group = np.arange(n)
    while weights.shape[0] > 1:
        order, tie = _adjacency_order(weights)
        if tie[-1] < least - _ROUNDING:
            return np.asarray(group == order[-1])
        fresh = np.concatenate([[True], tie[1:] < least - _ROUNDING])
        number = np.empty(len(order), dtype=np.int64)
        number[order] = np.cumsum(fresh) - 1
        group = number[group]
        merge = sparse.coo_array(
            (np.ones(len(number)), (np.arange(len(number)), number)),
            shape=(len(number), int(number.max()) + 1),
        ).tocsr()
        weights = sparse.csr_array(merge.T @ weights @ merge)
        weights.setdiag(0.0)
        weights.eliminate_zeros()
    return None


def _adjacency_order(weights: sparse.csr_array) -> tuple[Ints, Floats]:
    """Vertices by how strongly each is tied to all before it, strongest first, and those ties."""
    n = weights.shape[0]
    starts, ends, sizes = weights.indptr, weights.indices, weights.data
    tie = np.zeros(n)
    order, ties = np.empty(n, dtype=np.int64), np.empty(n)
    for step in range(n):
        at = int(tie.argmax())
        order[step], ties[step] = at, max(tie[at], 0.0)
        tie[at] = -np.inf
        near = slice(starts[at], starts[at + 1])
        tie[ends[near]] += sizes[near]
    return order, ties
