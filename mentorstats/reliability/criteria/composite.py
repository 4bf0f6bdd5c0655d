"""How dependable a weighted sum of several scores is, such as the total of a rubric."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value
from mentorstats.reliability.components.design import Design, Factors
from mentorstats.reliability.components.squares import expected_mean_squares
from mentorstats.reliability.components.study import DRAWS, GStudy
from mentorstats.reliability.criteria.multivariate import ProfileStudy
from mentorstats.reliability.plans.decision import ratio
from mentorstats.reliability.plans.projections import COMMON, OWN, RELATIVE, divisor, in_plan, kind_of

Floats = NDArray[np.float64]
Sizes = Mapping[str, int | Mapping[object, int]]

METHOD = "generalised_pivot"
_KINDS = (OWN, RELATIVE, COMMON)


@entry()
def composite(
    study: ProfileStudy,
    weights: Mapping[object, float],
    sizes: Sizes,
    *,
    confidence: float = 0.95,
    seed: int = 0,
) -> pd.Series:
    """Dependability of a weighted sum, such as a rubric's total.

    Parameters
    ----------
    study
        From ``profile_study``.
    weights
        Weight of each value of ``by``.
    sizes
        Members of each facet in the plan: a number, or where it is not linked a number for each value.
    confidence, seed
        Coverage of the limits, and the seed of their draws.

    Returns
    -------
    Series
        universe_variance, relative_error, absolute_error, generalizability, dependability, each coefficient
        with limits, sem, sem_relative, status.

        All of these are combinations of independent mean squares: of the weighted sum for what the scores
        share (w'Mw, M the mean products), of each score for the rest. Limits are quantiles over draws of the
        expected mean squares as SS / chi-squared [weerahandi_1993].

    Raises
    ------
    ArgumentError
        A value has no weight, a facet no size, or a linked facet sizes that differ.
    """
    w = _weights(study, weights)
    for one_score in study.studies.values():
        if not has_value(one_score.status):
            return _without_value(one_score, confidence)
    made = _combination(study, w, sizes)
    one = made.parts(made.ms[None, :])
    generator = np.random.default_rng(seed)
    many = made.parts(made.ms * made.df / generator.chisquare(made.df, size=(DRAWS, len(made.df))))
    own, relative, absolute = (float(part[0]) for part in one)
    values: dict[str, float | str] = {"universe_variance": own}
    values |= {"relative_error": relative, "absolute_error": absolute}
    tail = (1 - confidence) / 2
    for name, error in (("generalizability", 1), ("dependability", 2)):
        values[name] = float(ratio(one[0], one[error])[0])
        low, high = np.nanquantile(ratio(many[0], many[error]), [tail, 1 - tail])
        values |= {f"{name}_low": float(low), f"{name}_high": float(high)}
    values |= {"confidence": confidence, "interval_method": METHOD}
    values |= {"sem": absolute**0.5, "sem_relative": relative**0.5}
    values["status"] = (Status.OK if own > 0 else Status.BOUNDARY).value
    values["status_note"] = "" if own > 0 else "No difference between those rated was found."
    return pd.Series(values)


@dataclass(frozen=True)
class _Combination:
    """Parts of the sum's variance as combinations of independent mean squares.

    Attributes
    ----------
    shares : (kinds, m)
    ms, df : (m,)
    """

    shares: Floats
    ms: Floats
    df: Floats

    def with_more(self, other: _Combination, times: float) -> _Combination:
        """Join independent mean squares to these."""
        return _Combination(
            np.hstack([self.shares, times * other.shares]),
            np.append(self.ms, other.ms),
            np.append(self.df, other.df),
        )

    def parts(self, ms: Floats) -> tuple[Floats, Floats, Floats]:
        """Own variance, relative and absolute error of mean squares (n, m), none below zero, (n,) each."""
        own, relative, common = np.maximum(ms @ self.shares.T, 0.0).T
        return own, relative, relative + common


def _combination(study: ProfileStudy, w: Floats, sizes: Sizes) -> _Combination:
    """Weights of w'Mw of what is shared, and of each score's mean squares of what is not."""
    values = list(study.studies)
    first = study.studies[values[0]]
    point = {facet: _linked_size(sizes, facet, values) for facet in study.linked}
    shares = np.zeros((len(_KINDS), len(study.shared)))
    for at, effect in enumerate(study.shared):
        shares[_kind(first.design, effect)] += study.solving[at] / divisor(first.design, effect, point)
    squared = [w @ table.to_numpy() @ w for table in study.products.values()]
    freedom = first.mean_squares["df"].to_numpy(dtype=np.float64)
    df = [freedom[_effects(first).index(effect)] for effect in study.shared]
    found = _Combination(shares, np.array(squared), np.array(df))
    for value, weight in zip(values, w, strict=True):
        found = found.with_more(_own(study.studies[value], study.shared, sizes, value), weight**2)
    return found


def _own(study: GStudy, shared: tuple[Factors, ...], sizes: Sizes, value: object) -> _Combination:
    """What the mean squares that a score does not share add to its components."""
    design, effects = study.design, _effects(study)
    point = {facet: _size(sizes, facet, value) for facet in design.facets}
    counts = {facet: round(study.cells.per_parent(facet)) for facet in design.facets}
    counts[design.object] = study.cells.counts[design.differentiated]
    solving = np.linalg.inv(expected_mean_squares(effects, design, counts))
    own = [at for at, effect in enumerate(effects) if effect not in shared]
    shares = np.zeros((len(_KINDS), len(own)))
    for at, effect in enumerate(effects):
        shares[_kind(design, effect)] += solving[at, own] / divisor(design, in_plan(design, effect), point)
    table = study.mean_squares.iloc[own]
    return _Combination(shares, table["ms"].to_numpy(dtype=float), table["df"].to_numpy(dtype=float))


def _effects(study: GStudy) -> tuple[Factors, ...]:
    return tuple(several[0] for several in study.told.effects)


def _kind(design: Design, effect: Factors) -> int:
    """Place of an effect's kind; without fixed facets each effect has one."""
    return _KINDS.index(kind_of(design, effect) or COMMON)


def _weights(study: ProfileStudy, weights: Mapping[object, float]) -> Floats:
    missing = [value for value in study.studies if value not in weights]
    if missing:
        raise ArgumentError(
            f"no weight for {missing[0]!r}", remedy="Give a weight to each value; 0 leaves it out."
        )
    return np.array([float(weights[value]) for value in study.studies])


def _linked_size(sizes: Sizes, facet: str, values: Sequence[object]) -> int:
    found = {_size(sizes, facet, value) for value in values}
    if len(found) > 1:
        raise ArgumentError(f"sizes of {facet!r} differ", remedy="A linked facet has one size for all.")
    return found.pop()


def _size(sizes: Sizes, facet: str, value: object) -> int:
    given = sizes.get(facet)
    found = given.get(value) if isinstance(given, Mapping) else given
    if found is None or found < 1:
        raise ArgumentError(f"no size for {facet!r} of {value!r}", allowed="whole numbers from 1")
    return int(found)


def _without_value(study: GStudy, confidence: float) -> pd.Series:
    coefficients = ("generalizability", "dependability")
    names = ["universe_variance", "relative_error", "absolute_error"]
    names += [name + end for name in coefficients for end in ("", "_low", "_high")]
    last = {"status": study.status.value, "status_note": study.status_note}
    numbers: dict[str, float | str] = dict.fromkeys(names, np.nan)
    numbers |= {"confidence": confidence, "interval_method": "none", "sem": np.nan, "sem_relative": np.nan}
    return pd.Series(numbers | last)
