"""The one fit that everything about raters starts from, and one-step updates from it.

A crossed ordinal model of all ratings: what is asked beside it (drift, groups, thresholds) is added to it as
further columns by a score test, not by a new fit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.rows import (
    ABSENT,
    COLUMNS,
    MEASURE,
    check_once,
    fixed_terms,
    groupings,
    has_weeks,
    highest,
    used_rows,
)
from mentorstats.entry import entry
from mentorstats.errors import ModelError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed import Fit, fit
from mentorstats.mixed.engines.joint import Joint
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.local.expansion import Expansion
from mentorstats.mixed.local.score_test import Columns, Step, shifts, step
from mentorstats.mixed.tables.levels_scale import Places, level_shares
from mentorstats.printed import Printed, Shown, counted, counts

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, repr=False)
class Base(Shown):
    """The base fit with what each rating says about the linear predictor.

    Attributes
    ----------
    fit
        Ordinal model: role, weeks and cohort as fixed terms; candidates with their own change a week,
        raters with a variance of their role, lessons, forms (one rater's of one lesson) and raters'
        criteria as members; cut-points of each criterion of each version.
    rows
        The complete rows, numbered from 0, in the order of all arrays below.
    """

    fit: Fit
    rows: pd.DataFrame

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader has to know of the fit."""
        missing = int(self.rows["week"].isna().sum())
        if not missing or not has_weeks(self.rows):
            return self.fit.notes
        return (*self.fit.notes, f"{missing} ratings of lessons without a week stand at the mean week.")

    @property
    def references(self) -> tuple[str, ...]:
        """Keys of the bibliography for how it was fitted."""
        return self.fit.references

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        people = self.rows.drop_duplicates(["rater", "rater_role"])["rater_role"].astype("str").value_counts()
        members = [
            *((int(n), str(role)) for role, n in people.items()),
            (int(self.rows["candidate"].nunique()), "candidate"),
            (int(self.rows["observation"].nunique()), "lesson"),
        ]
        return Printed(
            title="Base model of all independent ratings",
            facts=(
                f"{counted(len(self.rows), 'rating')} by {counts(members)}",
                f"status {self.status}" + (f": {self.status_note}" if self.status_note else ""),
            ),
            notes=self.notes,
            ask=("severity(base)", "separation(…)", "drift(…)", "halo(base)", ".fit"),
            people=True,
        )

    # What a rating is expected to be ---------------------------------------------------------------

    @property
    def model(self) -> Model:
        """The fitted model."""
        return self.fit.model

    @cached_property
    def _told(self) -> tuple[Status, str]:
        held = {members.name for members in self.model.members}
        absent = [name for name in ("rater", "candidate") if name not in held]
        if not has_value(self.fit.status) or not absent:
            return self.fit.status, self.fit.status_note
        verdict = self.model.screening.groupings.get(absent[0])
        if verdict is not None and not has_value(verdict.status):
            return verdict.status, verdict.note
        return Status.NOT_IDENTIFIED, verdict.note if verdict else f"The fit holds no {absent[0]}s."

    @property
    def status(self) -> Status:
        """Status of the fit, or of raters or candidates where the fit could not hold them.

        Nothing else here works unless it has a value.
        """
        return self._told[0]

    @property
    def status_note(self) -> str:
        """What the status means here."""
        return self._told[1]

    @cached_property
    def at(self) -> Expansion:
        """The fit expanded about its optimum; further columns are added to it by `score_test.step`."""
        return Expansion(self.model)

    @property
    def joint(self) -> Joint:
        """All effects and the covariance of their errors, the variances held."""
        return self.at.joint

    @property
    def random_columns(self) -> sparse.csr_array:
        """Z, (n, N)."""
        return self.at.random_columns

    @property
    def predictor(self) -> Floats:
        """Linear predictor of each rating given the shrunken effects, (n,)."""
        return self.at.predictor

    @cached_property
    def shares(self) -> Floats:
        """Probability of each declared level given the shrunken effects, (n, levels)."""
        return self.shares_at(self.predictor, self.model.rows.threshold_group)

    def shares_at(self, predictor: Floats, measure: Ints) -> Floats:
        """Probability of each level at linear predictors, (r, levels); ``measure`` numbers the cut-points."""
        tau = self.at.parameters[1]
        at = Places(np.zeros((len(predictor), 0)), np.zeros((len(predictor), 0)), measure, ())
        one = np.ones(len(predictor))
        return level_shares(self.model, at, tau, predictor, one, np.zeros(len(predictor)))

    @cached_property
    def ranks(self) -> Floats:
        """The ranks given, (n,); the lowest declared level is 1."""
        return self.model.rows.response + 1.0

    @cached_property
    def expected(self) -> Floats:
        """Expected rank, (n,)."""
        return np.asarray(self.shares @ self._scale)

    @cached_property
    def variance(self) -> Floats:
        """Variance of the rank about its expectation, (n,)."""
        return np.asarray(self.shares @ self._scale**2 - self.expected**2)

    @property
    def _scale(self) -> Floats:
        return np.arange(1.0, len(self.model.found.levels) + 1)

    # What a rating says ----------------------------------------------------------------------------

    @property
    def information(self) -> Floats:
        """Minus the second derivative of each rating's log-probability by its linear predictor, (n,)."""
        return self.at.information

    def one_step(self, columns: Columns) -> Step:
        """Add columns to the linear predictor by one Newton step [rao_1948].

        Parameters
        ----------
        columns
            (n, q), dense or sparse, one row a row of ``rows``. A positive coefficient raises ratings.

        Returns
        -------
        Step
            The information is what is left when all effects in the fit, each with its variance, and all
            fixed parameters may move too; the variances are held.
        """
        return step(self.at, shifts(columns))

    # The level scale -------------------------------------------------------------------------------

    @cached_property
    def _middle(self) -> tuple[Floats, Ints, Floats]:
        """Linear predictors at which a shift is put on the level scale, their cut-points and weights."""
        rows = self.model.rows
        used, counts = np.unique(rows.threshold_group, return_counts=True)
        beta = self.at.parameters[2]
        middling = float((rows.fixed @ beta).mean())
        return np.full(len(used), middling), used.astype(np.int64), counts / counts.sum()

    def on_level_scale(self, shift: Floats) -> Floats:
        """What shifts of the linear predictor do to the expected rank of a middling candidate's lesson.

        All members' effects are zero, fixed terms at their mean; criteria and versions are averaged as
        often as they were rated. Rising in the shift, NaN where it is NaN. In ranks, (…).
        """
        given = np.asarray(shift, dtype=np.float64)
        predictor, measure, weight = self._middle
        flat = np.where(np.isnan(given), 0.0, given).ravel()
        at = (predictor[None, :] + flat[:, None]).ravel()
        moved = self.shares_at(at, np.tile(measure, len(flat))) @ self._scale
        still = self.shares_at(predictor, measure) @ self._scale @ weight
        found = moved.reshape(len(flat), -1) @ weight - still
        return np.where(np.isnan(given), np.nan, found.reshape(given.shape))

    @cached_property
    def level_slope(self) -> float:
        """Ranks by which a middling candidate's expected rank rises a unit of the linear predictor."""
        step = 1e-4
        both = self.on_level_scale(np.array([step, -step]))
        return float(both[0] - both[1]) / (2 * step)

    # Raters ----------------------------------------------------------------------------------------

    @cached_property
    def rater_grouping(self) -> int:
        """Which of the model's groupings is that of raters."""
        names = [members.name for members in self.model.members]
        if "rater" not in names:
            raise ModelError("the fit holds no raters", remedy=self.status_note)
        return names.index("rater")

    @cached_property
    def counted(self) -> pd.DataFrame:
        """The first columns of ``raters``, counts included, also where the fit has no value."""
        return self.rows.groupby(["rater", "rater_role"], observed=True, as_index=False).agg(
            n_ratings=("rank", "size"),
            n_lessons=("observation", "nunique"),
            n_candidates=("candidate", "nunique"),
        )

    @cached_property
    def raters(self) -> pd.DataFrame:
        """One row a rater and role that rated, in the order of rater and role.

        ``rater``, ``rater_role``, ``n_ratings``, ``n_lessons``, ``n_candidates``, and ``column``: where
        the effect stands among the effects of all members.
        """
        counted, t = self.counted.copy(), self.rater_grouping
        members = self.model.members[t]
        at = members.find(counted)
        roles = list(members.roles)
        role = counted["rater_role"].map(roles.index).to_numpy(dtype=np.int64) if roles else 0
        counted["column"] = self.joint.part(t).start + at * members.k + role
        return counted

    @cached_property
    def rater_of_row(self) -> Ints:
        """Row of ``raters`` that each rating belongs to, (n,)."""
        keys = ["rater", "rater_role"]
        index = pd.MultiIndex.from_frame(self.raters[keys])
        return index.get_indexer(pd.MultiIndex.from_frame(self.rows[keys])).astype(np.int64)

    def by_rater(self, values: Floats | None = None) -> sparse.csr_array:
        """A column a row of ``raters``, holding ``values`` (ones) at the rater's own ratings, (n, raters)."""
        n = len(self.rows)
        values = np.ones(n) if values is None else values
        return sparse.csr_array((values, (np.arange(n), self.rater_of_row)), shape=(n, len(self.raters)))


@entry()
def base_fit(long: pd.DataFrame, *, confidence: float = 0.95) -> Base:
    """Fit the base model to the long table.

    Parameters
    ----------
    long
        The long table (`Records.long`), one row a rating: ``observation`` (the lesson), ``candidate``,
        ``cohort``, ``week`` (of the placement, from 1), ``rater``, ``rater_role``, ``rubric``,
        ``rubric_version``, ``criterion``, ``rank`` (whole numbers, 1 the lowest level), and
        ``independent`` where there is such a column. Rows without a rank, and those marked as not
        independent, are left out; lessons without a week stand at the mean. The highest level is the
        highest rank seen, or of the categories of ``level`` where that column is an ordered categorical.
    confidence
        Coverage of intervals.

    Raises
    ------
    ColumnError
        A column is missing.
    ArgumentError
        A rater rated one criterion of one lesson twice.

    Notes
    -----
    Versions of a rubric have cut-points of their own; a rater's severity is taken to be the same under
    all of them. Candidates' changes a week differ, so that drift of their raters is not taken for it.
    """
    need_columns(long.columns, COLUMNS, where="long", remedy=ABSENT)
    rows = used_rows(long)
    check_once(rows)
    levels = list(range(1, highest(rows) + 1))
    made = fit(
        rows,
        response="rank",
        kind="ordinal",
        levels=levels,
        fixed=fixed_terms(rows),
        grouped=groupings(rows),
        thresholds_by=MEASURE if rows[MEASURE].nunique() > 1 else None,
        confidence=confidence,
        merged=False,
    )
    kept = rows.iloc[made.model.rows.kept] if made.model.engine is not None else rows
    return Base(made, kept.reset_index(drop=True))


def fit_again(
    base: Base, columns: Mapping[str, pd.Series | NDArray[Any]], *, more: Sequence[str] = (), **changed: Any
) -> Fit:
    """Fit the model of a base again, variances too.

    Parameters
    ----------
    columns
        Columns to be added to the rows, or put in place of theirs, (n,) each.
    more
        Which columns are fixed terms besides those of the base.
    changed
        Other arguments of `mentorstats.mixed.fit` in place of those of the base.
    """
    declared = base.model.declared
    same = {name: getattr(declared, name) for name in ("grouped", "thresholds_by", "link", "levels")}
    return fit(
        base.rows.assign(**columns),
        response=declared.response,
        kind=declared.kind,
        fixed=[*declared.fixed, *more],
        **same | {"confidence": base.fit.confidence, "merged": False} | changed,
    )
