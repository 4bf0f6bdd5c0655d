"""The one ordinal model behind cohorts and change, its adjusted means, and the level scale.

Crossed effects of candidates (with a change a week of their own), raters, lessons, forms, raters' criteria;
role, cohort, site, area, grade band and week as fixed terms; each criterion's cut-points and change.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student

from mentorstats.calibration.base.rows import (
    COLUMNS,
    MEASURE,
    WEEKS,
    check_once,
    groupings,
    has_weeks,
    highest,
    used_rows,
)
from mentorstats.errors import need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed import Fit, fit, product
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.design.terms import FixedTerm
from mentorstats.mixed.tables import components
from mentorstats.mixed.tables.levels_scale import Places, level_shares

Floats = NDArray[np.float64]

TERMS = ("rater_role", "cohort", "site", "licensure_area", "grade_band")
NOT_RECORDED = "not recorded"
_ROUNDING = 1e-9  # of a combination's part in what the records cannot tell


@dataclass(frozen=True)
class Combination:
    """Values on the latent scale with the covariance of their errors; the variances are held.

    ``known`` says which rest only on what the records can tell; ``df`` is that of Student's t.
    """

    value: Floats
    covariance: Floats
    known: NDArray[np.bool_]
    df: Floats

    def limits(self, confidence: float) -> tuple[Floats, Floats]:
        """Lower and upper limits by Student's t."""
        reach = student.ppf((1 + confidence) / 2, self.df) * self.se
        return self.value - reach, self.value + reach

    @property
    def se(self) -> Floats:
        """Standard errors."""
        return np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0))


@dataclass(frozen=True)
class RatingModel:
    """A fit with its rows; ``fit`` may have no value, and ``status`` then says why."""

    fit: Fit
    rows: pd.DataFrame

    @property
    def status(self) -> Status:
        """Status of the fit."""
        return self.fit.status

    @property
    def has_value(self) -> bool:
        """Whether anything can be asked of it."""
        return has_value(self.fit.status) and self.fit.model.engine is not None

    @cached_property
    def _factors(self) -> dict[str, list[str]]:
        """Values of each category that the response depends on, the cut-points' among them."""
        named = [name for name in TERMS if name in self.fit.model.declared.fixed]
        values = {name: sorted(self.rows[name].unique()) for name in named}
        return values | {MEASURE: list(self.fit.model.found.threshold_groups)}

    def _design(self, frame: pd.DataFrame) -> Floats:
        """What each row is a combination of: cut-points, coefficients, then what was set aside."""
        model = self.fit.model
        problem = model.levels.problem
        by = model.declared.thresholds_by
        groups = list(model.found.threshold_groups)
        code = frame[MEASURE].map(groups.index).to_numpy() if by else np.zeros(len(frame), dtype=np.int64)
        count = np.bincount(problem.cut.groups, minlength=max(int(code.max()) + 1, 1))
        own = (problem.cut.groups[None, :] == code[:, None]).astype(np.float64)
        cuts = -own / np.maximum(count[code], 1)[:, None]
        indicator = (code[:, None] == np.arange(model.lead)).astype(np.float64)
        beyond = model.beyond(model.layout.matrix(frame), indicator)
        return np.concatenate([cuts, model.fixed_part(frame), beyond], axis=1)

    def design(self, of: str, values: Sequence[Any] | Floats) -> Floats:
        """Rows of the design for values of one term, all other categories averaged with equal weight.

        Terms add up, so each is averaged by itself, but for the criterion, which changes over weeks.
        """
        if of == WEEKS:
            parts = [self.design_of_criterion(name, values) for name in self.fit.model.found.threshold_groups]
            return np.asarray(np.mean(parts, axis=0))
        return self._averaged(of, values, {})

    def design_of_criterion(self, measure: object, weeks: Sequence[float] | Floats) -> Floats:
        """Rows of the design for one criterion of one version at distances from the mean week."""
        return self._averaged(WEEKS, weeks, {MEASURE: measure})

    def _averaged(self, of: str, values: Sequence[Any] | Floats, held: Mapping[str, object]) -> Floats:
        first = {name: levels[0] for name, levels in self._factors.items()}
        here = pd.DataFrame([first | {WEEKS: 0.0, of: value} | dict(held) for value in values])
        out = self._design(here)
        reference = self._design(pd.DataFrame([first | {WEEKS: 0.0}]))
        for name, levels in self._factors.items():
            if name != of and name not in held:
                varied = pd.DataFrame([first | {WEEKS: 0.0, name: level} for level in levels])
                out = out + self._design(varied).mean(axis=0) - reference
        return out

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of cut-points and coefficients with the variances held, (p, p)."""
        return scaled_inverse(self.fit.model.levels.state.conditional)

    def combine(self, rows: Floats, df: float = np.inf) -> Combination:
        """Evaluate combinations of ``design`` rows."""
        joint = self.fit.model.levels.state.psi[self.fit.model.levels.problem.q :]
        size = len(joint)
        own, beyond = rows[:, :size], rows[:, size:]
        known = np.asarray((np.abs(beyond) < _ROUNDING).all(axis=1))
        return Combination(
            own @ joint, own @ self.covariance @ own.T, known, np.full(len(rows), df, dtype=np.float64)
        )

    # The level scale -------------------------------------------------------------------------------

    @cached_property
    def _spread(self) -> float:
        """Variance of all members' effects on one rating at the mean week; of roles' variances the mean."""
        found = components.table(self.fit.model, self.fit.confidence, intervals=False)["variance"]
        own = found.drop([name for name in found.index if name in ("residual", f"candidate: {WEEKS}")])
        roles = [name for name in own.index if name.startswith("rater: ")]
        return float(own.drop(roles).sum() + (own[roles].mean() if roles else 0.0))

    def shares(self, latent: Floats, measure: Any = None) -> Floats:
        """Probability of each level at places of the latent scale, averaged over members, (n, levels).

        Criteria and versions are averaged as often as they were rated; the latent scale begins at the mean
        of the cut-points. With ``measure``, for that criterion of a version alone.
        """
        model = self.fit.model
        problem, rows = model.levels.problem, model.rows
        tau = problem.split(np.concatenate([model.levels.theta, model.levels.state.psi[problem.q :]]))[1]
        weight = np.bincount(rows.threshold_group, rows.weights)
        if measure is not None:
            weight = weight * (np.arange(len(weight)) == list(model.found.threshold_groups).index(measure))
        groups = np.flatnonzero(weight)
        sums = np.bincount(problem.cut.groups, tau)
        means = sums / np.maximum(np.bincount(problem.cut.groups), 1)
        middle = means.mean() if measure is None else means[groups].mean()
        eta = np.repeat(np.asarray(latent, dtype=np.float64) + middle, len(groups))
        none = np.zeros((len(eta), 0))
        at = Places(none, none, np.tile(groups, len(latent)).astype(np.int64), ())
        found = level_shares(model, at, tau, eta, np.ones(len(eta)), np.full(len(eta), self._spread))
        return np.asarray(
            np.einsum("ngl,g->nl", found.reshape(len(latent), len(groups), -1), weight[groups] / weight.sum())
        )

    def levels(self, latent: Floats, measure: Any = None) -> Floats:
        """Expected level, the lowest counted as 1; rises with the latent value, NaN where that is."""
        return self._told(latent, lambda shares: shares @ np.arange(1.0, shares.shape[1] + 1), measure)

    def reaching(self, latent: Floats, target: int) -> Floats:
        """Probability of the target level or a higher one."""
        return self._told(latent, lambda shares: shares[:, target - 1 :].sum(axis=1))

    def _told(self, latent: Floats, of: Callable[[Floats], Floats], measure: Any = None) -> Floats:
        given = np.asarray(latent, dtype=np.float64)
        return np.where(np.isnan(given), np.nan, of(self.shares(np.nan_to_num(given), measure)))


def fit_ratings(long: pd.DataFrame, *, confidence: float = 0.95) -> RatingModel:
    """Fit the model.

    Parameters
    ----------
    long
        The long table (`Records.linked`, where a crosswalk carries ratings over to another version of the
        rubric; without one, cohorts under different versions cannot be told from their version). Rows
        without a rank and those marked as not independent are left out. A missing site, area or band counts
        as a group of its own; lessons without a week stand at the mean week.
    confidence
        Coverage of intervals.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or a rater rated one criterion of one lesson twice.
    """
    need_columns(long.columns, COLUMNS, where="long")
    rows = used_rows(long[long["candidate"].notna()])
    check_once(rows)
    for name in TERMS:
        rows[name] = (rows[name] if name in rows else pd.Series(index=rows.index)).astype("object")
        rows[name] = rows[name].fillna(NOT_RECORDED).astype("str")
    fixed: list[FixedTerm] = [name for name in TERMS if rows[name].nunique() > 1]
    several = rows[MEASURE].nunique() > 1
    if has_weeks(rows):
        fixed.append(WEEKS)
        if several:
            fixed.append(product(WEEKS, MEASURE))
    made = fit(
        rows,
        response="rank",
        kind="ordinal",
        levels=list(range(1, highest(rows) + 1)),
        fixed=fixed,
        grouped=groupings(rows) if len(rows) else [],
        thresholds_by=MEASURE if several else None,
        confidence=confidence,
    )
    return RatingModel(made, rows)
