"""Scores as numbers: which row belongs to which member of which effect, and what the rows tell apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError, ModelError, need_columns
from mentorstats.reliability.components.design import Design, Factors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SHOWN = 3  # examples named in an error


@dataclass(frozen=True)
class Cells:
    """Complete rows of the table, coded.

    Attributes
    ----------
    frame
        The complete rows, with the caller's columns.
    score
        (n,)
    codes
        For each effect the member, from 0, that each row belongs to, (n,).
    counts
        Members of each effect.
    n_left_out
        Rows with a missing value.
    beside
        Columns of the frame that are no part of the design; they may have missing values.
    """

    design: Design
    frame: pd.DataFrame
    score: Floats
    codes: Mapping[Factors, Ints]
    counts: Mapping[Factors, int]
    n_left_out: int
    beside: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Scores that entered."""
        return len(self.score)

    @cached_property
    def balanced(self) -> bool:
        """Whether every cell of the design has its score and members are equal in number."""
        return as_array(self) is not None

    def per_parent(self, factor: str) -> float:
        """Members of a factor, on average within each member of what it is nested in."""
        outer = self.design.above[factor]
        return self.counts[self.design.closed({factor})] / (self.counts[outer] if outer else 1)

    def mean_weight(self, effect: Factors) -> float:
        """Share of an effect's variance that the mean of all scores carries: Σ (n of a member / n)²."""
        sizes = np.bincount(self.codes[effect]) / self.n
        return float(sizes @ sizes)


def read(
    scores: pd.DataFrame,
    design: Design,
    score: str,
    covariates: Sequence[str] = (),
    beside: Sequence[str] = (),
) -> Cells:
    """Code the complete rows; columns ``beside`` come along and may have missing values.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError, ModelError
        A column is missing or holds no numbers; two rows are of one cell; facets are declared crossed
        of which one lies within the other.
    """
    used = [*design.factors, score, *(name for name in covariates if name not in design.factors)]
    along = [name for name in beside if name not in used]
    need_columns(scores.columns, [*used, *along], where="scores")
    if score in design.factors:
        raise ModelError(f"score {score!r} also stands among object and facets")
    complete = scores[used].notna().all(axis=1).to_numpy()
    frame = scores.loc[complete, used + along]
    numbers = _numbers(frame[score], score)
    single = {name: _factorised(frame[name]) for name in design.factors}
    codes = {effect: _joint([single[name] for name in sorted(effect)]) for effect in design.effects}
    counts = {effect: int(of.max(initial=-1)) + 1 for effect, of in codes.items()}
    found = Cells(design, frame, numbers, codes, counts, int((~complete).sum()), tuple(beside))
    _refuse_repeated(found)
    _refuse_undeclared(found)
    return found


def _numbers(column: pd.Series, name: str) -> Floats:
    if not pd.api.types.is_numeric_dtype(column.dtype):
        raise ColumnError(
            f"score {name!r} holds no numbers ({column.dtype})",
            where="scores",
            remedy="Give ranks, such as 1 for the lowest level, or a mean over criteria.",
        )
    found = column.to_numpy(dtype=np.float64)
    if not np.isfinite(found).all():
        raise ArgumentError(f"score {name!r} holds an infinite value", where="scores")
    return found


def _factorised(column: pd.Series) -> Ints:
    values = column.astype("object") if isinstance(column.dtype, pd.CategoricalDtype) else column
    return np.asarray(pd.factorize(values, sort=False)[0], dtype=np.int64)


def _joint(codes: Sequence[Ints]) -> Ints:
    """Number the combinations that occur."""
    joint = codes[0]
    for more in codes[1:]:
        both = joint * (int(more.max(initial=0)) + 1) + more
        joint = np.asarray(pd.factorize(both)[0], dtype=np.int64)
    return joint


def _refuse_repeated(found: Cells) -> None:
    whole = found.codes[found.design.whole]
    if found.counts[found.design.whole] == found.n:
        return
    names = list(found.design.factors)
    twice = found.frame[np.bincount(whole)[whole] > 1].drop_duplicates(names)[names].head(_SHOWN)
    shown = "; ".join(", ".join(map(str, row)) for row in twice.itertuples(index=False))
    raise DuplicateRatingError(
        f"{found.n - found.counts[found.design.whole]} scores stand in a cell that has one already "
        f"({', '.join(names)}: {shown})",
        where="scores",
        remedy="Name the column that tells them apart as a facet, such as the lesson, nested in the object "
        "where each object has its own; or average them.",
    )


def _refuse_undeclared(found: Cells) -> None:
    """Raise where a facet lies within another without being declared so."""
    design, counts = found.design, found.counts
    for inner in design.facets:
        if design.above[inner]:
            continue
        own = counts[frozenset({inner})]
        for outer in design.factors:
            around = design.closed({outer})
            if inner in around or not 1 < counts[around] < own or counts[around | {inner}] != own:
                continue
            raise ModelError(
                f"each {inner} meets a single {outer}, so they are not crossed",
                where="scores",
                remedy=f"Declare nested={{{inner!r}: {outer!r}}}.",
            )


@dataclass(frozen=True)
class Told:
    """What can be told apart: effects that divide the rows alike are one component.

    Attributes
    ----------
    effects
        For each component its effects, the one of fewest factors first; the last component is the one that
        holds the error of a single score.
    constant
        Effects with one member: nothing varies that could show their variance.
    """

    effects: tuple[tuple[Factors, ...], ...]
    constant: tuple[Factors, ...]

    @property
    def confounded(self) -> dict[Factors, Factors]:
        """Effects without a component of their own, and the effect that theirs is named by."""
        return {other: several[0] for several in self.effects for other in several[1:]}


def told_apart(found: Cells) -> Told:
    """Find which effects divide the rows in the same way."""
    design, counts = found.design, found.counts
    alike: dict[Factors, list[Factors]] = {}
    for effect in design.effects:
        if counts[effect] > 1:
            alike.setdefault(_largest(effect, design, counts), []).append(effect)
    rest = sorted(alike, key=lambda key: key == design.whole)
    constant = tuple(effect for effect in design.effects if counts[effect] <= 1)
    return Told(tuple(tuple(alike[key]) for key in rest), constant)


def _largest(effect: Factors, design: Design, counts: Mapping[Factors, int]) -> Factors:
    """Largest effect that divides the rows as this one does."""
    same = (larger for larger in design.effects if effect <= larger and counts[larger] == counts[effect])
    return frozenset().union(*same)


def as_array(found: Cells) -> Floats | None:
    """Scores with an axis a factor, in the order of the design, or None unless balanced and complete."""
    design = found.design
    places = []
    for factor in design.factors:
        here = found.codes[design.closed({factor})]
        outer = design.above[factor]
        places.append(_within(here, found.codes[outer]) if outer else here)
    shape = tuple(int(place.max(initial=-1)) + 1 for place in places)
    if int(np.prod(shape)) != found.n:
        return None
    at = np.ravel_multi_index(places, shape)
    if len(np.unique(at)) != found.n:
        return None
    array = np.empty(found.n)
    array[at] = found.score
    return array.reshape(shape)


def _within(inner: Ints, outer: Ints) -> Ints:
    """Count the members of each outer member from 0."""
    members, first = np.unique(inner, return_index=True)
    home = outer[first]
    order = np.argsort(home, kind="stable")
    starts = np.concatenate([[0], np.cumsum(np.bincount(home))])
    place = np.empty(len(members), dtype=np.int64)
    place[order] = np.arange(len(members)) - starts[home[order]]
    return place[inner]
