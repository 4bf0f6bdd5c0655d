"""Mean squares of balanced data and what they are expected to be, for any crossed or nested design."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.reliability.components.design import Design, Factors

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Squares:
    """Sums of squares of a balanced design, effects in the order of the design.

    Attributes
    ----------
    df, ss
        (e,); where a factor has one member some effects have no degrees of freedom.
    expected
        Expected mean squares = expected @ components, (e, e).
    """

    effects: tuple[Factors, ...]
    df: Floats
    ss: Floats
    expected: Floats

    @property
    def ms(self) -> Floats:
        """Mean squares, (e,)."""
        return self.ss / self.df

    @property
    def solving(self) -> Floats:
        """Components = solving @ mean squares, (e, e)."""
        return np.asarray(np.linalg.inv(self.expected), dtype=np.float64)

    def in_words(self, names: Sequence[str]) -> list[str]:
        """Expected mean squares as sums of named components."""
        return [
            " + ".join(
                name if times == 1 else f"{times:g} ({name})"
                for name, times in zip(reversed(names), reversed(row), strict=True)
                if times
            )
            for row in self.expected.tolist()
        ]


def squares(array: Floats, design: Design, effects: tuple[Factors, ...]) -> Squares:
    """Divide the sum of squares among effects that have degrees of freedom.

    Parameters
    ----------
    array
        One axis a factor, in the order of ``design.factors``.
    """
    sizes = dict(zip(design.factors, array.shape, strict=True))
    sums = np.array([float((deviations(array, effect, design) ** 2).sum()) for effect in effects])
    times = np.array([_product(sizes, design.whole - effect) for effect in effects])
    df = np.array([degrees(effect, design, sizes) for effect in effects])
    return Squares(effects, df, sums * times, expected_mean_squares(effects, design, sizes))


def degrees(effect: Factors, design: Design, sizes: Mapping[str, int]) -> float:
    """Degrees of freedom: (n − 1) for each factor of its own, n for each that these are nested in."""
    own = design.own(effect)
    return float(np.prod([sizes[name] - 1 for name in own]) * _product(sizes, effect - own))


def deviations(array: Floats, effect: Factors, design: Design, kept: int = 0) -> Floats:
    """Means over everything else, less the means of what the effect holds: Σ (−1)^|a| mean without a.

    The first ``kept`` axes are not averaged over and belong to no factor; averaged axes stay with length 1.
    """
    total = np.zeros(1)
    for left_out in _subsets(design.own(effect)):
        remaining = effect - left_out
        axes = tuple(kept + i for i, name in enumerate(design.factors) if name not in remaining)
        total = total + (-1) ** len(left_out) * array.mean(axis=axes, keepdims=True)
    return np.asarray(total)


def expected_mean_squares(effects: tuple[Factors, ...], design: Design, sizes: Mapping[str, int]) -> Floats:
    """Coefficient of each component in each mean square, all factors random [cornfield_tukey_1956].

    A mean square holds the components of all effects that contain its own, each as often as there are
    scores to one of its members.
    """
    return np.array(
        [
            [_product(sizes, design.whole - other) if effect <= other else 0.0 for other in effects]
            for effect in effects
        ]
    )


def _product(sizes: Mapping[str, int], factors: Factors) -> float:
    return float(np.prod([sizes[name] for name in factors])) if factors else 1.0


def _subsets(factors: Factors) -> Iterator[Factors]:
    for size in range(len(factors) + 1):
        yield from map(frozenset, itertools.combinations(sorted(factors), size))
