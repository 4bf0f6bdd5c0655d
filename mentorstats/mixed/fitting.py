"""Fit a crossed random-effects model, linear or ordinal: from what is declared to the optimum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any

import pandas as pd

from mentorstats import arguments
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, MentorstatsError, ModelError, SourceFileError
from mentorstats.mixed.design.chunks import parquet_chunks
from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.design.scan import Chunks
from mentorstats.mixed.design.terms import FixedTerm, Grouping, by
from mentorstats.mixed.engines import links
from mentorstats.mixed.engines.assemble import assemble
from mentorstats.mixed.result import Fit

KINDS = ("linear", "ordinal")
METHODS = ("reml", "ml")
DEGREES = ("satterthwaite", "kenward_roger", "none")


@entry(named=True, keep_index=True)
def fit(
    data: pd.DataFrame | str | PathLike[str],
    *,
    response: str,
    fixed: str | FixedTerm | Sequence[FixedTerm] = (),
    grouped: str | Grouping | Sequence[str | Grouping] = (),
    kind: str = "linear",
    method: str = "reml",
    levels: Sequence[Any] | None = None,
    link: str = "logit",
    thresholds_by: str | None = None,
    scale: str | Sequence[str] = (),
    weights: str | None = None,
    reference: Mapping[str, Any] | None = None,
    degrees: str = "satterthwaite",
    quadrature_points: int = 1,
    merged: bool = True,
    confidence: float = 0.95,
) -> Fit:
    """Fit a model with crossed and nested random effects.

    Linear: y = Xβ + Zb + e by profiled penalised least squares, restricted (``"reml"``) or full
    (``"ml"``) maximum likelihood [bates_2015]. Ordinal: P(level ≤ j) = F(τ_j − xβ − z'b), by Laplace's
    approximation [tierney_kadane_1986] or adaptive quadrature [pinheiro_bates_1995].

    Parameters
    ----------
    data
        One row a rating. A DataFrame, or the path of a Parquet file or a folder of them; a linear model
        reads files piece by piece and keeps only sums.
    response
        Numeric column, or for ``kind="ordinal"`` a column of levels.
    fixed
        Column names, ``product(…)``, ``spline(…)``. Numbers enter as they are, everything else as
        categories. A linear model has an intercept, an ordinal one cut-points instead.
    grouped
        Column names and ``by(…)``: what differs from member to member.
    levels
        Ordinal: all levels of the rubric, lowest first; needed unless the column is an ordered
        categorical. A level that never occurs gets no cut-point, and a note says so.
    link
        ``"logit"`` or ``"probit"``.
    thresholds_by
        A column, such as the criterion, each value of which has cut-points of its own.
    scale
        Columns on which the dispersion of the latent error depends, on the log scale.
    weights
        Column of numbers above zero: how many times as much a row says (ordinal: how often it occurred).
    reference
        For a column of categories, the one that others are compared with; the first otherwise.
    degrees
        Linear: ``"satterthwaite"``, ``"kenward_roger"`` (restricted fits only) or ``"none"``.
    quadrature_points
        Ordinal: 1 is Laplace; 7 or more for one grouping, or two of which one is nested in the other.
    merged
        Ordinal: rows alike in everything the model reads are counted together, which is faster and changes
        no result. Without it the fitted rows are those of the data, one by one.
    confidence
        Coverage of intervals, as a fraction.

    Returns
    -------
    Fit
        What cannot be estimated has a status and a reason in it. Rows with a missing value in a column
        of the model are left out and counted.

    Raises
    ------
    ColumnError, ModelError, ArgumentError, SourceFileError
        A column is missing or unfit, an option is unknown, a file cannot be read.

    Examples
    --------
    >>> import pandas as pd
    >>> scores = pd.DataFrame({"lesson": list("aabbccdd"), "score": [1.0, 1.2, 2.0, 2.1, 3.1, 3.0, 1.9, 2.2]})
    >>> found = fit(scores, response="score", grouped="lesson")
    >>> found.components["share"].round(2).to_dict()
    {'lesson': 0.97, 'residual': 0.03}
    """
    _check(kind, method, degrees, confidence, quadrature_points)
    declared = Declared(
        response,
        _tuple(fixed),
        tuple(by(term) if isinstance(term, str) else term for term in _tuple(grouped)),
        kind,
        levels=None if levels is None else tuple(levels),
        link=links.check(link),
        thresholds_by=thresholds_by,
        scale=_tuple(scale),
        weights=weights,
        reference=dict(reference or {}),
    )
    _check_declared(declared)
    chunks = _chunks(data, declared)
    model = assemble(chunks, declared, restricted=method == "reml", points=quadrature_points, merged=merged)
    return Fit(model, method if kind == "linear" else "ml", degrees, confidence)


def _tuple(given: Any) -> tuple[Any, ...]:
    return (given,) if isinstance(given, FixedTerm | Grouping) else tuple(given)


def _check(kind: str, method: str, degrees: str, confidence: float, points: int) -> None:
    for value, allowed, name in (
        (kind, KINDS, "kind"),
        (method, METHODS, "method"),
        (degrees, DEGREES, "degrees"),
    ):
        if value not in allowed:
            raise ArgumentError(f"{name} {value!r} is not known", allowed=allowed)
    if degrees == "kenward_roger" and (method != "reml" or kind != "linear"):
        raise ArgumentError(
            "Kenward-Roger degrees of freedom belong to restricted maximum likelihood",
            remedy="Use method='reml' and kind='linear', or degrees='satterthwaite'.",
        )
    if points < 1 or (points > 1 and kind == "linear"):
        raise ArgumentError(
            f"quadrature_points {points!r}", allowed="1, or more for an ordinal model with nested groupings"
        )


def _check_declared(declared: Declared) -> None:
    ordinal_only = {
        "levels": declared.levels,
        "thresholds_by": declared.thresholds_by,
        "scale": declared.scale,
    }
    if declared.kind == "linear":
        for name, value in ordinal_only.items():
            if value:
                raise ModelError(f"{name} belongs to ordinal models", remedy="Add kind='ordinal'.")
    names = [grouping.name for grouping in declared.grouped]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ModelError(f"grouping {twice[0]!r} is declared twice", remedy="Give both effects in one by(…).")
    fixed_names = {term for term in declared.fixed if isinstance(term, str)}
    if declared.response in fixed_names | {key for g in declared.grouped for key in g.used}:
        raise ModelError(f"response {declared.response!r} also stands among the terms")
    unknown = set(declared.reference) - set(declared.used)
    if unknown:
        raise ModelError(
            f"reference names {sorted(unknown)[0]!r}, which is not a term", allowed=declared.used[1:]
        )


def _chunks(data: pd.DataFrame | str | PathLike[str], declared: Declared) -> Chunks:
    if isinstance(data, pd.DataFrame):
        return lambda: [data]
    if isinstance(data, str | PathLike):
        try:
            return parquet_chunks(Path(data), declared.used)
        except (OSError, ValueError) as error:  # a name that the system takes for none
            if isinstance(error, MentorstatsError):
                raise
            raise SourceFileError("cannot be opened", where=arguments.shown(str(data))) from error
    raise ArgumentError(
        f"data is a {type(data).__name__}",
        allowed="a DataFrame, or the path of a Parquet file or a folder of them",
    )
