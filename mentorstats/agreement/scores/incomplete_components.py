"""Variances of units, of what they lie in, of raters and of the rest, with draws of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.counts import coding
from mentorstats.agreement.scores import variance_draws
from mentorstats.agreement.scores.scores import Scores
from mentorstats.agreement.scores.variance_draws import Design
from mentorstats.estimate import Status
from mentorstats.mixed import Fit, fit
from mentorstats.mixed.tables.resample import variances as fitted_variances

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

UNIT, GROUP, RATER, RESIDUAL = "unit", "group", "rater", "residual"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the caller asked for, checked."""

    k: float | None
    fixed_raters: bool
    confidence: float
    replicates: int
    seed: int


@dataclass(frozen=True, slots=True)
class Group:
    """A column that units lie in: codes of ratings (n,), and the name of its component."""

    column: str
    component: str
    codes: Codes

    @property
    def n(self) -> int:
        """How many members it has."""
        return int(self.codes.max(initial=-1)) + 1


def groups_of(ratings: pd.DataFrame, columns: Sequence[str], found: Scores) -> tuple[Group, ...]:
    """Give each column its codes, the first ``group``, the others ``group2`` and so on."""
    made = []
    for place, column in enumerate(columns):
        codes = coding.cluster_codes(ratings, [column], found.rows, found.unit)[:, 0]
        name = GROUP if not place else f"{GROUP}{place + 1}"
        made.append(Group(column, name, coding.renumber(codes)))
    return tuple(made)


def _with_component(groups: Sequence[Group], n_units: int) -> list[Group]:
    """Groups that part the units otherwise than unit by unit, and otherwise than one before them.

    Those with most members come first, so that the order in which they are named means nothing.
    """
    kept: list[Group] = []
    for group in groups:
        alike = any(
            other.n == group.n == len(np.unique(other.codes * np.int64(group.n) + group.codes))
            for other in kept
        )
        if group.n < n_units and not alike:
            kept.append(group)
    return sorted(kept, key=lambda group: (-group.n, group.column))


@dataclass(frozen=True, slots=True)
class Components:
    """Variances by name, draws of them, and what could not be had."""

    variances: dict[str, float] = field(default_factory=dict)
    drawn: dict[str, Array] = field(default_factory=dict)
    refused: tuple[Status, str] | None = None
    no_rater: bool = False


def components(found: Scores, groups: Sequence[Group], asked: Asked) -> Components:
    """Fit the components that the ratings can tell apart, and draw them."""
    with_one = _with_component(groups, found.n_units)
    codes = {UNIT: found.unit} | {group.component: group.codes for group in with_one}
    if not asked.fixed_raters:
        codes[RATER] = found.rater
    made = _fitted(found, codes, asked)
    one_each = found.n_raters == len(found.score)
    refused = _unidentified(made, [name for name in codes if name != RATER or not one_each], groups)
    if refused is not None:
        return Components(refused=refused)
    kept = [members.name for members in made.model.members]
    names = [name for name in codes if name in kept] + [RESIDUAL]
    by_name = dict(zip([*kept, RESIDUAL], fitted_variances(made.model, made.model.fitted), strict=True))
    estimates = np.array([by_name[name] for name in names])
    others = tuple(codes[name] for name in names[1:-1])
    design = Design(found.unit, others, found.rater if asked.fixed_raters else None)
    drawn = {}
    if design.feasible:
        estimates = variance_draws.polished(design, estimates, found.score)
        generator = np.random.default_rng(asked.seed)
        sample = variance_draws.draws(design, estimates, asked.replicates, generator)
        drawn = dict(zip(names, sample.T, strict=True))
    return Components(dict(zip(names, map(float, estimates), strict=True)), drawn, None, one_each)


def _fitted(found: Scores, codes: dict[str, Codes], asked: Asked) -> Fit:
    data = pd.DataFrame({name: of.astype(str) for name, of in codes.items()})
    data[RATER] = found.rater.astype(str)
    data["score"] = found.score
    fixed = (RATER,) if asked.fixed_raters else ()
    return fit(data, response="score", fixed=fixed, grouped=tuple(codes), degrees="none")


def _unidentified(made: Fit, names: list[str], groups: Sequence[Group]) -> tuple[Status, str] | None:
    """Why the components named could not be had, if they could not."""
    flagged = made.model.screening.groupings
    for name in names:
        if name in flagged:
            note = flagged[name].note
            for group in groups:
                column = group.column.replace("\\", r"\\")
                note = re.sub(rf"\b{group.component}\b", column, note)
            return Status.NOT_IDENTIFIED, note
    if made.status is not Status.OK or made.model.engine is None:
        return made.status, made.status_note
    return None
