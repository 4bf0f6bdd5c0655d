"""Likelihood-ratio test of a smaller model inside a larger one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binom, chi2

from mentorstats.errors import ModelError
from mentorstats.mixed.design.layout import Categories, Curve, Numeric
from mentorstats.mixed.engines.model import Model


@dataclass(frozen=True, slots=True)
class Comparison:
    """Outcome of a likelihood-ratio test.

    ``p`` refers to ``reference``; where variances are tested at zero that is a mixture of chi-squared
    distributions, and ``conservative`` tells whether its weights are an upper bound rather than known.
    """

    statistic: float
    df: int
    p: float
    reference: str
    conservative: bool
    smaller: float
    larger: float

    def to_frame(self) -> pd.DataFrame:
        """One row a model."""
        return pd.DataFrame(
            {
                "log_likelihood": [self.smaller, self.larger],
                "statistic": [np.nan, self.statistic],
                "df": pd.array([pd.NA, self.df], dtype="Int64"),
                "p": [np.nan, self.p],
            },
            index=pd.Index(["smaller", "larger"], name="fit"),
        )


def likelihood_ratio(one: Model, two: Model, method_one: str, method_two: str) -> Comparison:
    """Compare a smaller with a larger model; see ``mentorstats.mixed.likelihood_ratio``."""
    _comparable(one, two, method_one, method_two)
    fixed = _n_fixed(two) - _n_fixed(one)
    more = _entries(two) - _entries(one, two)
    variances = sum(len(effects) == 1 for _, effects in more)
    covariances = len(more) - variances
    statistic = max(2 * (two.fitted.log_likelihood - one.fitted.log_likelihood), 0.0)
    if not fixed and more and more <= _zeros(two):
        statistic = 0.0  # the same model; what is left is how near the two came to the optimum
    base = fixed + covariances
    weights = binom.pmf(np.arange(variances + 1), variances, 0.5)
    p = float(sum(w * _tail(statistic, base + j) for j, w in enumerate(weights)))
    parts = [f"{w:.3g} χ²({base + j})" for j, w in enumerate(weights)]
    return Comparison(
        statistic,
        base + variances,
        p,
        " + ".join(parts) if variances else f"χ²({base})",
        variances > 1,
        one.fitted.log_likelihood,
        two.fitted.log_likelihood,
    )


def _tail(statistic: float, df: int) -> float:
    return float(chi2.sf(statistic, df)) if df else float(statistic <= 0)


def _n_fixed(model: Model) -> int:
    return model.levels.problem.n_fixed if model.ordinal else model.linear.problem.p


def _comparable(one: Model, two: Model, method_one: str, method_two: str) -> None:
    for model in (one, two):
        if model.engine is None or model.verdict:
            raise ModelError(
                "one of the fits has no values", remedy=model.verdict.note if model.verdict else None
            )
    if one.declared.kind != two.declared.kind or one.declared.response != two.declared.response:
        raise ModelError("the fits are of different kinds or responses")
    if one.found.n != two.found.n or not np.isclose(one.found.mean, two.found.mean):
        raise ModelError(
            f"the fits rest on different rows, {one.found.n} and {two.found.n}",
            remedy="Leave out the same rows in both: those with a missing value in either model.",
        )
    if method_one != method_two:
        raise ModelError("one fit is by reml, the other by ml", remedy="Use one method for both.")
    for what in ("link", "weights"):
        if getattr(one.declared, what) != getattr(two.declared, what):
            raise ModelError(f"the fits differ in {what}", remedy=f"Use the same {what} in both.")
    if one.found.levels != two.found.levels:
        raise ModelError("the fits differ in the levels declared")
    if method_one == "reml" and set(one.names) != set(two.names):
        raise ModelError(
            "restricted likelihoods of different fixed terms are not comparable",
            remedy="Fit both with method='ml'.",
        )
    if one.ordinal and one.levels.points != two.levels.points:
        raise ModelError("the fits use different numbers of quadrature points")
    if not _nested(one, two):
        raise ModelError("the terms of the smaller model are not all in the larger one")
    if _n_fixed(two) + len(_entries(two)) <= _n_fixed(one) + len(_entries(one)):
        raise ModelError("the larger model has no more parameters than the smaller one")


def _nested(one: Model, two: Model) -> bool:
    free_one, free_two = one.declared.thresholds_by, two.declared.thresholds_by
    names = set(one.names)
    if free_one is None and free_two is not None:
        atom = one.layout.atoms.get(free_two)
        names -= set(atom.labels) if isinstance(atom, Categories) else set()
    elif free_one != free_two:
        return False
    bent = {atom.name for atom in two.layout.atoms.values() if isinstance(atom, Curve)}
    names -= {name for name in bent if isinstance(one.layout.atoms.get(name), Numeric)}  # a line is a curve
    curves = [atom for atom in one.layout.atoms.values() if isinstance(atom, Curve)]
    return (
        names <= set(two.names)
        and all(two.layout.atoms.get(curve.name) == curve for curve in curves)
        and set(one.found.scale_names) <= set(two.found.scale_names)
        and _entries(one, two) <= _entries(two)
    )


def _zeros(model: Model) -> set[Entry]:
    """Variances estimated as exactly zero."""
    diagonals = [np.diagonal(covariance) for covariance in model.fitted.covariances()]
    return {
        (members.name, frozenset((name,)))
        for members, diagonal in zip(model.members, diagonals, strict=True)
        for name, variance in zip(members.coefficients, diagonal, strict=True)
        if variance == 0
    }


Entry = tuple[str, frozenset[str]]


def _entries(model: Model, inside: Model | None = None) -> set[Entry]:
    """Variances (one name) and covariances (two) of the random effects, by name.

    ``inside``: a grouping with one effect a member is a case of the one with correlated effects within
    roles in that model; its variance then counts as that of the first role.
    """
    members, first = model.members, {}
    for other in inside.members if inside is not None else []:
        if other.roles and other.grouping.correlated:
            first[other.name] = other.coefficients[0]
    found = set()
    for t, a, b in model.fitted.triangles.entries:
        own = members[t]
        names = own.coefficients
        if own.k == 1:
            names = [first.get(own.name, names[0])]
        found.add((own.name, frozenset((names[a], names[b]))))
    return found
