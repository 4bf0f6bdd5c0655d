"""Which effects a design has: facets crossed or nested, as sets of factors closed upwards.

An effect is named by the factors whose values its members need: *rater in occasion* is the set
{occasion, rater}. The sets that hold, with every factor, what it is nested in, are all the effects of a
design; their algebra is that of [cornfield_tukey_1956].
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from mentorstats.errors import ModelError

Factors = frozenset[str]
Nested = Mapping[str, str | Sequence[str]]


@dataclass(frozen=True)
class Design:
    """The object of measurement, the facets, and what is nested in what.

    Attributes
    ----------
    object
        What the scores are to tell apart, for example the candidate.
    facets
        What else the scores depend on.
    above
        For each factor all those that it is nested in, directly or through others.
    fixed
        Facets whose members are all there are.
    """

    object: str
    facets: tuple[str, ...]
    above: Mapping[str, Factors]
    fixed: Factors = frozenset()

    @property
    def factors(self) -> tuple[str, ...]:
        """Object first, then the facets as they were given."""
        return (self.object, *self.facets)

    @cached_property
    def effects(self) -> tuple[Factors, ...]:
        """All effects, those of few factors first; the last is the interaction of everything."""
        order = self.factors
        sets = (
            frozenset(chosen)
            for size in range(1, len(order) + 1)
            for chosen in itertools.combinations(order, size)
        )
        return tuple(effect for effect in sets if self.closed(effect) == effect)

    @property
    def whole(self) -> Factors:
        """The effect of all factors together."""
        return frozenset(self.factors)

    @property
    def differentiated(self) -> Factors:
        """The object with what it is nested in: differences between these are what is measured."""
        return self.closed({self.object})

    def closed(self, factors: Iterable[str]) -> Factors:
        """Factors with everything that they are nested in."""
        given = frozenset(factors)
        return given.union(*(self.above[factor] for factor in given))

    def own(self, effect: Factors) -> Factors:
        """Factors of an effect that none of its others is nested in."""
        return effect - frozenset().union(*(self.above[factor] for factor in effect))

    def name(self, effect: Factors) -> str:
        """Name an effect: × for a crossing, "in" for a nesting."""
        own = self.own(effect)
        crossing = " × ".join(factor for factor in self.factors if factor in own)
        return f"{crossing} in {self.name(effect - own)}" if effect > own else crossing

    @property
    def text(self) -> str:
        """The design in one line, such as ``candidate × (rater in occasion)``."""
        innermost = [f for f in self.factors if not any(f in self.above[other] for other in self.factors)]
        inside = [self.name(self.closed({factor})) for factor in innermost]
        several = len(innermost) > 1
        parts = [f"({part})" if several and " in " in part else part for part in inside]
        fixed = [facet for facet in self.facets if facet in self.fixed]
        return " × ".join(parts) + (f"; fixed: {', '.join(fixed)}" if fixed else "")

    def with_nesting(self, nested: Nested | None, fixed: Iterable[str] = ()) -> Design:
        """The same design with more nesting and more fixed facets: a plan made from a study."""
        inside = {factor: set(outer) for factor, outer in self.above.items()}
        for facet, outer in _pairs(nested):
            _known(facet, outer, self.factors)
            inside[facet].update(outer)
        return _design(self.object, self.facets, inside, self.fixed | frozenset(fixed))


def design(
    object_: str, facets: Sequence[str], nested: Nested | None = None, fixed: Iterable[str] = ()
) -> Design:
    """Make a design from names.

    Raises
    ------
    ModelError
        A name is not a facet, stands twice, or the nesting goes round in a circle.
    """
    names = (object_, *facets)
    if not facets or len(set(names)) < len(names):
        raise ModelError(
            f"object {object_!r} with facets {', '.join(map(repr, facets)) or 'none'}",
            remedy="Name the object once and one facet or more, each once.",
        )
    inside: dict[str, set[str]] = {name: set() for name in names}
    for facet, outer in _pairs(nested):
        _known(facet, outer, names)
        inside[facet].update(outer)
    return _design(object_, tuple(facets), inside, frozenset(fixed))


def _pairs(nested: Nested | None) -> list[tuple[str, tuple[str, ...]]]:
    return [(facet, (o,) if isinstance(o, str) else tuple(o)) for facet, o in (nested or {}).items()]


def _known(facet: str, outer: Iterable[str], names: Sequence[str]) -> None:
    for name in (facet, *outer):
        if name not in names:
            raise ModelError(f"nested names {name!r}", allowed=names, remedy="Nest facets of the design.")


def _design(object_: str, facets: tuple[str, ...], inside: Mapping[str, set[str]], fixed: Factors) -> Design:
    above = {name: _ancestors(name, inside) for name in (object_, *facets)}
    for name in fixed:
        if name not in facets:
            raise ModelError(f"fixed names {name!r}", allowed=facets, remedy="Name facets of the design.")
        if not above[name] <= fixed:
            raise ModelError(
                f"{name!r} is fixed and is nested in what is not",
                remedy="Fix what it is nested in as well, or neither.",
            )
    return Design(object_, facets, above, fixed)


def _ancestors(name: str, inside: Mapping[str, set[str]]) -> Factors:
    found: set[str] = set()
    waiting = set(inside[name])
    while waiting:
        outer = waiting.pop()
        if outer == name:
            raise ModelError(f"{name!r} is nested in itself", remedy="Nest inner facets in outer ones only.")
        found.add(outer)
        waiting |= inside[outer] - found
    return frozenset(found)
