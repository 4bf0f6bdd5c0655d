"""A fitted model as the parts of a result see it: what was declared, what was kept, the engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.errors import ModelError
from mentorstats.mixed.design.layout import Declared, Layout, Members
from mentorstats.mixed.design.scan import Chunks, Rows, Survey, rows
from mentorstats.mixed.engines.engines import LinearEngine, OrdinalEngine
from mentorstats.mixed.engines.identifiable import Screening, Verdict
from mentorstats.mixed.engines.links import SPREAD

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RESIDUAL = "residual"
ROUNDING = 1e-6  # of a dependence on columns set aside; below it there is none


@dataclass(frozen=True)
class Model:
    """Everything known after fitting; ``engine`` is None where nothing could be fitted."""

    found: Survey
    screening: Screening
    columns: tuple[int, ...]  # fixed columns that were kept
    factors: tuple[int, ...]  # groupings that were kept
    counts: tuple[Ints, ...]  # rows of each member of each grouping kept
    chunks: Chunks
    engine: LinearEngine | OrdinalEngine | None
    verdict: Verdict | None
    notes: tuple[str, ...]
    lead: int = 0  # columns of cut-point groups before the fixed ones
    aliases: Floats | None = None  # set-aside columns from [groups, kept], (lead + kept, set aside)

    @property
    def declared(self) -> Declared:
        """The model as it was asked for."""
        return self.found.layout.declared

    @property
    def layout(self) -> Layout:
        """All columns, kept or not."""
        return self.found.layout

    @property
    def ordinal(self) -> bool:
        """Whether levels are modelled by cut-points."""
        return self.declared.kind == "ordinal"

    @property
    def members(self) -> list[Members]:
        """Groupings that were kept."""
        return [self.layout.members[t] for t in self.factors]

    @property
    def names(self) -> list[str]:
        """Fixed columns that were kept."""
        return [self.layout.names[j] for j in self.columns]

    @property
    def places(self) -> list[tuple[int, int]]:
        """Grouping and effect of each component."""
        return [(t, b) for t, members in enumerate(self.members) for b in range(members.k)]

    @property
    def carried(self) -> Floats:
        """How much of each component's variance a rating carries on average, in the order of ``places``.

        1 for what every rating has, the frequency of the role for effects within roles, 0 for slopes:
        shares are those at slopes' zero.
        """
        carried = []
        for t, members in enumerate(self.members):
            if members.roles:
                often = self.rows.weights if self.ordinal else None
                carried.append(np.average(self.rows.values[t], axis=0, weights=often))
            else:
                carried.append(np.array([1.0] + [0.0] * (members.k - 1)))
        return np.concatenate(carried) if carried else np.zeros(0)

    @property
    def fitted(self) -> LinearEngine | OrdinalEngine:
        """The engine, or an error where there is none."""
        if self.engine is None:
            why = self.verdict.note if self.verdict else "the model was not fitted"
            raise ModelError("there is no fit to compute this from", remedy=why)
        return self.engine

    @property
    def linear(self) -> LinearEngine:
        """The engine of a linear model."""
        if not isinstance(self.fitted, LinearEngine):
            raise ModelError("this is for linear models only")
        return self.fitted

    @property
    def levels(self) -> OrdinalEngine:
        """The engine of an ordinal model."""
        if not isinstance(self.fitted, OrdinalEngine):
            raise ModelError("this is for ordinal models only", remedy="Fit with kind='ordinal'.")
        return self.fitted

    @property
    def residual(self) -> float:
        """Variance of a rating given all effects; for ordinal models that of the latent error."""
        return SPREAD[self.declared.link] if self.ordinal else self.linear.residual

    def beyond(self, wide: Floats, groups: Floats) -> Floats:
        """How combinations of all fixed columns, (r, all), depend on what was set aside, (r, set aside)."""
        if self.aliases is None:
            return np.zeros((len(wide), 0))
        aside = [j for j in range(wide.shape[1]) if j not in self.columns]
        kept = np.concatenate([groups, wide[:, list(self.columns)]], axis=1)
        return np.asarray(wide[:, aside] - kept @ self.aliases)

    def shared(self) -> dict[str, list[str]]:
        """Columns kept whose coefficient holds that of columns set aside too, and which those are."""
        if self.aliases is None:
            return {}
        aside = [name for j, name in enumerate(self.layout.names) if j not in self.columns]
        own = np.abs(self.aliases[self.lead :]) > ROUNDING
        return {
            name: [aside[j] for j in np.flatnonzero(row)]
            for name, row in zip(self.names, own, strict=True)
            if row.any()
        }

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The data, all chunks together, only the columns used."""
        parts = [part[self.declared.used] for part in self.chunks()]
        return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)

    @cached_property
    def rows(self) -> Rows:
        """Complete rows of the data as numbers, kept columns and groupings only."""
        return rows(self.frame, self.found).select(self.columns, self.factors)

    def ratings(self, t: int) -> Ints | Floats:
        """Ratings of each member of one grouping: its rows, of an ordinal model as often as they occurred."""
        if not self.ordinal or not self.declared.weights:
            return self.counts[t]
        return np.bincount(self.rows.codes[t], self.rows.weights, minlength=self.members[t].m)

    def fixed_part(self, frame: pd.DataFrame) -> Floats:
        """Kept fixed columns of new rows, (n, p)."""
        return self.layout.matrix(frame)[:, list(self.columns)]

    def random_part(self, frame: pd.DataFrame, included: Sequence[int]) -> tuple[sparse.csr_array, Floats]:
        """Random columns of new rows, (n, N), and the variance that members not seen before add, (n,)."""
        blocks, unseen = [], np.zeros(len(frame))
        covariances = self.fitted.covariances()
        for t, members in enumerate(self.members):
            width = members.m * members.k
            if t not in included:
                blocks.append(sparse.csr_array((len(frame), width)))
                continue
            at, values = members.find(frame), members.values(frame)
            known = np.flatnonzero(at >= 0)
            row = np.repeat(known, members.k)
            column = (at[known, None] * members.k + np.arange(members.k)).ravel()
            numbers = values[known].ravel()
            blocks.append(sparse.csr_array((numbers, (row, column)), shape=(len(frame), width)))
            raw = values * members.scales
            own = np.einsum("na,ab,nb->n", raw, covariances[t], raw)
            unseen += np.where(at < 0, own, 0.0)
        whole = sparse.hstack(blocks, format="csr") if blocks else sparse.csr_array((len(frame), 0))
        return sparse.csr_array(whole), unseen

    def random_variance(self, frame: pd.DataFrame) -> Floats:
        """Variance that the random effects of a new member of every grouping have at these rows, (n,)."""
        total = np.zeros(len(frame))
        for members, covariance in zip(self.members, self.fitted.covariances(), strict=True):
            raw = members.values(frame) * members.scales
            total += np.einsum("na,ab,nb->n", raw, covariance, raw)
        return total

    def average(self, column: str) -> float:
        """Mean of a numeric column over the complete rows."""
        return self.found.averages[column]
