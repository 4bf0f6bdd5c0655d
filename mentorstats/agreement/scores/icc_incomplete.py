"""How much of a score is the unit, when raters differ from unit to unit? By variance components.

A unit's score is the mean of its own ratings, and its raters are not everybody's. Write w_ir for the
weight of rater r in the score of unit i: 1/k_i where r rated it, else 0. Then score i is
μ + s_i + Σ_r w_ir r_r + (mean of k_i residuals), and two units differ with

    ½ E(x_i − x_j)² = σ²_s + ½ Σ_r (w_ir − w_jr)² σ²_r + ½ (1/k_i + 1/k_j) σ²_e.

Averaged over all pairs of units the factor of σ²_e becomes mean(1/k_i) = 1/k_h, k_h being the harmonic
mean, and that of σ²_r becomes

    q = mean_i Σ_r w_ir² − mean_{i≠j} Σ_r w_ir w_jr = 1/k_h − mean_{i≠j} k_ij / (k_i k_j)

with k_ij raters shared: 0 where all raters rated all units, 1/k_h where no rater is shared. So
σ²_s / (σ²_s + q σ²_r + σ²_e / k_h) is the share of the units' variance in how their scores differ
[ten_hove_2024]; the authors' published program computes the same q, over ordered pairs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.counts import coding
from mentorstats.agreement.scores import scores as scoring
from mentorstats.agreement.scores import variance_draws
from mentorstats.agreement.scores.icc import FEW_UNITS
from mentorstats.agreement.scores.incomplete_components import (
    GROUP,
    RATER,
    RESIDUAL,
    UNIT,
    Asked,
    Components,
    Group,
    components,
    groups_of,
)
from mentorstats.agreement.scores.overlap import harmonic_mean, sharing
from mentorstats.agreement.scores.scores import Columns, Scores
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Estimate, Status, to_frame

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

NAMES = ("icc_a_1", "icc_c_1", "icc_a_k", "icc_c_k")

INDEX = "coefficient"

_UNUSED = ["se", "p_observed", "p_expected"]
_ONE_EACH = "Each member has one unit, so its own variance cannot be told from that of units."
_AGREED = "No disagreement was seen, so there is no interval."
_TOO_LARGE = f"No interval: more than {variance_draws.MOST} raters and clusters together."
_NESTED = "No rater scored two units, so severity cannot be told from the rest of the error."


@entry(named=True)
def icc_incomplete(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    k: float | None = None,
    cluster: Columns | None = None,
    nested: str | None = None,
    fixed_raters: bool = False,
    confidence: float = 0.95,
    replicates: int = 10_000,
    seed: int = 0,
) -> pd.DataFrame:
    """Intraclass correlations where not every rater scored every unit.

    Parameters
    ----------
    ratings
        One row a rating; any order.
    unit, rater
        Column, or several, that name what was scored and who scored it.
    level, levels
        As in `icc`. A row whose score, unit or rater is missing is left out and counted.
    k
        Ratings that a mean is made of, in place of the harmonic mean of those there are; units are
        taken to share raters in the same proportion.
    cluster
        Column, or several, nested or crossed, whose members have several units each, such as the
        candidate. Each gets a component of its own, so that the interval allows for units of one member
        being alike; ``components`` names those that have one. Still each unit's score is what is
        measured: the variance of clusters counts as variance of units. A column that parts the units as
        another does, or that gives each unit a member of its own, adds nothing and has none.
    nested
        As ``cluster``, and a second set of rows for its members: how dependable the mean of all ratings
        of a member is, its units counting as error. Lesson-level agreement and candidate-level
        dependability are different coefficients.
    fixed_raters
        Raters get fixed effects, and scores are taken to be corrected for them: no rater variance
        anywhere. Seldom right: it speaks of these raters only [ten_hove_2024].
    confidence
        Nominal coverage, a fraction.
    replicates, seed
        Draws behind the interval, and the seed that makes them the same again.

    Returns
    -------
    DataFrame
        Indexed by coefficient, with ``nested`` by object and coefficient. ``icc_a_1``, the score in use
        where one rater gives it, comes first; ``icc_c_1`` if one rater gave all scores; ``icc_a_k``
        and ``icc_c_k`` of a mean, against the scale and against the other units' means. value, low,
        high, confidence, interval_method, q (weight of the rater variance in the error: 1, 0, 1/k and
        q as above), k (ratings in the score), k_harmonic, sem with sem_low and sem_high, observed_sd (of
        ratings, of the means there are), n_units, n_raters, n_ratings, n_clusters, n_left_out, model,
        components, type, definition, status, status_note, reference.

        Variances are from restricted maximum likelihood; on complete data the values are those of
        `icc` while no variance is zero. Where each rater scored one unit only, ``icc_c_1`` is
        ``not_identified`` and ``icc_c_k``, in which severity then counts in full, is ``icc_a_k``.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; scores are labels without an order; a unit lies in two clusters; a rater
        scored a unit twice.

    Notes
    -----
    The interval is a generalised one, by Monte Carlo from the expected information of the variances, see
    `variance_draws.draws` [weerahandi_1993] [hannig_2006]. It needs no new fits and holds where a variance
    is estimated as zero; with thousands of raters and clusters there is none. [ten_hove_2025] compare
    estimators for such data and prefer likelihood with Monte Carlo intervals.
    """
    _check(k, cluster, nested, confidence, replicates)
    found = scoring.read(ratings, unit=unit, rater=rater, level=level, levels=levels)
    within = coding.names(nested if nested is not None else cluster or [])
    need_columns(ratings.columns, within, where="ratings")
    groups = groups_of(ratings, within, found)
    asked = Asked(k, fixed_raters, confidence, replicates, seed)
    bare = Estimate(
        name="",
        reference="ten_hove_2024",
        n_units=found.n_units,
        n_raters=found.n_raters,
        n_ratings=len(found.score),
        n_clusters=min((group.n for group in groups), default=None),
        n_left_out=found.n_left_out,
    )
    refused = _refusal(found)
    if refused is not None:
        return _labelled([_nothing(refused, bare)] * (1 if nested is None else 2), unit, nested)
    agreed = _no_disagreement(found)
    parts = Components() if agreed and nested is None else components(found, groups, asked)
    of_units = Components(refused=(Status.NO_DISAGREEMENT, _AGREED)) if agreed else parts
    tables = [_table(_Object(UNIT, found.unit, groups), found, of_units, asked, bare)]
    if nested is not None:
        tables.append(_table(_Object(GROUP, groups[0].codes, groups), found, parts, asked, bare))
    return _labelled(tables, unit, nested)


def _labelled(tables: list[pd.DataFrame], unit: Columns, nested: str | None) -> pd.DataFrame:
    """One table, or both under the names of what they are about."""
    if nested is None:
        return tables[0]
    return pd.concat(dict(zip(("/".join(coding.names(unit)), nested), tables, strict=True)), names=["object"])


def _check(
    k: float | None, cluster: Columns | None, nested: str | None, confidence: float, replicates: int
) -> None:
    if k is not None and not 1 <= k < math.inf:
        raise ArgumentError(f"k is {k}", allowed="1 or more ratings")
    if cluster is not None and nested is not None:
        raise ArgumentError(
            "cluster and nested both name what units lie in",
            remedy="Give nested alone: it does what cluster does and adds rows for its members.",
        )
    if replicates < 100:
        raise ArgumentError(f"{replicates} replicates", allowed="100 or more")


# Rows -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Object:
    """What is measured: units, or the members they lie in; codes of ratings (n,)."""

    name: str
    codes: Codes
    groups: tuple[Group, ...] = ()

    @property
    def n(self) -> int:
        """How many there are."""
        return int(self.codes.max()) + 1

    @property
    def signal(self) -> tuple[str, ...]:
        """Components that are its own variance."""
        of_groups = tuple(group.component for group in self.groups)
        return (UNIT, *of_groups) if self.name == UNIT else (GROUP,)

    def observed_sd(self, score: Array) -> float:
        """Standard deviation of the means of their ratings."""
        means = np.bincount(self.codes, weights=score) / np.bincount(self.codes)
        return float(means.std(ddof=1)) if len(means) > 1 else math.nan


@dataclass(frozen=True, slots=True)
class _Form:
    """One coefficient: the components in its error with their weights, and how to say it."""

    name: str
    weights: dict[str, float]
    k: float
    type: str
    definition: str

    def ratio(self, variances: Mapping[str, float | Array], signal: tuple[str, ...]) -> float | Array:
        """σ²_s / (σ²_s + error), of the estimates or of each draw."""
        own = sum(variances[name] for name in signal if name in variances)
        return own / (own + self.error(variances))

    def error(self, variances: Mapping[str, float | Array]) -> float | Array:
        """Error variance of the score."""
        return sum(weight * variances[name] for name, weight in self.weights.items() if name in variances)


def _forms(of: _Object, found: Scores, asked: Asked) -> list[_Form]:
    harmonic = harmonic_mean(of.codes)
    k = harmonic if asked.k is None else asked.k
    raters, units = sharing(of.codes, found.rater), sharing(of.codes, found.unit)
    severity, scale = 0.0 if asked.fixed_raters else 1.0, harmonic / k
    mean = f"mean of {k:.4g} ratings"
    one = "one rating by one rater"
    absolute = "absolute agreement: raters' severity counts as error"
    same = "consistency: one rater gives all scores"
    shared = "consistency: severity counts as far as raters are not shared"
    made = [
        ("icc_a_1", 1.0, 1.0, 1.0, absolute, f"{one}, the score as used"),
        ("icc_c_1", 0.0, 1.0, 1.0, same, one),
        ("icc_a_k", raters.own * scale, units.own * scale, k, absolute, mean),
        ("icc_c_k", raters.apart * scale, units.own * scale, k, shared, mean),
    ]
    forms = []
    for name, of_rater, of_unit, size, kind, what in made:
        weights = {RATER: severity * of_rater, RESIDUAL: 1 / size}
        if of.name == GROUP:
            weights[UNIT] = of_unit
        corrected = "consistency: scores corrected for these raters"
        forms.append(_Form(name, weights, size, corrected if asked.fixed_raters else kind, what))
    return forms


def _nothing(refused: tuple[Status, str], bare: Estimate) -> pd.DataFrame:
    """Rows that say why there are none."""
    rows = [replace(bare, name=name, status=refused[0], status_note=refused[1]) for name in NAMES]
    table = to_frame(rows, index=INDEX).drop(columns=_UNUSED)
    table[["q", "k", "k_harmonic", "sem", "sem_low", "sem_high", "observed_sd"]] = math.nan
    words = ["model", "components", "type", "definition"]
    table[words] = ""
    return table.astype(dict.fromkeys(words, "str"))


def _table(of: _Object, found: Scores, parts: Components, asked: Asked, bare: Estimate) -> pd.DataFrame:
    forms = _forms(of, found, asked)
    table = to_frame([_row(form, of, parts, asked, bare) for form in forms], index=INDEX)
    deviations = {"1": float(found.score.std(ddof=1)), "k": of.observed_sd(found.score)}
    table["q"] = [form.weights[RATER] for form in forms]
    table["k"] = [form.k for form in forms]
    table["k_harmonic"] = harmonic_mean(of.codes)
    errors = np.array([form.error(parts.variances) for form in forms], dtype=float)
    table["sem"] = np.where(table["value"].notna(), np.sqrt(errors), math.nan)
    table["sem_low"], table["sem_high"] = _sem_bounds(forms, table["low"], parts, asked)
    table["observed_sd"] = [deviations[form.name[-1]] for form in forms]
    table["model"] = _model(of, asked)
    table["components"] = _named(of, parts)
    table["type"] = [form.type for form in forms]
    table["definition"] = [form.definition for form in forms]
    return table.drop(columns=_UNUSED)


def _sem_bounds(
    forms: Sequence[_Form], low: pd.Series, parts: Components, asked: Asked
) -> tuple[Array, Array]:
    """Bounds of the square root of the error, from the draws behind the coefficient's interval (2, 4).

    There are none where the coefficient has none.
    """
    tail = (1 - asked.confidence) / 2
    bounds = np.full((2, len(forms)), math.nan)
    for place, form in enumerate(forms):
        if parts.drawn and not math.isnan(low.iloc[place]):
            bounds[:, place] = np.quantile(np.sqrt(form.error(parts.drawn)), [tail, 1 - tail])
    return bounds[0], bounds[1]


def _model(of: _Object, asked: Asked) -> str:
    raters = "fixed raters" if asked.fixed_raters else "raters are a sample of raters"
    whose = "each unit" if of.name == UNIT else "members that units lie in"
    return f"two-way, incomplete: {raters}; score of {whose}"


def _named(of: _Object, parts: Components) -> str:
    """Columns and roles that have a variance component, in words."""
    columns = {group.component: group.column for group in of.groups}
    return ", ".join(columns.get(name, name) for name in parts.variances)


def _row(form: _Form, of: _Object, parts: Components, asked: Asked, bare: Estimate) -> Estimate:
    row = replace(bare, name=form.name)
    if parts.refused is not None:
        value = 1.0 if parts.refused[0] is Status.NO_DISAGREEMENT else math.nan
        return replace(row, value=value, status=parts.refused[0], status_note=parts.refused[1])
    if of.name == GROUP and GROUP not in parts.variances:
        return replace(row, status=Status.NOT_IDENTIFIED, status_note=_ONE_EACH)
    if parts.no_rater and form.name == "icc_c_1":
        return replace(row, status=Status.NOT_IDENTIFIED, status_note=_NESTED)
    value = float(form.ratio(parts.variances, of.signal))
    status, note = _status(value, of.n, parts)
    row = replace(row, value=value, status=status, status_note=note)
    if not parts.drawn:
        return replace(row, status_note=f"{note} {_TOO_LARGE}".strip())
    if status is Status.TOO_FEW_CLUSTERS:
        return row
    tail = (1 - asked.confidence) / 2
    low, high = np.quantile(form.ratio(parts.drawn, of.signal), [tail, 1 - tail])
    method = variance_draws.METHOD
    return replace(row, low=float(low), high=float(high), confidence=asked.confidence, interval_method=method)


def _status(value: float, n: int, parts: Components) -> tuple[Status, str]:
    zero = "The rater variance is estimated as zero." if parts.variances.get(RATER) == 0 else ""
    if value == 0:
        return Status.BOUNDARY, "The variance of what is measured is estimated as zero."
    if n < 3:
        return Status.TOO_FEW_CLUSTERS, f"{n} of them tell nothing of how they vary; there is no interval."
    if n < FEW_UNITS:
        return Status.FEW_LEVELS, f"{n} of them: the variance between them is known very poorly."
    return Status.OK, zero


def _refusal(found: Scores) -> tuple[Status, str] | None:
    """Why there is no coefficient at all, if there is none."""
    refused = scoring.refusal(found)
    if refused is not None:
        return refused
    if np.bincount(found.unit).max() < 2:
        return (
            Status.NO_DOUBLE_SCORES,
            "No unit was scored by two raters.",
        )
    if np.ptp(found.score) == 0:
        return Status.NO_SPREAD, "Every score is the same; nothing varies."
    return None


def _no_disagreement(found: Scores) -> bool:
    of_unit = np.zeros(found.n_units)
    of_unit[found.unit] = found.score
    return bool((of_unit[found.unit] == found.score).all())
