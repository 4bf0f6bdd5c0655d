"""Fixed effects and cut-points: errors, degrees of freedom, intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student

from mentorstats.estimate import Status
from mentorstats.mixed.engines.model import Model
from mentorstats.mixed.profile.limits import coefficient_limits
from mentorstats.mixed.tables import degrees as small_sample

Floats = NDArray[np.float64]

FEW_MEMBERS = 30  # below it a contrast between members is judged by t, not by z
_CONSTANT = 1e-9  # share of a column's variation that lies within members
_TOUCHED = 1e-6  # of the largest part of a contrast's error; smaller ones are rounding of differences

_TEXT = ("group", "below", "above", "interval_method")
COLUMNS = ["estimate", "se", "df", "statistic", "p", "low", "high", "confidence", "interval_method"]


@dataclass(frozen=True)
class Inference:
    """Covariance of the fixed parameters and the degrees of freedom of their combinations.

    Linear models: (p, p), the fixed effects. Ordinal models: cut-points, slopes, log-dispersion.
    """

    covariance: Floats
    of_contrast: Callable[[Floats], float]
    method: str
    status: Status = Status.OK
    note: str = ""


def inference(model: Model, degrees: str) -> Inference:
    """Choose the method that was asked for, or say why it is not available."""
    if model.ordinal:
        covariance = model.levels.full_covariance[model.levels.problem.q :, model.levels.problem.q :]
        return Inference(covariance, between_within(model), "wald_z")
    engine = model.linear
    problem, solution = engine.problem, engine.solution
    square = engine.scale**2
    if degrees == "none":
        sigma2 = solution.residual / problem.freedom
        return Inference(square * sigma2 * solution.unscaled, lambda _: np.inf, "wald_z")
    if not problem.triangles.entries:
        covariance = square * solution.residual / problem.freedom * solution.unscaled
        return Inference(covariance, lambda _: float(problem.products.n - problem.p), "residual_t")
    status, note = Status.OK, ""
    if degrees == "kenward_roger":
        if (solution.theta[problem.triangles.diagonal] != 0).all():
            found = small_sample.kenward_roger(problem, solution)
            return Inference(square * found.covariance, found.of_contrast, "kenward_roger_t", note=found.note)
        status = Status.KR_NOT_AVAILABLE
        note = (
            "A variance is zero, where Kenward-Roger's expansion does not hold; Satterthwaite's df instead."
        )
    found = small_sample.satterthwaite(problem, solution)
    return Inference(square * found.covariance, found.of_contrast, "satterthwaite_t", status, note)


def between_within(model: Model) -> Callable[[Floats], float]:
    """Degrees of freedom for contrasts of fixed parameters that rest on few members of a factor.

    A column that within each member is a combination of what the member's own effects are multiplied by
    can only be judged by comparing members. Where it is constant within them df = members − columns
    constant within them, the cut-points counted as one a group; for slopes and roles that differ between
    members, df = members − such columns of one effect. From 30 members on, z. Common practice for
    generalized models [li_redden_2015].
    """
    problem, rows = model.levels.problem, model.rows
    lead, slopes = int(problem.c), problem.p
    per_column = np.full(problem.n_fixed, np.inf)
    covariance = model.levels.full_covariance[problem.q :, problem.q :]
    errors = np.sqrt(np.maximum(np.diagonal(covariance), 0.0))
    groups = (rows.threshold_group[:, None] == np.arange(model.lead)).astype(np.float64)
    for t, members in enumerate(model.members):
        if members.m >= FEW_MEMBERS:
            continue
        codes, values = rows.codes[t], rows.values[t]
        constant = constant_within(rows.fixed, codes, np.ones((len(codes), 1)), rows.weights, members.m)
        resting = constant_within(rows.fixed, codes, values, rows.weights, members.m) & ~constant
        apart = constant_within(groups, codes, np.ones((len(codes), 1)), rows.weights, members.m).all()
        levels = model.lead if apart else 1
        between = max(members.m - levels - int(constant.sum()), 1)
        one_effect = int(np.ceil(resting.sum() / max(members.k - 1, 1)))
        df = np.full(problem.n_fixed, np.inf)
        df[lead : lead + slopes][constant] = between
        df[lead : lead + slopes][resting] = max(members.m - one_effect, 1)
        if apart and model.lead > 1:
            df[:lead] = between
        per_column = np.minimum(per_column, df)

    def of_contrast(c: Floats) -> float:
        size = np.abs(c) * errors
        touched = size > _TOUCHED * size.max(initial=0.0)
        return float(per_column[touched].min(initial=np.inf))

    return of_contrast


def constant_within(
    fixed: Floats, codes: NDArray[np.int64], values: Floats, weights: Floats, m: int
) -> NDArray[np.bool_]:
    """Which columns are a combination of ``values``, (n, k), within each member."""
    k = values.shape[1]
    of_member = np.zeros((m, k, k))
    for a in range(k):
        for b in range(k):
            of_member[:, a, b] = np.bincount(codes, weights * values[:, a] * values[:, b], minlength=m)
    inverse = np.linalg.pinv(of_member, hermitian=True)
    out = np.zeros(fixed.shape[1], dtype=bool)
    for j, column in enumerate(fixed.T):
        about = column - np.average(column, weights=weights)
        sums = [np.bincount(codes, weights * values[:, a] * about, minlength=m) for a in range(k)]
        fitted = np.einsum("mab,bm->ma", inverse, np.array(sums))
        inside = float((weights * (about - np.einsum("na,na->n", values, fitted[codes])) ** 2).sum())
        out[j] = inside <= _CONSTANT * max(float((weights * about**2).sum()), 1e-300)
    return out


def judged(
    estimate: Floats, se: Floats, df: Floats, confidence: float, *, against: float = 0.0
) -> dict[str, Floats]:
    """Statistic, p-value and interval of estimates with their degrees of freedom."""
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = (estimate - against) / se
    finite = np.isfinite(df)
    safe = np.where(finite, df, 1.0)
    p = np.where(finite, 2 * student.sf(np.abs(statistic), safe), 2 * norm.sf(np.abs(statistic)))
    quantile = np.where(finite, student.ppf(0.5 + confidence / 2, safe), norm.ppf(0.5 + confidence / 2))
    return {
        "df": df,
        "statistic": statistic,
        "p": p,
        "low": estimate - quantile * se,
        "high": estimate + quantile * se,
    }


def method_names(df: Floats, method: str) -> list[str]:
    """How each interval was made: t where ordinal contrasts rest on few members."""
    if method != "wald_z":
        return [method] * len(df)
    return ["between_within_t" if np.isfinite(value) else "wald_z" for value in df]


def table(model: Model, found: Inference | None, confidence: float) -> pd.DataFrame:
    """One row a fixed column, in the order declared, aliased ones included; see ``Fit.coefficients``."""
    names = [*model.layout.names, *(f"log dispersion, {name}" for name in model.found.scale_names)]
    frame = pd.DataFrame(index=pd.Index(names, name="term", dtype="str"), columns=COLUMNS, dtype="float64")
    frame["interval_method"] = "none"
    frame["status"], frame["status_note"] = Status.OK.value, ""
    for j, verdict in model.screening.aliased.items():
        frame.iloc[j, -2:] = [verdict.status.value, verdict.note]
    if model.verdict or found is None:
        verdict_ = model.verdict
        frame["status"] = verdict_.status.value if verdict_ else Status.NOT_CONVERGED.value
        frame["status_note"] = verdict_.note if verdict_ else ""
        return frame
    estimates, errors, df = _estimates(model, found)
    kept = [*model.names, *names[len(model.layout.names) :]]
    for name, column in (judged(estimates, errors, df, confidence) | {"estimate": estimates}).items():
        frame.loc[kept, name] = column
    frame.loc[kept, "se"], frame.loc[kept, "confidence"] = errors, confidence
    frame.loc[kept, "interval_method"] = method_names(df, found.method)
    for name, others in model.shared().items():
        frame.loc[name, "status_note"] = (
            f"Holds what belongs to {', '.join(others)} too; the records cannot tell them apart."
        )
    if found.status is not Status.OK:
        frame.loc[kept, "status"] = found.status.value
        frame.loc[kept, "status_note"] = [
            f"{found.note} {note}".strip() for note in frame.loc[kept, "status_note"]
        ]
    return frame


def _estimates(model: Model, found: Inference) -> tuple[Floats, Floats, Floats]:
    beta = model.fitted.joint.beta
    skip = model.levels.problem.c if model.ordinal else 0
    errors = np.sqrt(np.maximum(np.diagonal(found.covariance), 0.0))
    unit = np.eye(len(beta))
    df = np.array([found.of_contrast(unit[j]) for j in range(skip, len(beta))])
    return beta[skip:], errors[skip:], df


def threshold_table(model: Model, found: Inference | None, confidence: float) -> pd.DataFrame:
    """One row a cut-point; see ``Fit.thresholds``."""
    columns = ["group", "below", "above", "estimate", "se", "low", "high", "confidence", "interval_method"]
    if not model.ordinal or model.engine is None or model.verdict or found is None:
        empty = pd.DataFrame(columns=columns, index=pd.Index([], name="threshold", dtype="str"))
        return empty.astype(dict.fromkeys(columns, "float64") | dict.fromkeys(_TEXT, "str"))
    problem = model.levels.problem
    levels, groups = model.found.levels, model.found.threshold_groups
    labels, rows = [], []
    beta = model.levels.joint.beta
    errors = np.sqrt(np.maximum(np.diagonal(found.covariance), 0.0))
    half = float(norm.ppf(0.5 + confidence / 2))
    for at, ((left, right), g) in enumerate(zip(problem.cut.between, problem.cut.groups, strict=True)):
        group = "" if groups[g] is None else str(groups[g])
        labels.append(f"{group}: {levels[left]} to {levels[right]}".removeprefix(": "))
        value, se = float(beta[at]), float(errors[at])
        limits = (value - half * se, value + half * se)
        rows.append((group, str(levels[left]), str(levels[right]), value, se, *limits, confidence, "wald_z"))
    return pd.DataFrame(rows, columns=columns, index=pd.Index(labels, name="threshold", dtype="str"))


def profile_table(model: Model, found: Inference, confidence: float) -> pd.DataFrame:
    """The coefficients of an ordinal model with profile-likelihood limits."""
    frame = table(model, found, confidence)
    _, errors, _ = _estimates(model, found)
    lead = model.levels.problem.c
    kept = frame.index[frame["estimate"].notna()]
    for j, name in enumerate(kept):
        low, high = coefficient_limits(model, confidence, lead + j, float(errors[j]))
        frame.loc[name, ["low", "high"]] = low, high
        frame.loc[name, "interval_method"] = "profile_likelihood"
    return frame
