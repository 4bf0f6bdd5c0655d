"""The result of a fit: tables on request, everything with its interval, its method and its status."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ModelError
from mentorstats.estimate import Status
from mentorstats.mixed.design.layout import Categories, Curve
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.tables import (
    checks,
    coefficients,
    compare,
    components,
    effects,
    means,
    notebook,
    predict,
    resample,
)
from mentorstats.mixed.tables.coefficients import Inference
from mentorstats.mixed.tables.compare import Comparison
from mentorstats.printed import Printed, Shown
from mentorstats.threads import one_thread

Floats = NDArray[np.float64]


@dataclass(frozen=True, repr=False, eq=False)
class Fit(Shown):
    """A fitted model.

    Tables are computed when first asked for. A value that cannot be had is NaN beside a ``status`` and
    a ``status_note``; rows with a missing value are counted in ``n_left_out``.

    Attributes
    ----------
    model
        Layout, rows and engine; for other parts of the package.
    method
        ``"reml"`` or ``"ml"`` (ordinal models: ``"ml"``).
    degrees
        How degrees of freedom of fixed effects are found.
    confidence
        Coverage of all intervals.
    """

    model: Model
    method: str
    degrees: str
    confidence: float

    # What was fitted -------------------------------------------------------------------------------

    @property
    def status(self) -> Status:
        """Status of the fit as a whole; single components and terms have their own."""
        return self.model.verdict.status if self.model.verdict else Status.OK

    @property
    def status_note(self) -> str:
        """What the status means here."""
        return self.model.verdict.note if self.model.verdict else ""

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader has to know: what was set aside, zero variances, unused levels, rows left out."""
        extra = [self.status_note] if self.model.verdict else []
        if not self.model.verdict and self.model.engine is not None:
            table = components.table(self.model, self.confidence, intervals=False)
            told = table["status"].isin([Status.BOUNDARY, Status.FEW_LEVELS, Status.LAPLACE_THIN])
            extra += list(table.loc[told, "status_note"])
        return tuple(dict.fromkeys([*extra, *self.model.notes]))

    @property
    def n_ratings(self) -> int:
        """Rows that entered."""
        return self.model.found.n

    @property
    def n_left_out(self) -> int:
        """Rows left out for a missing value in a column of the model."""
        return self.model.found.left_out

    @property
    def log_likelihood(self) -> float:
        """Logarithm of the likelihood, of the restricted one for ``method="reml"``."""
        return self.model.engine.log_likelihood if self.model.engine is not None else np.nan

    @property
    def aic(self) -> float:
        """Akaike's information criterion, 2 × parameters − 2 × log-likelihood; smaller is better.

        Missing for ``method="reml"``, whose likelihood does not compare models with different fixed terms.
        """
        return 2 * self.n_parameters - 2 * self.log_likelihood if self._comparable else np.nan

    @property
    def bic(self) -> float:
        """Schwarz's criterion, parameters × log(ratings) − 2 × log-likelihood; missing where ``aic`` is."""
        if not self._comparable:
            return np.nan
        n = self.model.rows.weights.sum() if self.model.ordinal else self.n_ratings
        return float(self.n_parameters * np.log(n) - 2 * self.log_likelihood)

    @property
    def _comparable(self) -> bool:
        return self.method == "ml" and self.model.engine is not None and not self.model.verdict

    @property
    def n_parameters(self) -> int:
        """Free parameters: fixed effects, cut-points, variances, covariances."""
        engine = self.model.fitted
        random = len(engine.triangles.entries)
        if self.model.ordinal:
            return random + self.model.levels.problem.n_fixed
        return random + 1 + self.model.linear.problem.p

    @property
    def references(self) -> tuple[str, ...]:
        """Keys of the bibliography for how it was fitted."""
        if not self.model.ordinal:
            engine: tuple[str, ...] = ("bates_2015", "gilmour_1995")
        elif self.model.engine is not None and self.model.levels.points > 1:
            engine = ("liu_pierce_1994", "pinheiro_bates_1995")
        else:
            engine = ("tierney_kadane_1986",)
        tests = {"satterthwaite": ("satterthwaite_1946",), "kenward_roger": ("kenward_roger_1997",)}
        freedom = () if self.model.ordinal else tests.get(self.degrees, ())
        return (*engine, "venzon_moolgavkar_1988", *freedom)

    @property
    def optimiser(self) -> str:
        """How the optimum was found."""
        kind = "Newton steps with average information, exact gradient"
        if self.model.ordinal and self.model.engine is not None and self.model.levels.points > 1:
            return f"{kind}; adaptive quadrature with {self.model.levels.points} points"
        return f"{kind}; Laplace's approximation" if self.model.ordinal else kind

    @property
    def evaluations(self) -> int:
        """How often the likelihood was evaluated."""
        return self.model.engine.minimum.evaluations if self.model.engine is not None else 0

    @property
    def gradient_norm(self) -> float:
        """Largest absolute slope of minus twice the log-likelihood at the end."""
        return self.model.engine.minimum.norm if self.model.engine is not None else np.nan

    @property
    def converged(self) -> bool:
        """Whether an optimum was reached."""
        return self.model.engine is not None and self.model.engine.minimum.converged

    @cached_property
    @one_thread()
    def comparison_values(self) -> pd.DataFrame:
        """For each fixed column: what its categories are compared with, or the mean of its numbers."""
        rows = []
        for name, atom in self.model.layout.atoms.items():
            if isinstance(atom, Categories):
                others = ", ".join(map(str, atom.shown))
                rows.append((name, "category", str(atom.against), others))
            else:
                kind = "curve" if isinstance(atom, Curve) else "number"
                rows.append((name, kind, f"{self.model.average(name):.6g}", ""))
        frame = pd.DataFrame(rows, columns=["column", "kind", "comparison_value", "others"])
        return frame.set_index("column")

    # Tables ----------------------------------------------------------------------------------------

    @cached_property
    @one_thread()
    def components(self) -> pd.DataFrame:
        """Variance components, the residual last.

        Indexed by component: ``variance`` with profile-likelihood limits ``low`` and ``high`` that hold
        at zero too, ``sd``, ``share`` of the variance of a rating at the slopes' zero (missing for
        slopes), ``n_members``, ``median_ratings`` a member, ``status``. Limits of the shares: ``shares``.
        """
        return components.table(self.model, self.confidence)

    @cached_property
    @one_thread()
    def shares(self) -> pd.DataFrame:
        """Share of each component with profile-likelihood limits, the residual not listed."""
        return components.share_table(self._sound, self.confidence)

    @cached_property
    @one_thread()
    def correlations(self) -> pd.DataFrame:
        """Correlations between the effects of one member, with profile-likelihood limits."""
        return components.correlation_table(self.model, self.confidence)

    @cached_property
    @one_thread()
    def coefficients(self) -> pd.DataFrame:
        """Fixed effects, indexed by term.

        ``estimate``, ``se``, ``df`` (infinite for z), ``statistic``, two-sided ``p``, ``low``, ``high``,
        ``interval_method`` (``satterthwaite_t``, ``kenward_roger_t``, ``wald_z``, ``between_within_t``
        for ordinal contrasts that rest on fewer than 30 members, ``residual_t`` without groupings).
        """
        return coefficients.table(self.model, self._inference, self.confidence)

    @cached_property
    @one_thread()
    def coefficients_profiled(self) -> pd.DataFrame:
        """Fixed effects of an ordinal model with profile-likelihood limits in place of Wald's."""
        if not self.model.ordinal:
            raise ModelError("profile limits of fixed effects are for ordinal models")
        return coefficients.profile_table(self._sound, self.inference, self.confidence)

    @cached_property
    @one_thread()
    def thresholds(self) -> pd.DataFrame:
        """Cut-points of an ordinal model on the latent scale, none for a linear one."""
        return coefficients.threshold_table(self.model, self._inference, self.confidence)

    @entry()
    def table(self) -> pd.DataFrame:
        """All estimates in one table, as a paper gives them.

        Returns
        -------
        DataFrame
            Indexed by part (``fixed``, ``threshold``, ``variance``) and term: estimate, se, df, statistic,
            p, low, high, confidence, interval_method, status. Variances have limits, but neither error
            nor test, for theirs are no normal distributions.
        """
        variances = self.components.rename(columns={"variance": "estimate"})
        parts = {"fixed": self.coefficients, "threshold": self.thresholds, "variance": variances}
        columns = [*coefficients.COLUMNS, "status"]
        rows = {part: one.reindex(columns=columns) for part, one in parts.items() if len(one)}
        whole = pd.concat(rows, names=["part", "term"])
        whole["status"] = whole["status"].fillna(str(self.status)).astype("str")
        return whole

    @entry()
    def effects(self, name: str) -> pd.DataFrame:
        """Shrunken effects of the members of one grouping.

        Above zero: higher ratings than in the middle, the fixed terms held: where the role of raters is
        one, than in the middle of the own role. Each interval is for one member by itself, and of many
        who do not differ some lie apart. A reason to look and to talk, no ranking and no sole basis for a
        decision about a person.

        Parameters
        ----------
        name
            A grouping (``"rater"``, ``"rater × criterion"``), or one of its effects (``"candidate: week"``).

        Returns
        -------
        DataFrame
            Indexed by member: component, effect, se (prediction error, what the fixed effects add
            included [henderson_1975]), low, high, n (ratings of the member).
        """
        return effects.table(self._sound, name, self.confidence)

    # Means, contrasts, predictions, new data ---------------------------------------------------------

    @entry()
    def means(
        self,
        of: str | Sequence[str],
        *,
        at: Mapping[str, Any] | None = None,
        over: str = "equal",
        scale: str = "latent",
        random: str = "conditional",
    ) -> pd.DataFrame:
        """Adjusted means.

        Parameters
        ----------
        of
            One or several columns of the fixed terms (or ``thresholds_by``); a numeric one needs ``at``.
        at
            Values of columns: several for a column of ``of`` or a category, one for another number.
            Numbers not named stand at their means.
        over
            Other categories are averaged with ``"equal"`` weights or as ``"observed"`` together.
        scale
            ``"latent"``: the linear predictor (ordinal: from the middle of the cut-points, the response
            itself for linear models); ``"level"``: expected level, the lowest counted as 1;
            ``"probability"`` of each level.
        random
            ``"conditional"``: for a member in the middle of every grouping; ``"integrated"``: averaged over
            all members. The same on the latent scale.

        Returns
        -------
        DataFrame
            Indexed by ``of`` (and level): value, se, df, low, high, interval_method, status. Intervals of
            levels and probabilities are made on the logit scale and stay within the range.
        """
        made = means.cells(self._sound, self.inference, of, at, over, scale, random)
        return means.mean_table(self.inference, made, self.confidence)

    @entry()
    def contrasts(
        self,
        of: str | Sequence[str],
        *,
        against: Any = None,
        within: str | Sequence[str] = (),
        adjust: str = "none",
        at: Mapping[str, Any] | None = None,
        over: str = "equal",
        scale: str = "latent",
        random: str = "conditional",
    ) -> pd.DataFrame:
        """Differences between adjusted means.

        Parameters
        ----------
        of
            Columns whose values are compared, all pairs, later minus earlier.
        against
            Compare with this value only.
        within
            Columns within whose values the comparisons are made.
        adjust
            ``"none"``, ``"bonferroni"``, ``"holm"``, ``"fdr_bh"``: the column ``p_adjusted``; the family is
            the table. Intervals are not adjusted.
        at, over, scale, random
            As in ``means``.
        """
        names = [of] if isinstance(of, str) else list(of)
        inner = [within] if isinstance(within, str) else list(within)
        made = means.cells(self._sound, self.inference, [*names, *inner], at, over, scale, random)
        return means.contrast_table(
            self.inference, made, self.confidence, against=against, within=inner, adjust=adjust
        )

    @entry(named=True, keep_index=True)
    def predict(
        self,
        data: pd.DataFrame | None = None,
        *,
        random: bool | str | Sequence[str] = True,
        scale: str = "latent",
        interval: str = "confidence",
    ) -> pd.DataFrame:
        """Predict ratings.

        Parameters
        ----------
        data
            Rows with the columns of the model but the response and the groupings left out by ``random``;
            the data of the fit otherwise. A row with a missing value gets none.
        random
            Whether the effects of members are included, or the groupings for which they are. A member
            not seen before stands in the middle, and the variance of its grouping adds to the error.
        scale
            As in ``means``; linear models have the latent scale, their response, only. With a member not
            seen before, levels and probabilities are those in the middle, not the average over members,
            for which ask ``means`` with ``random="integrated"``.
        interval
            ``"none"``, ``"confidence"`` (of the expected response) or, for linear models,
            ``"prediction"`` (of one new rating).
        """
        return predict.table(self._sound, data, random, scale, interval, self.confidence)

    @entry()
    def simulate(self, n: int = 1, *, seed: int = 0) -> pd.DataFrame:
        """Draw new responses for the rows of the data, with new members of every grouping.

        Returns
        -------
        DataFrame
            One column a replicate, indexed like the complete rows of the data; an ordinal row of weight 3
            stands three times. A replicate depends on the seed and its number only.
        """
        return resample.simulate(self._sound, n, seed)

    @entry()
    def bootstrap(self, replicates: int = 500, *, seed: int = 0) -> pd.DataFrame:
        """Parametric bootstrap of the variances: intervals, and the bias of the estimates.

        Ordinal rows that occurred several times are drawn that often; weights must be whole numbers.

        Returns
        -------
        DataFrame
            Indexed by component: variance, ``low`` and ``high`` inverted on the log of the variance ratio,
            ``mean_sd_ratio`` (mean re-estimated standard deviation over the true one of the simulation:
            below 1, estimates such as this one are too small), n_failed, status.
        """
        return resample.bootstrap_table(self._sound, self.confidence, replicates, seed)

    # Checks ----------------------------------------------------------------------------------------

    @entry()
    def residuals(self, *, seed: int = 0) -> pd.DataFrame:
        """Randomised-quantile residuals, standard normal where the model is right [dunn_smyth_1996].

        Given the shrunken effects; a seed is needed because a level covers a range of probabilities. For
        linear models the residual over its standard deviation. Columns ``expected`` and ``residual``.
        """
        return checks.residual_table(self._sound, seed)

    @entry()
    def level_counts(self, by: str | None = None) -> pd.DataFrame:
        """How often each level was given and how often the model expects it, for each value of a column.

        Expected counts are averaged over the random effects.
        """
        return checks.level_table(self._sound, by)

    @entry()
    def proportional_odds(self, column: str) -> tuple[pd.DataFrame, Comparison]:
        """Whether a column, such as the criterion, shifts all cut-points alike.

        The model is fitted again with cut-points for each value of the column. The table has the shift of
        each value at each cut-point; its ``p``, repeated at each, is of a Wald test that the shifts of the
        value are equal, not that they are zero. The comparison is the likelihood-ratio test of all values
        together.
        """
        free = checks.with_thresholds_by(self._sound, column)
        table = checks.shift_table(self.model, free, column, self.confidence)
        return table, compare.likelihood_ratio(self.model, free, "ml", "ml")

    @entry()
    def influence(self, name: str, *, term: str | None = None) -> pd.DataFrame:
        """What the fixed terms would do without the ratings of one member, in one step.

        First-order change of the estimates with the variances held, not a refit [cook_1986].

        Parameters
        ----------
        name
            A grouping, such as ``"rater"``.
        term
            The fixed term looked at; otherwise the one that moves most in standard errors.

        Returns
        -------
        DataFrame
            Indexed by member: n, ``distance`` (squared change in units of the errors, over the number of
            terms), term, ``change``, ``change_in_se``.
        """
        return checks.influence_table(self._sound, name, term)

    # Showing ---------------------------------------------------------------------------------------

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return notebook.printed(self)

    def _repr_html_(self) -> str:
        return notebook.page(self)

    # Inside ----------------------------------------------------------------------------------------

    @property
    def _sound(self) -> Model:
        if self.model.engine is None or self.model.verdict:
            raise ModelError(f"the fit has no values ({self.status})", remedy=self.status_note)
        return self.model

    @cached_property
    @one_thread()
    def inference(self) -> Inference:
        """Covariance of the fixed parameters and degrees of freedom."""
        return coefficients.inference(self._sound, self.degrees)

    @property
    def _inference(self) -> Inference | None:
        return None if self.model.engine is None or self.model.verdict else self.inference


@entry()
def likelihood_ratio(smaller: Fit, larger: Fit) -> Comparison:
    """Test whether the larger model fits better than chance alone would make it.

    Where the larger model adds variances, the null hypothesis lies at the edge of their range: one
    variance with c covariances is referred to an equal mixture of chi-squared with c and c + 1 degrees of
    freedom [stram_lee_1994], several to a binomial mixture, which is conservative [self_liang_1987].

    Parameters
    ----------
    smaller, larger
        Fits of one response to the same rows, the terms of the smaller among those of the larger. Fits by
        ``"reml"`` may differ in groupings only.

    Raises
    ------
    ModelError
        The fits cannot be compared, and why.
    """
    return compare.likelihood_ratio(smaller.model, larger.model, smaller.method, larger.method)
