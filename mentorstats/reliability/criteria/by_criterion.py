"""Criteria reported singly: how dependable each is under a plan, and whether it tells what others tell."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mentorstats.estimate import Status
from mentorstats.reliability.components.cells import read, told_apart
from mentorstats.reliability.components.component_rows import names
from mentorstats.reliability.components.design import design
from mentorstats.reliability.components.likelihood import columns, fitted, variances
from mentorstats.reliability.components.study import GStudy, g_study, refusal
from mentorstats.reliability.plans.decision import AS_ESTIMATED, d_study
from mentorstats.reliability.plans.visit_scores import SCORE, VisitScores, nesting

_FACETS = ["rater", "observation"]
_KEYS = ["candidate", "observation", "rater", "rater_role"]
_OF_PLAN = ["universe_variance", "generalizability", "dependability", "sem"]
_LIMITS = ["dependability_low", "dependability_high", "confidence"]
_TEXT = ["interval_method", "status", "status_note"]
_WORDS = ["correlation_status", *_TEXT]


def by_criterion(
    scores: VisitScores, n_raters: int, n_visits_each: int, *, confidence: float = 0.95, seed: int = 0
) -> pd.DataFrame:
    """Study each criterion by itself, as the mean over them was studied.

    Parameters
    ----------
    scores
        From ``plan_scores.visit_scores``.
    n_raters, n_visits_each
        The plan: raters of a candidate, and visits that each makes.
    confidence, seed
        As for ``g_study``.

    Returns
    -------
    DataFrame
        Indexed by criterion: ``weight``, ``n_ratings``, ``share`` of the candidates in one rating, columns of
        ``d_study`` for the plan, and ``correlation``: of what candidates have on this criterion with what
        they have on the (weighted) mean of the others, error taken out. Incomplete data have no mean
        products; the covariance is half of what the variance of the sum exceeds those of the two by, all
        three by restricted likelihood on the lessons that have both, and has no interval. It is missing
        where a variance is zero; where it is beyond 1 by chance, ``correlation_status`` is ``boundary`` and
        it is 1.

        Limits rest on profiles with one step.
    """
    wide = _wide(scores)
    criteria = list(wide.columns)
    rows = {name: _row(scores, wide, name, n_raters, n_visits_each, confidence, seed) for name in criteria}
    shown = ["weight", "n_ratings", "share", *_OF_PLAN, *_LIMITS, "correlation", "correlation_status", *_TEXT]
    found = pd.DataFrame.from_dict(rows, orient="index", columns=shown).rename_axis("criterion")
    numbers = [name for name in shown if name not in (*_WORDS, "n_ratings")]
    types = dict.fromkeys(numbers, "float64") | dict.fromkeys(_WORDS, "str")
    return found.astype(types | {"n_ratings": "Int64"})


def _wide(scores: VisitScores) -> pd.DataFrame:
    """Ranks with a row a score and a column a criterion."""
    rows = scores.rows.assign(
        criterion=scores.rows["criterion"].astype("str"), rank=scores.rows["rank"].astype("float64")
    )
    for name in _KEYS:
        rows[name] = rows[name].astype("str")
    return rows.pivot_table(index=_KEYS, columns="criterion", values="rank", aggfunc="mean")


def _row(
    scores: VisitScores,
    wide: pd.DataFrame,
    name: str,
    n_raters: int,
    n_visits_each: int,
    confidence: float,
    seed: int,
) -> dict[str, object]:
    study = _study(scores, wide[name].dropna(), confidence, seed)
    sizes = {"rater": n_raters, "observation": n_visits_each}
    plans = d_study(study, sizes, nested={"observation": "rater"}, confidence=confidence)
    plan = plans[plans["scenario"] == AS_ESTIMATED].iloc[0]
    row: dict[str, object] = {"weight": float(scores.weights[name]), "n_ratings": study.n_ratings}
    row["share"] = _share(study)
    row |= {key: plan[key] for key in (*_OF_PLAN, *_LIMITS, *_TEXT)}
    row["correlation"], status = _correlation(scores, wide, name, study)
    row["correlation_status"] = status.value
    return row


def _with(scores: VisitScores, values: pd.Series) -> pd.DataFrame:
    """The scores with other values, indexed by the keys of a score."""
    return scores.table.drop(columns=SCORE).merge(values.rename(SCORE).reset_index(), on=_KEYS)


def _study(scores: VisitScores, values: pd.Series, confidence: float, seed: int) -> GStudy:
    """Same study of other values."""
    table = _with(scores, values)
    return g_study(
        table,
        object="candidate",
        facets=_FACETS,
        nested=nesting(table),
        covariates=scores.covariates,
        score=SCORE,
        limits="one_step",
        confidence=confidence,
        seed=seed,
    )


def _share(study: GStudy) -> float:
    table = study.components
    return float(table["share"].get("candidate", np.nan))


def _correlation(scores: VisitScores, wide: pd.DataFrame, name: str, study: GStudy) -> tuple[float, Status]:
    """Correlation of universe scores of one criterion and of the weighted mean of the others."""
    others = wide.drop(columns=name)
    both = wide[wide[name].notna() & others.notna().any(axis=1)]
    if others.empty or both.empty:
        return np.nan, Status.NOT_IDENTIFIED
    weights = scores.weights.reindex(others.columns)
    rest = both[others.columns]
    mean = (rest * weights).sum(axis=1) / (rest.notna() * weights).sum(axis=1)
    one = float(study.components["variance"].get("candidate", np.nan))
    if len(both) < study.n_ratings:
        one = _variance(scores, both[name])
    other, whole = (_variance(scores, values) for values in (mean, both[name] + mean))
    if not (one > 0 and other > 0 and np.isfinite(whole)):
        return np.nan, Status.NOT_IDENTIFIED
    found = float((whole - one - other) / 2 / np.sqrt(one * other))
    return float(np.clip(found, -1, 1)), Status.OK if abs(found) < 1 else Status.BOUNDARY


def _variance(scores: VisitScores, values: pd.Series) -> float:
    """Variance of candidates by restricted likelihood, without limits; missing where there is no fit."""
    terms, table = scores.covariates, _with(scores, values)
    declared = design("candidate", _FACETS, nesting(table))
    cells = read(table, declared, SCORE, [name for term in terms for name in columns(term)])
    told = told_apart(cells)
    if refusal(cells, told) is not None:
        return np.nan
    found = fitted(cells, told, names(declared, told), terms, 0.95)
    return float(variances(found).get("candidate", np.nan))
