"""What can be seen before anything is fitted: what the records cannot tell apart, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from mentorstats.errors import ModelError
from mentorstats.estimate import Status
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.design.crossproducts import CrossProducts
from mentorstats.mixed.design.layout import Members
from mentorstats.mixed.design.scan import Rows, Survey
from mentorstats.mixed.engines.ordinal import Cuts

Floats = NDArray[np.float64]

_ALIAS = 1e-9  # share of a column's length left after regression on the ones before it
_FEW_PARTS = 3  # columns of which a combination is said to be
_ROUNDING = 1e-13  # what rounding leaves of a column that is an exact combination
_MOST_ROWS_FOR_SEPARATION = 20_000


@dataclass(frozen=True, slots=True)
class Verdict:
    """A status and its reason."""

    status: Status
    note: str


@dataclass(slots=True)
class Screening:
    """Findings: on the whole model, on groupings and on fixed columns."""

    whole: Verdict | None = None
    groupings: dict[str, Verdict] = field(default_factory=dict)  # not identified, by name
    set_aside: set[str] = field(default_factory=set)  # groupings that are not fitted
    aliased: dict[int, Verdict] = field(default_factory=dict)


def of_response(found: Survey) -> Verdict | None:
    """Whether the response can tell anything at all."""
    if found.n == 0:
        return Verdict(Status.NO_RECORDS, "No row has a value in every column of the model.")
    if found.layout.declared.kind == "linear" and found.sd <= 1e-14 * abs(found.mean):
        return Verdict(Status.NO_SPREAD, f"Every response is {found.mean:g}; nothing varies.")
    if found.levels and sum(found.used_levels) < 2:
        level = found.levels[found.used_levels.index(True)]
        return Verdict(Status.ONE_LEVEL_USED, f"Every rating is {level!r}; nothing varies.")
    return None


def of_groupings(names: list[str], products: CrossProducts, result: Screening) -> None:
    """Find groupings whose variance the rows cannot hold."""
    for t, name in enumerate(names):
        m = products.sizes[t][0]
        if m < 2:
            text = f"{name} has {m} member; a variance needs several."
            result.groupings[name] = Verdict(Status.NOT_IDENTIFIED, text)
            result.set_aside.add(name)
        elif m == products.n:
            text = f"Each member of {name} has one row, so it cannot be told from the residual."
            result.groupings[name] = Verdict(Status.NOT_IDENTIFIED, text)
            result.set_aside.add(name)
        elif _inside_fixed(t, products):
            text = f"The fixed terms already tell the members of {name} apart."
            result.groupings[name] = Verdict(Status.NOT_IDENTIFIED, text)
            result.set_aside.add(name)
    for (s, t), (left, _, _) in products.between.items():
        if (
            len(left) == products.sizes[s][0] == products.sizes[t][0]
            and not {names[s], names[t]} & result.set_aside
        ):
            text = (
                f"{names[s]} and {names[t]} divide the rows in the same way; only their sum can be estimated."
            )
            result.groupings[names[s]] = result.groupings[names[t]] = Verdict(Status.NOT_IDENTIFIED, text)
            result.set_aside.add(names[t] if products.sizes[s][1] >= products.sizes[t][1] else names[s])


def of_slopes(members: Sequence[Members], products: CrossProducts, result: Screening) -> None:
    """Raise where no member has values of its slopes that differ."""
    for t, each in enumerate(members):
        if not each.grouping.slopes or each.name in result.set_aside:
            continue
        roots = np.linalg.eigvalsh(products.within[t])
        if (roots[:, 0] <= _ALIAS * roots[:, -1]).all():
            slopes = ", ".join(map(repr, each.grouping.slopes))
            raise ModelError(
                f"no member of {each.name!r} has rows that differ enough in {slopes} to give it a slope",
                where="data",
                remedy="Take the slope out; for large numbers, such as dates, count from a start.",
            )


def _inside_fixed(t: int, products: CrossProducts) -> bool:
    m, k = products.sizes[t]
    p = len(products.fixed) - 1
    if m > p:
        return False
    start = sum(size * effects for size, effects in products.sizes[:t])
    cross = products.random_fixed[start : start + m * k : k, :-1]
    own = products.within[t][:, 0, 0]
    left = own - np.einsum("mp,pq,mq->m", cross, scaled_inverse(products.fixed[:-1, :-1]), cross)
    return bool((left <= _ALIAS * own).all())


def of_columns(cross: Floats, names: list[str]) -> dict[int, Verdict]:
    """Find columns that are combinations of the ones before them."""
    scale = np.sqrt(np.maximum(np.diagonal(cross), 1e-300))
    left = cross / np.outer(scale, scale)
    found: dict[int, Verdict] = {}
    for j in range(len(left)):
        pivot = left[j, j]
        if pivot <= _ALIAS or cross[j, j] <= 0:
            text = f"{names[j]} is a combination of the terms before it{_which(cross, names, j, found)}"
            if pivot > _ROUNDING:
                text += ", as far as numbers of its size can tell; subtract a number near its mean"
            found[j] = Verdict(Status.RANK_DEFICIENT, f"{text}.")
            left[j, :] = left[:, j] = 0.0
            continue
        left = left - np.outer(left[:, j], left[j]) / pivot
    return found


def _which(cross: Floats, names: list[str], j: int, aside: dict[int, Verdict]) -> str:
    """The columns that make up column ``j``, where they are few enough to be read."""
    before = [k for k in range(j) if k not in aside]
    shares = scaled_inverse(cross[np.ix_(before, before)]) @ cross[before, j]
    sizes = np.abs(shares) * np.sqrt(np.diagonal(cross)[before] / max(cross[j, j], 1e-300))
    parts = [names[k] for k, size in zip(before, sizes, strict=True) if size > 1e-6]
    return f", {' and '.join(parts)}" if parts and all(parts) and len(parts) <= _FEW_PARTS else ""


def separation(rows: Rows, cut: Cuts, names: list[str]) -> Verdict | None:
    """Find fixed terms that predict a level without exception [albert_anderson_1984].

    Looks for a direction of cut-points and slopes that makes no row less likely and some row more.
    """
    if not rows.fixed.shape[1]:
        return None
    level = rows.response.astype(np.int64)
    up, low = cut.upper[rows.threshold_group, level], cut.lower[rows.threshold_group, level]
    stacked = np.unique(np.column_stack([up, low, rows.fixed]), axis=0)
    if len(stacked) > _MOST_ROWS_FOR_SEPARATION:
        return None
    parts = []
    for at, sign in ((stacked[:, 0].astype(int), -1.0), (stacked[:, 1].astype(int), 1.0)):
        inside = np.flatnonzero(at >= 0)
        block = np.zeros((len(inside), cut.count + rows.fixed.shape[1]))
        block[np.arange(len(inside)), at[inside]] = sign
        block[:, cut.count :] = -sign * stacked[inside, 2:]
        parts.append(block)
    limits = np.concatenate(parts)
    size = np.maximum(np.abs(limits).max(axis=0), 1e-300)
    answer = linprog(
        limits.sum(axis=0) / size, A_ub=limits / size, b_ub=np.zeros(len(limits)), bounds=(-1, 1)
    )
    if answer.status != 0 or answer.x is None or answer.fun is None or answer.fun > -1e-6:
        return None
    moving = [names[j] for j in np.flatnonzero(np.abs(answer.x[cut.count :]) > 1e-6)]
    text = f"{', '.join(moving) or 'the fixed terms'}: a level is predicted without exception. "
    return Verdict(Status.SEPARATED, text + "Merge categories or leave the term out.")
