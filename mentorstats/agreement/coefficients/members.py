"""Members of the family: what each one is computed from, and in which range it lies."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from mentorstats.agreement.coefficients import chance as family
from mentorstats.agreement.coefficients import weights as weighting
from mentorstats.agreement.coefficients.chance import Coefficient
from mentorstats.agreement.counts.tabulate import Tabulation
from mentorstats.errors import ArgumentError

Array: TypeAlias = npt.NDArray[np.float64]

INTERVALS = ("auto", "linearised_z", "bca", "percentile", "fixed_count", "none")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the caller asked for, checked."""

    levels: tuple[object, ...]
    weights: str | npt.ArrayLike
    interval: str
    replicates: int
    confidence: float
    seed: int
    generalises_to: str = ""
    w: Array = field(init=False)

    def __post_init__(self) -> None:
        if self.interval not in INTERVALS:
            raise ArgumentError(f"unknown interval {self.interval!r}", allowed=INTERVALS)
        if not 0 < self.confidence < 1:
            raise ArgumentError(f"confidence is {self.confidence}", allowed="a fraction between 0 and 1")
        if self.replicates < 100:
            raise ArgumentError(f"{self.replicates} replicates", allowed="100 or more")
        object.__setattr__(self, "w", weighting.matrix(self.weights, weighting.scores_of(self.levels)))


@dataclass(frozen=True, slots=True)
class Kind:
    """One member of the family: how it is computed, from which units, in which range.

    ``least_weight`` is the smallest agreement weight that enters it.
    """

    name: str
    reference: str
    compute: Callable[[Tabulation, bool], Coefficient]
    paired: bool = False  # only units with two ratings or more
    by_rater: bool = False  # chance from each rater's own margins
    lowest: float = -1.0
    note: str = ""
    least_weight: float = 0.0

    @property
    def is_share(self) -> bool:
        """Whether it is a plain share of agreement, not corrected for chance."""
        return self.lowest == 0.0


def kinds(asked: Asked, n_raters: int) -> list[Kind]:
    """Members of the family for this number of raters and levels, in the order they are shown."""
    w, q = asked.w, len(asked.levels)
    exact, near = np.eye(q), weighting.adjacent(q)
    chance = {
        "scott_pi": (family.chance_pooled, "scott_1955"),
        "cohen_kappa": (family.chance_by_rater, "cohen_1960" if _is(asked, "identity") else "cohen_1968"),
        "conger_kappa": (family.chance_by_rater, "conger_1980"),
        "fleiss_kappa": (family.chance_pooled, "fleiss_1971"),
        "brennan_prediger": (family.chance_uniform, "brennan_prediger_1981"),
        "gwet_ac": (family.chance_gwet, "gwet_2008" if _is(asked, "identity") else "gwet_2014"),
    }
    fixed = w.sum() / q**2
    if fixed > 1 - family.COMPLETE:
        raise ArgumentError("every pair of levels counts as full agreement", where="weights")
    lowest = {
        "brennan_prediger": (w.min() - fixed) / (1 - fixed),
        "gwet_ac": -1.0 if _is(asked, "identity") else -math.inf,
    }

    def member(name: str, *, paired: bool = False) -> Kind:
        of, reference = chance[name]
        by_rater = of is family.chance_by_rater
        floor = lowest.get(name, -1.0)
        return Kind(name, reference, _beyond(of, w), paired, by_rater, floor, least_weight=float(w.min()))

    shares = [
        Kind("percent_agreement", "gwet_2014", _share(exact), lowest=0.0),
        Kind("percent_adjacent", "gwet_2014", _share(near), lowest=0.0),
    ]
    pair = []
    if n_raters == 2:
        pair = [member("scott_pi", paired=True), member("cohen_kappa", paired=True)]
        floor = -1 / (q - 1)
        pair.append(Kind("pabak", "byrt_1993", _beyond(family.chance_uniform, exact), True, lowest=floor))
        if q == 2:
            pair.append(Kind("prevalence_index", "byrt_1993", _index(_prevalence), True))
            pair.append(Kind("bias_index", "byrt_1993", _index(_bias), True))
    metric, note = _metric(asked)
    alpha = Kind(
        "krippendorff_alpha",
        "krippendorff_2011",
        lambda table, book: family.alpha(table, metric, fixed_count=book),
        paired=True,
        note=note,
        least_weight=0.0 if metric is None else float(metric.min()),
    )
    several = [
        member("conger_kappa"),
        member("fleiss_kappa"),
        alpha,
        member("brennan_prediger"),
        member("gwet_ac"),
    ]
    return [*shares, *pair, *several]


def _is(asked: Asked, name: str) -> bool:
    return isinstance(asked.weights, str) and asked.weights == name


def _metric(asked: Asked) -> tuple[Array | None, str]:
    """Agreement weights for alpha (None: his ordinal metric), and what to say of them."""
    named = {"identity": "nominal", "quadratic": "interval", "ratio": "ratio", "ordinal": "ordinal"}
    for weights, metric in named.items():
        if _is(asked, weights):
            return (None if metric == "ordinal" else asked.w), f"Krippendorff's {metric} metric."
    return asked.w, "By the agreement weights; not one of Krippendorff's metrics."


def _beyond(
    chance: Callable[[Tabulation, Array], family.Share], w: Array
) -> Callable[[Tabulation, bool], Coefficient]:
    def compute(table: Tabulation, book: bool) -> Coefficient:
        expected = chance(table, w)
        agreed = family.observed_fixed_count(table, w, expected.value) if book else family.observed(table, w)
        return family.beyond_chance(agreed, expected)

    return compute


def _share(w: Array) -> Callable[[Tabulation, bool], Coefficient]:
    def compute(table: Tabulation, book: bool) -> Coefficient:
        agreed = family.observed_fixed_count(table, w, 0.0) if book else family.observed(table, w)
        return Coefficient(
            agreed.value, agreed.value, family.chance_by_rater(table, w).value, agreed.influence
        )

    return compute


def _index(of: Callable[[Tabulation], Array]) -> Callable[[Tabulation, bool], Coefficient]:
    def compute(table: Tabulation, _: bool) -> Coefficient:
        by_pattern, n = of(table), table.units.sum()
        value = float(table.units @ by_pattern / n)
        return Coefficient(value, math.nan, math.nan, (by_pattern - value) / n)

    return compute


def _prevalence(table: Tabulation) -> Array:
    """1 where both gave the lower level, -1 where both gave the higher, else 0."""
    return (table.counts[:, 0] - table.counts[:, 1]) / 2


def _bias(table: Tabulation) -> Array:
    """1 where only the first rater gave the lower level, -1 where only the second did, else 0."""
    sign = np.where(table.level == 0, 1.0, 0.0) * np.where(table.rater == 0, 1.0, -1.0)
    return np.bincount(table.pattern, weights=sign, minlength=len(table.units)).astype(float)
