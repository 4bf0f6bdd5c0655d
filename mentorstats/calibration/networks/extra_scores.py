"""The fewest extra double-scorings that would let raters be compared who now are by assumption only.

Raters of one role and the candidates they rate form a graph; its connected parts are separate networks, and
nothing in the ratings compares raters of two of them. One lesson of a candidate of another network, scored
beside that network's own rater, joins the two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from mentorstats.errors import ArgumentError

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Links:
    """Extra double-scorings, one a pair of networks.

    Attributes
    ----------
    n_networks
        Separate networks as they are, k.
    rater, rated
        (m,) Who would score beside whom: code of the rater, code of the candidate of another network.
    network, other_network
        (m,) Networks of the two, 0 for the one with most lessons.
    closing
        (m,) Whether a link is not needed to join the networks, but keeps them joined when any one rater's
        link is lost.
    cost : (m,)
    """

    n_networks: int
    rater: Ints
    rated: Ints
    network: Ints
    other_network: Ints
    closing: NDArray[np.bool_]
    cost: Floats

    @property
    def n_joining(self) -> int:
        """Links without which some network stays apart: k − 1."""
        return int((~self.closing).sum())

    @property
    def n_closing(self) -> int:
        """Links that no single rater's failure may break: 1 more, or none where there is one network."""
        return int(self.closing.sum())


def networks(rater: ArrayLike, rated: ArrayLike) -> tuple[Ints, Ints]:
    """Network of each rater and of each rated, numbered from the one with most lessons down.

    Parameters
    ----------
    rater, rated
        (n,) Codes from 0 without gaps, one pair a lesson scored.

    Returns
    -------
    tuple of (raters,) and (rated,)
        Networks with as many lessons stand in the order of their lowest rater code.

    Raises
    ------
    ArgumentError
        The codes differ in number, are negative, or leave one out.
    """
    a, b = _codes(rater, "rater"), _codes(rated, "rated")
    if len(a) != len(b):
        raise ArgumentError(f"{len(a)} codes of raters, {len(b)} of those rated", allowed="as many of both")
    if not len(a):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    n, m = int(a.max()) + 1, int(b.max()) + 1
    graph = sparse.coo_array((np.ones(len(a)), (a, n + b)), shape=(n + m, n + m))
    part = connected_components(graph, directed=False)[1].astype(np.int64)
    place = _by_lessons(part[:n], a)
    return place[part[:n]], place[part[n:]]


def _by_lessons(part: Ints, rater: Ints) -> Ints:
    """Number of each part, that with most lessons first, then by its lowest rater code."""
    count = int(part.max()) + 1
    lessons = np.bincount(part[rater], minlength=count)
    lowest = np.full(count, len(part))
    np.minimum.at(lowest, part, np.arange(len(part)))
    place = np.empty(count, dtype=np.int64)
    place[np.lexsort((lowest, -lessons))] = np.arange(count)
    return place


def _joined_elsewhere(rater: ArrayLike, rated: ArrayLike, own: Ints, network: Ints) -> tuple[Ints, Ints]:
    """Networks as given in place of the raters' own, each of which lies in one of them."""
    if len(network) != len(own):
        raise ArgumentError(f"{len(network)} networks of {len(own)} raters", allowed="one for each rater")
    if not len(own):
        return own, own
    part = np.unique(network, return_inverse=True)[1].astype(np.int64)
    a, b = _codes(rater, "rater"), _codes(rated, "rated")
    whole = np.empty(int(own.max()) + 1, dtype=np.int64)
    whole[own] = part
    if (whole[own] != part).any():
        raise ArgumentError("raters who rated the same are given two networks", allowed="one network")
    of_rater = _by_lessons(part, a)[part]
    of_rated = np.empty(int(b.max()) + 1, dtype=np.int64)
    of_rated[b] = of_rater[a]
    return of_rater, of_rated


def fewest_links(
    rater: ArrayLike, rated: ArrayLike, *, network: ArrayLike | None = None, price: float = 1.0
) -> Links:
    """Join the networks of one role by as few extra double-scorings as can do it.

    k networks need k − 1 links. They run from each network to the next smaller one, and one more, from the
    smallest back to the largest, makes them a ring: it holds together without any one of its links. Nobody
    gives more than one link, so that no single rater holds networks together; of each network the rater
    with most lessons is asked, who is known best and whom one lesson more burdens least, to a lesson of the
    candidate with most lessons. The smallest network's raters are asked for nothing but the closing link.

    Parameters
    ----------
    rater, rated
        As for ``networks``; the rated are what ratings are compared within, candidates or lessons.
    network
        (raters,) Network of each rater where others than these raters join them too, such as raters of
        another role; by default only what they share themselves does.
    price
        Cost of one more lesson scored.

    Raises
    ------
    ArgumentError
        As for ``networks``, the price is below zero, or raters of two networks rated the same.
    """
    if not price >= 0:
        raise ArgumentError(f"price {price!r}", allowed="a number from 0")
    of_rater, of_rated = networks(rater, rated)
    if network is not None:
        of_rater, of_rated = _joined_elsewhere(rater, rated, of_rater, np.asarray(network))
    k = int(of_rater.max(initial=-1)) + 1
    size = k if k > 1 else 0
    here = np.arange(size)
    there = (here + 1) % max(k, 1)
    return Links(
        k,
        _busiest(rater, of_rater, k)[here],
        _busiest(rated, of_rated, k)[there],
        here,
        there,
        here == size - 1,
        np.full(size, float(price)),
    )


def _codes(given: ArrayLike, name: str) -> Ints:
    codes = np.asarray(given)
    if not len(codes):
        return np.zeros(0, dtype=np.int64)
    if codes.dtype.kind not in "iu" or codes.min() < 0 or (np.bincount(codes) == 0).any():
        raise ArgumentError(f"codes of {name}", allowed="whole numbers from 0 without gaps")
    return codes.astype(np.int64)


def _busiest(codes: ArrayLike, network: Ints, k: int) -> Ints:
    """Member with most lessons of each network, of several the lowest code, (k,)."""
    lessons = np.bincount(np.asarray(codes, dtype=np.int64), minlength=len(network))
    order = np.lexsort((np.arange(len(network)), -lessons, network))
    return np.asarray(order[np.searchsorted(network[order], np.arange(k))], dtype=np.int64)
