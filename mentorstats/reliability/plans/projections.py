"""What a plan makes of the components: which are the object's own, which are error, and how large."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError
from mentorstats.reliability.components.cells import Told
from mentorstats.reliability.components.design import Design, Factors

Floats = NDArray[np.float64]
Sizes = Mapping[str, int | Sequence[int]]


@dataclass(frozen=True)
class Weights:
    """How the components of a study make up those of a plan's mean score, over a grid of plans.

    Attributes
    ----------
    effects
        Effects of the plan: nested as it is, averaged over what it fixes.
    kinds
        For each of them whether it is the object's own, relative error, or error common to all objects.
    parts : (k, g, e)
        Variance of effect k in plan g = parts[k, g] @ components, or zero where that is below.
    hidden
        Effects of the study that count as the object's own because nothing told them from it.
    """

    effects: tuple[Factors, ...]
    kinds: tuple[str, ...]
    parts: Floats
    hidden: tuple[Factors, ...]


@dataclass(frozen=True)
class Variances:
    """What the mean score of an object consists of, (n, g) each."""

    universe: Floats
    relative: Floats
    absolute: Floats


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
    parts: dict[Factors, Floats] = {}
    kinds: dict[Factors, str] = {}
    hidden: list[Factors] = []
    for j, several in enumerate(told.effects):
        found = {effect: kind_of(plan, effect) for effect in several}
        own = [effect for effect, kind in found.items() if kind == OWN]
        hidden += [effect for effect, kind in found.items() if own and kind in (RELATIVE, COMMON)]
        counted = own or [effect for effect, kind in found.items() if kind is not None]
        if not counted:
            continue
        divisors = np.array([[divisor(plan, effect, point) for point in points] for effect in counted])
        which = {found[effect] for effect in counted}
        read = in_plan(plan, counted[int(divisors[:, 0].argmin())])
        kinds[read] = OWN if own else RELATIVE if RELATIVE in which else COMMON
        parts.setdefault(read, np.zeros((len(points), len(told.effects))))[:, j] = 1 / divisors.min(axis=0)
    hidden += [effect for effect in told.constant if kind_of(plan, effect) in (RELATIVE, COMMON)]
    stacked = np.array(list(parts.values())).reshape(len(parts), len(points), len(told.effects))
    return Weights(
        tuple(parts), tuple(kinds[effect] for effect in parts), stacked, tuple(dict.fromkeys(hidden))
    )


def project(shares: Weights, components: Floats, least: Floats | None = None) -> Variances:
    """Variances of a mean score from components, (n, e).

    ``least``, (k, g), is what an effect has at least, zero otherwise.
    """
    sums = {kind: np.zeros((len(components), shares.parts.shape[1])) for kind in (OWN, RELATIVE, COMMON)}
    for k, kind in enumerate(shares.kinds):
        floor = 0.0 if least is None else least[k]
        sums[kind] += np.maximum(components @ shares.parts[k].T, floor)
    return Variances(sums[OWN], sums[RELATIVE], sums[RELATIVE] + sums[COMMON])


OWN, RELATIVE, COMMON = "own", "relative", "common"


def in_plan(plan: Design, effect: Factors) -> Factors:
    """Effect of a plan that one of the study is part of: averaged over fixed facets, nested as planned."""
    return plan.closed(effect - plan.fixed)


def kind_of(plan: Design, effect: Factors) -> str | None:
    """Part of an effect in a plan; None for what is the same in every run of the plan."""
    measured = plan.differentiated
    if effect <= measured:
        return OWN
    read = plan.closed(effect)
    if read - measured <= plan.fixed:
        return OWN if effect & measured else None
    return RELATIVE if read & measured else COMMON


def divisor(plan: Design, effect: Factors, sizes: Mapping[str, int]) -> float:
    """How many members of an effect the score of one object is averaged over."""
    return float(np.prod([sizes[name] for name in plan.closed(effect) - plan.differentiated]))
