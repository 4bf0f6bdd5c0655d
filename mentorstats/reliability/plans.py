"""What a plan makes of the components: which are the object's own, which are error, and how large."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError
from mentorstats.reliability.cells import Told
from mentorstats.reliability.design import Design, Factors

Floats = NDArray[np.float64]
Sizes = Mapping[str, int | Sequence[int]]


@dataclass(frozen=True)
class Weights:
    """What each component adds, over a grid of plans: variance = weights @ components, (g, e) each."""

    universe: Floats
    relative: Floats
    absolute: Floats
    hidden: tuple[Factors, ...]  # effects counted as the object's own because nothing tells them from it


def grid(sizes: Sizes, facets: Sequence[str], known: Mapping[str, int]) -> list[dict[str, int]]:
    """All combinations of sizes, in the order of the facets, the last facet fastest.

    Raises
    ------
    ArgumentError
        A name is no facet, a size is not a whole number above zero, or a facet has none.
    """
    for name in sizes:
        if name not in facets:
            raise ArgumentError(f"sizes names {name!r}", allowed=facets)
    columns = []
    for facet in facets:
        given = sizes.get(facet, known.get(facet))
        if given is None:
            raise ArgumentError(
                f"no size for {facet!r}", remedy="Say how many members of each facet the plan has."
            )
        columns.append([_whole(facet, size) for size in _several(given)])
        if not columns[-1]:
            raise ArgumentError(f"sizes of {facet!r} are empty", remedy="Name one size or more.")
    return [dict(zip(facets, each, strict=True)) for each in itertools.product(*columns)]


def _several(given: int | Iterable[int]) -> list[int]:
    return list(given) if isinstance(given, Iterable) else [given]


def _whole(facet: str, size: float) -> int:
    if not size >= 1 or size != int(size):
        raise ArgumentError(f"size {size!r} of {facet!r}", allowed="whole numbers from 1")
    return int(size)


def weights(plan: Design, told: Told, points: Sequence[Mapping[str, int]]) -> Weights:
    """Weights of the components in a plan [brennan_2001].

    An effect is read in the plan: nested there, it takes the sizes of what it is nested in along. What
    holds the object and is averaged over random facets is relative error; what does not hold it adds to the
    absolute error; the object with fixed facets is its own. Where effects share a component, it takes the
    part that makes it largest.
    """
    shape = (len(points), len(told.effects))
    parts = {kind: np.zeros(shape) for kind in (_OWN, _RELATIVE, _COMMON)}
    hidden: list[Factors] = []
    for j, several in enumerate(told.effects):
        kinds = [kind_of(plan, effect) for effect in several]
        divisors = [[divisor(plan, effect, point) for point in points] for effect in several]
        own = [i for i, kind in enumerate(kinds) if kind == _OWN]
        hidden += [several[i] for i, kind in enumerate(kinds) if own and kind not in (_OWN, None)]
        counted = own or [i for i, kind in enumerate(kinds) if kind is not None]
        if not counted:
            continue
        kind = _OWN if own else _RELATIVE if _RELATIVE in [kinds[i] for i in counted] else _COMMON
        parts[kind][:, j] = 1 / np.min([divisors[i] for i in counted], axis=0)
    hidden += [e for e in told.constant if kind_of(plan, e) in (_RELATIVE, _COMMON)]
    return Weights(
        parts[_OWN], parts[_RELATIVE], parts[_RELATIVE] + parts[_COMMON], tuple(dict.fromkeys(hidden))
    )


_OWN, _RELATIVE, _COMMON = "own", "relative", "common"


def kind_of(plan: Design, effect: Factors) -> str | None:
    """Part of an effect in a plan; None for what is the same in every run of the plan."""
    measured = plan.differentiated
    if effect <= measured:
        return _OWN
    read = plan.closed(effect)
    if read - measured <= plan.fixed:
        return _OWN if effect & measured else None
    return _RELATIVE if read & measured else _COMMON


def divisor(plan: Design, effect: Factors, sizes: Mapping[str, int]) -> float:
    """How many members of an effect the score of one object is averaged over."""
    return float(np.prod([sizes[name] for name in plan.closed(effect) - plan.differentiated]))
