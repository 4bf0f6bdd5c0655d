"""Criteria reported singly: how the candidates' standings on them go together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.printed import Shown
from mentorstats.reliability.components.cells import as_array
from mentorstats.reliability.components.design import Design, Factors, Nested
from mentorstats.reliability.components.squares import degrees, deviations, expected_mean_squares
from mentorstats.reliability.components.study import GStudy, g_study

Floats = NDArray[np.float64]


@dataclass(frozen=True, repr=False, eq=False)
class ProfileStudy(Shown):
    """Generalizability studies of several scores of the same objects, and what they share.

    Attributes
    ----------
    studies
        One study a value of ``by``.
    covariances
        For each effect that the scores share its variances and covariances between values of ``by``.
    products
        For each of these effects its mean squares and mean products of the scores averaged over what they
        do not share.
    object
        Name of the object's own effect among them.
    shared
        The effects, in the order of ``covariances``.
    solving
        Covariances = solving @ products, (s, s).
    """

    studies: Mapping[object, GStudy]
    covariances: Mapping[str, pd.DataFrame]
    products: Mapping[str, pd.DataFrame]
    object: str
    linked: tuple[str, ...]
    shared: tuple[Factors, ...]
    solving: Floats

    @property
    def universe(self) -> pd.DataFrame:
        """Variances and covariances of the universe scores."""
        return self.covariances[self.object]

    @property
    def correlations(self) -> pd.DataFrame:
        """Correlations of the universe scores; missing where a variance is not above zero.

        Estimates of a variance and a covariance do not know of each other, so that few scores can give a
        value beyond 1.
        """
        raw = self.universe.to_numpy()
        sd = np.sqrt(np.where(np.diagonal(raw) > 0, np.diagonal(raw), np.nan))
        return pd.DataFrame(raw / np.outer(sd, sd), self.universe.index, self.universe.columns)


@entry(named=True)
def profile_study(
    scores: pd.DataFrame,
    *,
    object: str,
    facets: str | Sequence[str],
    score: str,
    by: str,
    linked: str | Sequence[str] = (),
    nested: Nested | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> ProfileStudy:
    """Study several scores of the same objects at once [brennan_2001].

    Parameters
    ----------
    scores, object, facets, score, nested, confidence, seed
        As for ``g_study``; for each value of ``by`` the data are balanced and complete.
    by
        Column that tells the scores apart, such as the criterion: its values are fixed.
    linked
        Facets whose members are the same for all values of ``by``, such as raters who score every criterion.
        Others, such as the items of a subtest, are drawn for each value anew and have no covariances.

    Returns
    -------
    ProfileStudy
        Covariances come from mean products as variances do from mean squares.

    Raises
    ------
    ArgumentError, ColumnError
        A value of ``by`` has no balanced data, other objects, or other members of a linked facet.
    """
    shared = (linked,) if isinstance(linked, str) else tuple(linked)
    need_columns(scores.columns, [by, object, *shared], where="scores")
    rows = scores[scores[by].notna()]
    studies = {
        value: g_study(
            rows[rows[by] == value].sort_values([object, *shared], kind="stable"),
            object=object,
            facets=facets,
            score=score,
            nested=nested,
            confidence=confidence,
            seed=seed,
        )
        for value in _in_order(rows[by].unique())
    }
    _check(studies, by, shared)
    design = next(iter(studies.values())).design
    effects = [effect for effect in design.effects if effect - {object} <= frozenset(shared)]
    means = [_means(study, design, effects[-1]) for study in studies.values()]
    products, solving = _products(np.array(means), design, effects)
    solved = np.einsum("ij,jab->iab", solving, products)
    covariances = {}
    for k, effect in enumerate(effects):
        table = pd.DataFrame(solved[k], list(studies), list(studies))
        for value, study in studies.items():
            table.loc[value, value] = _own_variance(study, effect)
        covariances[design.name(effect)] = table
    return ProfileStudy(
        studies,
        covariances,
        {
            design.name(effect): pd.DataFrame(part, list(studies), list(studies))
            for effect, part in zip(effects, products, strict=True)
        },
        design.name(design.differentiated),
        shared,
        tuple(effects),
        solving,
    )


def _check(studies: Mapping[object, GStudy], by: str, shared: Sequence[str]) -> None:
    if len(studies) < 2:
        raise ArgumentError(f"{by!r} has {len(studies)} values", remedy="Use g_study for one score.")
    first = next(iter(studies.values()))
    if first.design.differentiated != {first.design.object}:
        raise ArgumentError("the object is nested in a facet", remedy="Nest facets in the object only.")
    for facet in shared:
        if facet not in first.design.facets or first.design.above[facet]:
            raise ArgumentError(f"linked names {facet!r}", allowed="facets that are not nested")
        if first.cells.counts.get(frozenset({facet}), 0) < 2:
            raise ArgumentError(f"linked facet {facet!r} has one member", allowed="two members or more")
    for value, study in studies.items():
        if study.method != "anova" or not study.cells.balanced:
            raise ArgumentError(
                f"scores of {by} {value!r} are not balanced and complete",
                remedy="Leave objects with missing cells out, or study each score by itself.",
            )
        for name in (study.design.object, *shared):
            if set(study.cells.frame[name]) != set(first.cells.frame[name]):
                raise ArgumentError(
                    f"{by} {value!r} has other members of {name} than the first value",
                    remedy="Keep the members that all values have.",
                )


def _in_order(values: Iterable[Any]) -> list[Any]:
    """In their own order, or in that of kind and text where they have none."""
    found = list(values)
    try:
        return sorted(found)
    except TypeError:
        return sorted(found, key=lambda value: (type(value).__name__, str(value)))


def _means(study: GStudy, design: Design, widest: Factors) -> Floats:
    """Means over what is not shared, with an axis of length 1 for it."""
    array = as_array(study.cells)
    if array is None:
        raise ArgumentError("scores are not balanced and complete")
    if not array.size:
        raise ArgumentError("no row has a value in every column", where="scores")
    axes = tuple(i for i, name in enumerate(design.factors) if name not in widest)
    return np.asarray(array.mean(axis=axes, keepdims=True))


def _products(means: Floats, design: Design, effects: list[Factors]) -> tuple[Floats, Floats]:
    """Mean products, one square array an effect, and what makes covariance components of them."""
    widest = effects[-1]
    inner = Design(
        design.object,
        tuple(name for name in design.facets if name in widest),
        {name: design.above[name] for name in design.factors if name in widest},
    )
    sizes = {name: means.shape[1 + i] for i, name in enumerate(design.factors) if name in widest}
    kept = means.reshape(len(means), *(sizes[name] for name in inner.factors))
    expected = expected_mean_squares(tuple(effects), inner, sizes)
    found = []
    for effect in effects:
        parts = deviations(kept, effect, inner, kept=1).reshape(len(means), -1)
        times = float(np.prod([sizes[name] for name in widest - effect]))
        free = degrees(effect, inner, sizes)
        if not free > 0:
            raise ArgumentError(
                f"{' × '.join(sorted(effect))} has a single member, so nothing can vary with it",
                where="scores",
            )
        found.append(parts @ parts.T * times / free)
    return np.array(found), np.asarray(np.linalg.inv(expected))


def _own_variance(study: GStudy, effect: Factors) -> float:
    at = [several[0] for several in study.told.effects].index(effect)
    return float(study.estimated.raw[at])
