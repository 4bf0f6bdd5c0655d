"""What a model's columns are: read once from the data, then the same for every chunk of rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import chain
from itertools import product as combinations
from typing import Any, cast

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from mentorstats.errors import ColumnError, ModelError, need_columns
from mentorstats.mixed.design.terms import FixedTerm, Grouping, Product, Spline

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NUMBERS = {"integer", "floating", "mixed-integer-float", "decimal"}
INTERCEPT = "intercept"


@dataclass(frozen=True, slots=True)
class Declared:
    """The model as the caller wrote it."""

    response: str
    fixed: tuple[FixedTerm, ...]
    grouped: tuple[Grouping, ...]
    kind: str
    levels: tuple[Any, ...] | None = None
    link: str = "logit"
    thresholds_by: str | None = None
    scale: tuple[str, ...] = ()
    weights: str | None = None
    reference: dict[str, Any] = field(default_factory=dict)

    @property
    def used(self) -> list[str]:
        """Every column the model reads, once, the response first."""
        names: list[str] = [self.response]
        for term in self.fixed:
            names += term.of if isinstance(term, Product) else [term.of if isinstance(term, Spline) else term]
        names += chain.from_iterable(grouping.used for grouping in self.grouped)
        names += [name for name in (self.thresholds_by, *self.scale, self.weights) if name]
        return list(dict.fromkeys(names))

    @property
    def numeric_only(self) -> set[str]:
        """Columns that must hold numbers."""
        slopes = chain.from_iterable(grouping.slopes for grouping in self.grouped)
        curves = (term.of for term in self.fixed if isinstance(term, Spline))
        return {*slopes, *curves, *((self.weights,) if self.weights else ())}


@dataclass(frozen=True, slots=True)
class Numeric:
    """A fixed column that enters as it is."""

    name: str

    @property
    def labels(self) -> list[str]:
        """Names of the model columns it gives."""
        return [self.name]

    def columns(self, values: pd.Series) -> Floats:
        """One column, (n, 1)."""
        return as_numbers(values)[:, None]


@dataclass(frozen=True, slots=True)
class Curve:
    """A natural cubic spline."""

    name: str
    knots: tuple[float, ...]

    @property
    def labels(self) -> list[str]:
        """Names of the model columns it gives."""
        return [f"{self.name} (curve {i})" for i in range(1, len(self.knots))]

    def columns(self, values: pd.Series) -> Floats:
        """Basis of the spline, (n, knots − 1): equations 5.4 and 5.5 of [hastie_2009]."""
        knots = np.asarray(self.knots)
        span = knots[-1] - knots[0]
        x = (as_numbers(values) - knots[0]) / span
        at = (knots - knots[0]) / span
        cubes = np.maximum(x[:, None] - at, 0.0) ** 3
        d = (cubes[:, :-1] - cubes[:, -1:]) / (at[-1] - at[:-1])
        return np.column_stack([x, d[:, :-1] - d[:, -1:]])


@dataclass(frozen=True, slots=True)
class Categories:
    """A fixed column of categories, each compared with a stated one."""

    name: str
    levels: tuple[Any, ...]
    against: Any

    @property
    def shown(self) -> list[Any]:
        """Categories that have a column."""
        return [level for level in self.levels if level != self.against]

    @property
    def labels(self) -> list[str]:
        """Names of the model columns it gives."""
        return [f"{self.name}: {level}" for level in self.shown]

    def columns(self, values: pd.Series) -> Floats:
        """Indicators of all categories but the one compared with, (n, categories − 1)."""
        codes = _codes(values, pd.Index(self.shown, dtype=object))
        return np.asarray(codes[:, None] == np.arange(len(self.shown)), dtype=np.float64)


Atom = Numeric | Curve | Categories


@dataclass(frozen=True, slots=True)
class Members:
    """One grouping factor with its members, sorted, and the columns each member has an effect on."""

    grouping: Grouping
    keys: tuple[pd.Index[Any], ...]  # values of each key column
    codes: Ints  # joint code of each member, ascending
    roles: tuple[Any, ...] = ()
    slope_scale: tuple[float, ...] = ()

    @property
    def name(self) -> str:
        """Name of the component."""
        return self.grouping.name

    @property
    def m(self) -> int:
        """Number of members."""
        return len(self.codes)

    @property
    def k(self) -> int:
        """Effects of one member."""
        return len(self.roles) if self.roles else 1 + len(self.grouping.slopes)

    @property
    def coefficients(self) -> list[str]:
        """Component name of each effect of a member."""
        if self.roles:
            return [f"{self.name}: {role}" for role in self.roles]
        return [self.name, *(f"{self.name}: {slope}" for slope in self.grouping.slopes)]

    @property
    def scales(self) -> Floats:
        """What each effect's column is divided by inside the computations."""
        return np.asarray(self.slope_scale) if self.roles else np.array([1.0, *self.slope_scale])

    def labels(self) -> list[str]:
        """Code of each member; the parts of a crossing are joined by ×."""
        shape = tuple(len(index) for index in self.keys)
        parts = np.unravel_index(self.codes, shape)
        columns = [index.to_numpy(dtype=object)[part] for index, part in zip(self.keys, parts, strict=True)]
        return [" × ".join(str(value) for value in row) for row in zip(*columns, strict=True)]

    def find(self, frame: pd.DataFrame) -> Ints:
        """Number of the member of each row, −1 for one not seen before."""
        joint = joint_codes(frame, self.grouping.keys, self.keys)
        at = np.searchsorted(self.codes, joint)
        at[at == len(self.codes)] = 0
        return np.where((joint >= 0) & (self.codes[at] == joint), at, -1)

    def values(self, frame: pd.DataFrame) -> Floats:
        """What the effects of a row's member are multiplied by, (n, k), scaled."""
        if self.roles:
            role = _codes(frame[self.grouping.within], pd.Index(self.roles, dtype=object))
            return np.asarray(role[:, None] == np.arange(len(self.roles)), dtype=np.float64)
        slopes = [as_numbers(frame[name]) for name in self.grouping.slopes]
        return np.column_stack([np.ones(len(frame)), *slopes]) / self.scales


@dataclass(frozen=True, slots=True)
class Layout:
    """All columns of a model."""

    declared: Declared
    terms: tuple[tuple[Atom, ...], ...]
    members: tuple[Members, ...]
    notes: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Names of the fixed columns."""
        names = [INTERCEPT] if self.declared.kind == "linear" else []
        for term in self.terms:
            names += [" × ".join(parts) for parts in combinations(*(atom.labels for atom in term))]
        return names

    @property
    def atoms(self) -> dict[str, Atom]:
        """The fixed columns by the name of the data column they come from."""
        return {atom.name: atom for term in self.terms for atom in term}

    def matrix(self, frame: pd.DataFrame) -> Floats:
        """Fixed columns of these rows, (n, p)."""
        made: dict[Atom, Floats] = {}
        parts = [np.ones((len(frame), 1))] if self.declared.kind == "linear" else []
        for term in self.terms:
            for atom in term:
                if atom not in made:
                    made[atom] = atom.columns(frame[atom.name])
            block = made[term[0]]
            for atom in term[1:]:
                width = block.shape[1] * made[atom].shape[1]
                block = (block[:, :, None] * made[atom][:, None, :]).reshape(len(frame), width)
            parts.append(block)
        return np.concatenate(parts, axis=1) if parts else np.zeros((len(frame), 0))


def as_numbers(values: pd.Series) -> Floats:
    """Turn a numeric column of any kind into floats."""
    return values.to_numpy(dtype=np.float64, na_value=np.nan)


def is_number(values: pd.Series) -> bool:
    """Whether the column holds numbers, as objects too (yes/no is a category)."""
    types = pd.api.types
    if values.dtype == object:
        return types.infer_dtype(values, skipna=True) in _NUMBERS
    numeric = types.is_numeric_dtype(values.dtype) and not types.is_bool_dtype(values.dtype)
    return numeric and not types.is_complex_dtype(values.dtype)


def _is_dated(dtype: Any) -> bool:
    types = pd.api.types
    if isinstance(dtype, pd.ArrowDtype):
        return bool(pa.types.is_temporal(dtype.pyarrow_dtype))
    return types.is_datetime64_any_dtype(dtype) or types.is_timedelta64_dtype(dtype)


def joint_codes(frame: pd.DataFrame, names: Sequence[str], keys: Sequence[pd.Index[Any]]) -> Ints:
    """One number for each combination of the key columns' values, −1 where one is unknown."""
    joint = np.zeros(len(frame), dtype=np.int64)
    unknown = np.zeros(len(frame), dtype=bool)
    for name, index in zip(names, keys, strict=True):
        codes = _codes(frame[name], index)
        unknown |= codes < 0
        joint = joint * len(index) + codes
    joint[unknown] = -1
    return joint


def _codes(values: pd.Series, index: pd.Index[Any]) -> Ints:
    codes, uniques = pd.factorize(values)
    place = np.append(index.get_indexer(pd.Index(np.asarray(uniques, dtype=object))), -1)
    return place[codes].astype(np.int64)


def distinct(chunks: Iterable[pd.Series]) -> pd.Index[Any]:
    """Collect the values that occur: in category order where the column has one, else sorted."""
    seen: list[Any] = []
    order: list[Any] | None = None
    for values in chunks:
        if isinstance(values.dtype, pd.CategoricalDtype):
            order = list(values.cat.categories) if order is None else order
            seen.append(values.cat.remove_unused_categories().cat.categories.to_numpy(dtype=object))
        else:
            seen.append(pd.unique(values.dropna()))
    found = pd.unique(pd.Series(np.concatenate([np.asarray(part, dtype=object) for part in seen])).dropna())
    if order is not None and set(order) >= set(found):
        present = set(found)
        return _plain(value for value in order if value in present)
    try:
        return _plain(sorted(found))
    except TypeError:
        return _plain(sorted(found, key=lambda value: (type(value).__name__, str(value))))


def _plain(values: Iterable[Any]) -> pd.Index[Any]:
    """An index of integers where all are whole numbers (fast to look up), of objects otherwise."""
    held = list(values)
    if held and all(_whole(value) for value in held):
        whole: pd.Index[Any] = pd.Index(np.asarray(held, dtype=np.int64))
        return whole
    index: pd.Index[Any] = pd.Index(held, dtype=object)
    return index


def _whole(value: object) -> bool:
    if isinstance(value, bool | np.bool_):
        return False
    whole = isinstance(value, int | np.integer) or (isinstance(value, float) and value.is_integer())
    return whole and -(2**63) <= int(cast("float", value)) < 2**63


def check_columns(frame: pd.DataFrame, declared: Declared) -> None:
    """Raise when a column is missing or cannot serve as what it was named for."""
    need_columns(frame.columns, declared.used, where="data")
    if not frame.columns.is_unique:
        name = frame.columns[frame.columns.duplicated()][0]
        raise ColumnError(f"two columns are called {name!r}", where="data", remedy="Rename one of them.")
    for name in declared.numeric_only:
        if not is_number(frame[name]) and frame[name].notna().any():
            raise ModelError(
                f"column {name!r} holds {frame[name].dtype}, and the model needs numbers there",
                where="data",
                remedy="Convert it to numbers first.",
            )
    dated = [name for name in declared.used if _is_dated(frame[name].dtype)]
    if dated:
        raise ModelError(
            f"column {dated[0]!r} holds dates or durations",
            where="data",
            remedy="Count weeks or days from a stated start.",
        )


def expand(fixed: Sequence[FixedTerm]) -> list[tuple[str | Spline, ...]]:
    """Write out products: own effects first, then pairs, and so on, each once."""
    terms: dict[tuple[str | Spline, ...], None] = {}
    for term in fixed:
        if isinstance(term, Product):
            size = len(term.of)
            subsets = sorted(range(1, 2**size), key=lambda bits: (bits.bit_count(), bits))
            for bits in subsets:
                terms[tuple(name for i, name in enumerate(term.of) if bits >> i & 1)] = None
        else:
            terms[(term,)] = None
    order = list(terms)
    return sorted(order, key=len)
