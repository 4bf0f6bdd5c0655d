"""First look at the data: members, categories, knots and counts, from one frame or many chunks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError, ModelError
from mentorstats.mixed.design.layout import (
    Atom,
    Categories,
    Curve,
    Declared,
    Layout,
    Members,
    Numeric,
    as_numbers,
    check_columns,
    distinct,
    expand,
    is_number,
    joint_codes,
)
from mentorstats.mixed.design.terms import Grouping, Spline
from mentorstats.progress import track

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_LARGEST = 1e100  # squares of larger numbers overflow
Chunks = Callable[[], Iterable[pd.DataFrame]]


@dataclass(frozen=True, slots=True)
class Rows:
    """Complete rows, as numbers."""

    response: Floats  # values, or the number of the level counted from 0
    fixed: Floats  # (n, p)
    codes: tuple[Ints, ...]  # member of each row, a grouping each
    values: tuple[Floats, ...]  # (n, k) a grouping
    weights: Floats
    threshold_group: Ints
    scale: Floats  # (n, s)
    kept: Ints  # which rows of the frame they are
    left_out: int

    def select(self, columns: Sequence[int], factors: Sequence[int]) -> Rows:
        """Keep some fixed columns and some groupings."""
        return replace(
            self,
            fixed=np.ascontiguousarray(self.fixed[:, list(columns)]),
            codes=tuple(self.codes[t] for t in factors),
            values=tuple(self.values[t] for t in factors),
        )

    def collapsed(self) -> Rows:
        """Merge identical rows, adding their weights; ``kept`` then holds the first row of each."""
        wide = [self.response, self.threshold_group, *self.codes, *self.fixed.T, *self.scale.T]
        wide += [column for values in self.values for column in values.T]
        joint = np.zeros(len(self.response), dtype=np.int64)
        for column in wide:
            codes, distinct_values = pd.factorize(column)
            joint = pd.factorize(joint * len(distinct_values) + codes)[0]
        count = int(joint.max(initial=-1)) + 1
        if count == len(joint):
            return self
        _, first = np.unique(joint, return_index=True)
        return replace(
            self,
            response=self.response[first],
            fixed=self.fixed[first],
            codes=tuple(codes[first] for codes in self.codes),
            values=tuple(values[first] for values in self.values),
            weights=np.asarray(np.bincount(joint, self.weights, minlength=count), dtype=np.float64),
            threshold_group=self.threshold_group[first],
            scale=self.scale[first],
            kept=self.kept[first],
        )


@dataclass(frozen=True, slots=True)
class Survey:
    """The layout and what the response looked like."""

    layout: Layout
    n: int
    left_out: int
    mean: float
    sd: float
    used_levels: tuple[bool, ...]  # ordinal: which declared levels occur
    levels: tuple[Any, ...]
    threshold_groups: tuple[Any, ...]
    scale_atoms: tuple[Atom, ...]
    averages: dict[str, float]  # mean of each numeric column

    @property
    def scale_names(self) -> list[str]:
        """Names of the columns of the dispersion model."""
        return [label for atom in self.scale_atoms for label in atom.labels]


def survey(chunks: Chunks, declared: Declared) -> Survey:
    """Read the data once and fix what every column of the model means."""
    total = _look(chunks, declared)
    notes: list[str] = []
    terms = tuple(tuple(total.atom(part, notes) for part in term) for term in expand(declared.fixed))
    layout = Layout(declared, terms, tuple(total.member(g) for g in declared.grouped), tuple(notes))
    scale = tuple(total.atom(name, notes) for name in declared.scale)
    groups = total.values(declared.thresholds_by) if declared.thresholds_by else pd.Index([None])
    return Survey(
        layout,
        total.n,
        total.left_out,
        total.mean,
        total.sd,
        tuple(bool(x) for x in total.seen_levels),
        total.levels,
        tuple(groups),
        scale,
        {name: float(sums[2] / sums[1]) if sums[1] else 0.0 for name, sums in total._sums.items()},
    )


def _look(chunks: Chunks, declared: Declared) -> _Total:
    total: _Total | None = None
    for frame in track(chunks(), "looking through the ratings"):
        if total is None:
            check_columns(frame, declared)
            total = _Total(declared, _levels(frame, declared))
        total.add(frame)
    if total is None:
        raise ArgumentError("no data", where="data", remedy="Give at least one frame, even an empty one.")
    return total


def _levels(frame: pd.DataFrame, declared: Declared) -> tuple[Any, ...]:
    dtype = frame[declared.response].dtype
    if declared.kind == "linear":
        return ()
    if declared.levels is not None:
        levels = declared.levels
        own = list(dtype.categories) if isinstance(dtype, pd.CategoricalDtype) and dtype.ordered else []
        if [level for level in levels if level in own] != [level for level in own if level in levels]:
            raise ModelError(
                f"levels= and the categorical column {declared.response!r} give the levels in another order",
                where="data",
                remedy="Leave levels= out, or reorder the column.",
            )
    elif isinstance(dtype, pd.CategoricalDtype) and dtype.ordered:
        levels = tuple(dtype.categories)
    else:
        raise ModelError(
            f"the order of the levels of {declared.response!r} is not declared",
            where="data",
            remedy="Give levels=, lowest first, or an ordered categorical column.",
        )
    if len(set(levels)) < len(levels) or len(levels) < 2:
        raise ModelError(f"levels {list(levels)!r}", allowed="two or more different levels, lowest first")
    return levels


def complete(frame: pd.DataFrame, declared: Declared) -> NDArray[np.bool_]:
    """Which rows have a value in every column the model reads."""
    return np.asarray(frame[declared.used].notna().all(axis=1), dtype=bool)


class _Total:
    """What is added up over the chunks."""

    def __init__(self, declared: Declared, levels: tuple[Any, ...]) -> None:
        self.declared, self.levels = declared, levels
        self.n = self.left_out = 0
        self.mean = self._squares = 0.0
        self.seen_levels = np.zeros(len(levels), dtype=bool)
        self._values: dict[str, list[pd.Series]] = {}
        self._numeric: dict[str, bool] = {}
        self._sums: dict[str, Floats] = {}
        self._curves: dict[str, list[Floats]] = {}
        self._combinations: dict[Grouping, list[pd.DataFrame]] = {g: [] for g in declared.grouped}

    def add(self, frame: pd.DataFrame) -> None:
        used = frame[self.declared.used]
        good = complete(used, self.declared)
        kept = used if good.all() else used[good]
        self.left_out += len(used) - len(kept)
        self._response(kept[self.declared.response], frame)
        often = self._often(kept)
        for name in self.declared.used[1:]:
            self._column(name, kept[name], often)
        for grouping in self.declared.grouped:
            if len(grouping.keys) > 1:
                part = kept[list(grouping.keys)]
                self._combinations[grouping].append(part.drop_duplicates())

    def _often(self, kept: pd.DataFrame) -> Floats:
        """How many ratings each row stands for."""
        if self.declared.kind != "ordinal" or not self.declared.weights:
            return np.ones(len(kept))
        return as_numbers(kept[self.declared.weights])

    def _column(self, name: str, values: pd.Series, often: Floats) -> None:
        numeric = is_number(values) and name not in self.declared.reference
        self._numeric.setdefault(name, numeric)
        if numeric:
            numbers = as_numbers(values)
            _check_finite(numbers, values, f"column {name!r}")
            sums = self._sums.setdefault(name, np.zeros(3))
            sums += np.array([often @ numbers**2, often.sum(), often @ numbers])
        if any(isinstance(term, Spline) and term.of == name for term in self.declared.fixed):
            whole = np.rint(often)
            alike = bool((often > 0).all() and (whole == often).all())
            self._curves.setdefault(name, []).append(
                np.repeat(numbers, whole.astype(int)) if alike else numbers
            )
        if not numeric or self._is_key(name):
            self._values.setdefault(name, []).append(_once(values))

    def _is_key(self, name: str) -> bool:
        d = self.declared
        return name == d.thresholds_by or any(name in (*g.keys, g.within) for g in d.grouped)

    def _response(self, values: pd.Series, frame: pd.DataFrame) -> None:
        if self.declared.kind == "ordinal":
            codes = level_codes(values, self.levels, self.declared.response)
            self.seen_levels |= np.bincount(codes, minlength=len(self.levels)) > 0
            numbers = codes.astype(np.float64)
        else:
            if len(values) and not is_number(values):
                raise ModelError(
                    f"response {self.declared.response!r} holds {values.dtype}",
                    where="data",
                    remedy="Use kind='ordinal' for levels, or a numeric column.",
                )
            numbers = as_numbers(values)
        _check_finite(numbers, values, f"response {self.declared.response!r}")
        if len(numbers):
            size = self.n + len(numbers)
            step = numbers.mean() - self.mean
            self._squares += float(numbers.var()) * len(numbers) + step**2 * self.n * len(numbers) / size
            self.mean += float(step) * len(numbers) / size
        self.n += len(numbers)

    @property
    def sd(self) -> float:
        return float(np.sqrt(self._squares / max(self.n, 1)))

    def values(self, name: str) -> pd.Index[Any]:
        return distinct(self._values[name])

    def atom(self, part: str | Spline, notes: list[str]) -> Atom:
        if isinstance(part, Spline):
            values = np.concatenate(self._curves[part.of])
            at = np.quantile(values, np.linspace(0, 1, part.df + 1)) if len(values) else np.zeros(1)
            knots = tuple(float(x) for x in np.unique(at))
            if len(values) and len(knots) < part.df + 1:
                raise ModelError(
                    f"{part.of!r} takes too few values for a curve with df={part.df}", remedy="Lower df."
                )
            return Curve(part.of, knots)
        if self._numeric[part]:
            return Numeric(part)
        first = self._values[part][0]
        levels = list(self.values(part))
        if isinstance(first.dtype, pd.CategoricalDtype):
            unused = [c for c in first.cat.categories if c not in set(levels)]
            if unused:
                shown = ", ".join(map(str, unused))
                notes.append(f"{part}: no rating has {shown}; there is no column for it.")
        if len(levels) == 1 and part in self.declared.fixed:
            notes.append(f"{part}: every rating has {levels[0]}; there is no column for it.")
        against = self.declared.reference.get(part, levels[0] if levels else None)
        if levels and against not in levels:
            raise ModelError(f"{part!r} has no value {against!r} to compare with", allowed=levels)
        return Categories(part, tuple(levels), against)

    def member(self, grouping: Grouping) -> Members:
        keys = tuple(self.values(name) for name in grouping.keys)
        if len(keys) == 1:
            codes = np.arange(len(keys[0]), dtype=np.int64)
        else:
            parts = self._combinations[grouping]
            codes = np.unique(np.concatenate([joint_codes(part, grouping.keys, keys) for part in parts]))
        roles = tuple(self.values(grouping.within)) if grouping.within else ()
        scale = [1.0] * len(roles)
        for name in grouping.slopes:
            squares, count, _ = self._sums[name]
            scale.append(float(np.sqrt(squares / count)) if squares > 0 else 1.0)
        return Members(grouping, keys, codes, roles, tuple(scale))


def _once(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, pd.CategoricalDtype):
        return values.drop_duplicates()
    return pd.Series(pd.unique(values), name=values.name)


def _check_finite(numbers: Floats, values: pd.Series, what: str) -> None:
    far = np.flatnonzero(~(np.abs(numbers) < _LARGEST))
    if len(far):
        size = "infinite" if np.isinf(numbers[far[0]]) else f"{numbers[far[0]]:g}, beyond {_LARGEST:g}"
        raise ModelError(
            f"{what} is {size}",
            where=f"data, row {plain(values.index[far[0]])!r}",
            remedy="Correct the value or leave the row out.",
        )


def plain(value: Any) -> Any:
    """Turn numpy's numbers into Python's, which print without their type."""
    return value.item() if isinstance(value, np.generic) else value


def level_codes(values: pd.Series, levels: tuple[Any, ...], name: str) -> Ints:
    """Number of each level counted from 0; raises naming the row of a value that is not declared."""
    codes, uniques = pd.factorize(values)
    place = pd.Index(levels, dtype=object).get_indexer(pd.Index(np.asarray(uniques, dtype=object)))
    found = np.append(place, -1)[codes].astype(np.int64)
    if (found < 0).any():
        at = int(np.flatnonzero(found < 0)[0])
        raise ModelError(
            f"{name!r} is {plain(values.iloc[at])!r}, which is not a declared level",
            where=f"data, row {plain(values.index[at])!r}",
            allowed=[repr(plain(level)) for level in levels],
            remedy="Declare it or correct the value.",
        )
    return found


def rows(frame: pd.DataFrame, found: Survey, *, response: bool = True) -> Rows:
    """Turn a frame into numbers; rows with a missing value are counted and left out."""
    layout, declared = found.layout, found.layout.declared
    good = complete(frame, declared)
    kept = np.flatnonzero(good)
    part = frame[declared.used] if good.all() else frame.loc[good, declared.used]
    values = part[declared.response]
    y = (
        level_codes(values, found.levels, declared.response).astype(np.float64)
        if declared.kind == "ordinal"
        else as_numbers(values)
    )
    weights = as_numbers(part[declared.weights]) if declared.weights else np.ones(len(part))
    if not (weights > 0).all():
        at = part.index[~(weights > 0)][0]
        raise ModelError(
            f"weight {declared.weights!r} is not above zero",
            where=f"data, row {plain(at)!r}",
            remedy="Leave the row out.",
        )
    groups = (
        joint_codes(part, [declared.thresholds_by], [pd.Index(found.threshold_groups)])
        if declared.thresholds_by
        else np.zeros(len(part), dtype=np.int64)
    )
    scale = [atom.columns(part[atom.name]) for atom in found.scale_atoms]
    return Rows(
        response=y,
        fixed=layout.matrix(part),
        codes=tuple(members.find(part) for members in layout.members),
        values=tuple(members.values(part) for members in layout.members),
        weights=weights,
        threshold_group=groups,
        scale=np.concatenate(scale, axis=1) if scale else np.zeros((len(part), 0)),
        kept=kept,
        left_out=len(frame) - len(part),
    )
