"""How much of a score is the candidate, and how much the rater, the lesson, the criterion?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, ModelError
from mentorstats.estimate import Status, has_value
from mentorstats.mixed import Fit
from mentorstats.mixed.design.terms import FixedTerm
from mentorstats.printed import Printed, Shown, counted
from mentorstats.reliability.components import anova, confounded, likelihood
from mentorstats.reliability.components.cells import Cells, Told, as_array, read, told_apart
from mentorstats.reliability.components.component_rows import (
    complete,
    component_rows,
    mixing,
    names,
    untold,
    with_carriers,
    with_share_limits,
)
from mentorstats.reliability.components.design import Design, Nested, design
from mentorstats.reliability.components.estimated import Estimated
from mentorstats.reliability.components.squares import squares

Floats = NDArray[np.float64]

METHODS = ("auto", "anova", "reml")
LIMITS = (likelihood.PROFILE, likelihood.ONE_STEP)
DRAWS = 10_000


@dataclass(frozen=True, repr=False, eq=False)
class GStudy(Shown):
    """Variance components of a generalizability study.

    Attributes
    ----------
    design
        Object, facets, nesting, fixed facets; ``design.text`` is one line.
    method
        ``"anova"`` or ``"reml"``.
    components
        Indexed by component: df, ss, ms (balanced data), ``variance_raw`` (mean squares can give less than
        nothing), ``variance``, ``share`` of the sum with limits from draws, limits, status. What
        cannot be told from another component has a row, ``not_identified`` and the reason; the component
        that holds it as well is ``by_assumption`` what its name says.
    covariance
        Sampling covariance of the raw components; missing where one lies at zero of a likelihood.
    mean
        Mean score; with covariates at their averages.
    mean_squares
        Indexed by effect: df, ss, ms and ``expected_ms`` in words; no rows for ``"reml"``.
    hidden
        Indexed by facet: facets of the design, or columns named ``beside``, that have no component of their
        own, what holds them, and whether that is ``by_assumption`` or they are ``not_identified``.
    notes
        How the components were found, and what a reader has to know.
    n_ratings, n_left_out
        Scores that entered, and rows left out for a missing value.
    expected
        What each score would be by mean and covariates alone, (n,).
    """

    design: Design
    method: str
    confidence: float
    seed: int
    components: pd.DataFrame
    covariance: pd.DataFrame
    mean: float
    mean_squares: pd.DataFrame
    hidden: pd.DataFrame
    notes: tuple[str, ...]
    n_ratings: int
    n_left_out: int
    cells: Cells
    told: Told
    estimated: Estimated
    expected: Floats
    status: Status = Status.OK
    status_note: str = ""

    @cached_property
    def draws(self) -> Floats:
        """Components that are as compatible with the data as those estimated, (draws, e)."""
        return self.estimated.draw(np.random.default_rng(self.seed), DRAWS)

    @property
    def references(self) -> tuple[str, ...]:
        """Keys of the bibliography for how components and their limits were found."""
        limits = ("ting_1990",) if self.method == "anova" else ("bates_2015", "venzon_moolgavkar_1988")
        return ("brennan_2001", "cornfield_tukey_1956", *limits)

    @property
    def component_names(self) -> list[str]:
        """Names of the all-random components, in the order of ``estimated``."""
        return names(self.design, self.told)

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        shares = [_fact(str(name), row) for name, row in self.components.iterrows()]
        return Printed(
            title=f"Generalizability study, {self.design.text}; {self.method}",
            facts=(f"{counted(self.n_ratings, 'score')}, {self.n_left_out:,} left out", *shares),
            notes=self.notes,
            ask=(".components", ".hidden", "d_study(…)"),
        )


def _fact(name: str, row: pd.Series) -> str:
    """A component in a few words."""
    share = "no value" if np.isnan(row["share"]) else f"{100 * row['share']:.0f} % of the variance"
    return f"{name}: {share}" + ("" if row["status"] == Status.OK else f" ({row['status']})")


@entry(named=True)
def g_study(
    scores: pd.DataFrame,
    *,
    object: str,
    facets: str | Sequence[str],
    score: str,
    nested: Nested | None = None,
    fixed: str | Sequence[str] = (),
    covariates: FixedTerm | Sequence[FixedTerm] = (),
    beside: str | Sequence[str] = (),
    method: str = "auto",
    limits: str = "profile",
    confidence: float = 0.95,
    seed: int = 0,
) -> GStudy:
    """Estimate how much each source adds to the variance of a score.

    Parameters
    ----------
    scores
        One row a score; rows with a missing value are left out and counted.
    object
        Column of what the scores are to tell apart, for example the candidate.
    facets
        Columns of what else a score depends on: rater, occasion, criterion.
    score
        Numeric column.
    nested
        ``{"rater": "occasion"}``: each occasion has raters of its own, whose codes may repeat. A facet may
        be nested in the object (lessons in candidates), in several others, or in one that is nested.
    fixed
        Facets whose members in the data are all there are, such as the criteria of a rubric. Scores are
        averages over them: a component gains its interaction with a fixed facet over the number of its
        members, and what is left of fixed facets alone is no error [brennan_2001].
    covariates
        Fixed terms, such as ``"week"``: a trend over weeks otherwise counts as differences of lessons.
    beside
        Columns that are no facets of this study, such as the site or the day: where one divides the scores as
        a facet does, or lies within one, ``hidden`` and the notes say so.
    method
        ``"anova"`` (mean squares; balanced, complete data without covariates), ``"reml"`` (restricted
        likelihood), or ``"auto"``: mean squares where possible.
    limits
        Limits for ``"reml"``: ``"profile"``, or ``"one_step"`` in a fraction of the time: a profile in which
        the other parameters take one Newton step instead of being fitted again.
    confidence, seed
        Coverage of intervals, and the seed of what is drawn.

    Returns
    -------
    GStudy
        Intervals: exact for one mean square, otherwise modified large-sample limits [ting_1990];
        profile likelihood for ``"reml"``; where a fixed facet makes a sum of components, from draws.

    Raises
    ------
    ColumnError, ArgumentError, ModelError, DuplicateRatingError
        A column is missing, an option unknown, a cell has two scores, the nesting is not what the data say,
        or mean squares are asked for where data are not balanced.

    Examples
    --------
    >>> table = [[9, 9, 7, 4], [9, 8, 4, 6], [8, 8, 6, 2], [9, 8, 6, 3], [10, 9, 8, 7], [6, 4, 5, 1]]
    >>> scores = pd.DataFrame(table).stack().rename_axis(["candidate", "criterion"]).reset_index(name="level")
    >>> found = g_study(scores, object="candidate", facets="criterion", score="level")
    >>> found.components["variance"].round(2).to_dict()
    {'candidate': 1.91, 'criterion': 4.03, 'candidate × criterion, residual': 1.28}
    """
    _check(method, limits, confidence)
    terms = _tuple(covariates)
    declared = design(object, _tuple(facets), nested, _tuple(fixed))
    extra = [name for term in terms for name in likelihood.columns(term)]
    cells = read(scores, declared, score, extra, _tuple(beside))
    told = told_apart(cells)
    array = None if terms else as_array(cells)
    if method == "anova" and array is None:
        raise ArgumentError(
            "mean squares need one score in every cell of a balanced design, and no covariates",
            where="scores",
            remedy="Use method='reml', or 'auto'.",
        )
    by_squares = array is not None and method != "reml"
    refused = refusal(cells, told)
    if refused is not None:
        return _without_value(cells, told, "anova" if by_squares else "reml", confidence, seed, *refused)
    if by_squares and array is not None:
        return _by_squares(cells, told, array, confidence, seed)
    return _by_likelihood(cells, told, terms, limits, confidence, seed, balanced=array is not None)


def _check(method: str, limits: str, confidence: float) -> None:
    if method not in METHODS:
        raise ArgumentError(f"method {method!r} is not known", allowed=METHODS)
    if limits not in LIMITS:
        raise ArgumentError(f"limits {limits!r} are not known", allowed=LIMITS)


def _tuple(given: Any) -> tuple[Any, ...]:
    return (given,) if isinstance(given, FixedTerm) else tuple(given)


def refusal(cells: Cells, told: Told) -> tuple[Status, str] | None:
    """Why there is no component at all, if there is none."""
    design = cells.design
    if not cells.n:
        return Status.NO_RECORDS, "No row has a value in every column of the design."
    if np.ptp(cells.score) <= 1e-14 * np.abs(cells.score).max(initial=0.0):
        return Status.NO_SPREAD, f"Every score is {cells.score[0]:g}; nothing varies."
    if told.effects[-1][0] <= design.differentiated:
        return Status.NOT_IDENTIFIED, f"Each {design.object} has one score, so nothing tells it from error."
    if design.fixed >= frozenset(design.facets):
        raise ModelError(
            "every facet is fixed, so nothing is left that could be an error",
            remedy="Leave one facet at least that stands for more than its members here.",
        )
    return None


# Results ---------------------------------------------------------------------------------------------


def _by_squares(cells: Cells, told: Told, array: Floats, confidence: float, seed: int) -> GStudy:
    found = squares(array, cells.design, tuple(several[0] for several in told.effects))
    made = anova.estimated(found, [cells.counts[effect] for effect in found.effects], confidence)
    shown, mixed = mixing(cells, told)
    rows = component_rows(cells.design, told, made, shown, mixed)
    low, high, methods = anova.interval(found, mixed @ found.solving, confidence)
    rows = rows.assign(low=low, high=high, interval_method=methods, confidence=confidence)
    rows = with_share_limits(rows, made.draw(np.random.default_rng(seed), DRAWS) @ mixed.T, confidence)
    for name, values in (("df", found.df), ("ss", found.ss), ("ms", found.ms)):
        rows[name] = values[shown]
    labels = names(cells.design, told)
    table = pd.DataFrame(
        {"df": found.df, "ss": found.ss, "ms": found.ms, "expected_ms": found.in_words(labels)},
        index=pd.Index(labels, name="component", dtype="str"),
    )
    how = "Components from mean squares: data are balanced and complete."
    expected = np.full(cells.n, array.mean())
    return _study(cells, told, made, rows, "anova", confidence, seed, expected, table, [how])


def _by_likelihood(
    cells: Cells,
    told: Told,
    terms: Sequence[FixedTerm],
    limits: str,
    confidence: float,
    seed: int,
    *,
    balanced: bool,
) -> GStudy:
    labels = names(cells.design, told)
    found = likelihood.fitted(cells, told, labels, terms, confidence)
    if not has_value(found.status):
        return _without_value(cells, told, "reml", confidence, seed, found.status, found.status_note)
    made = likelihood.estimated(found, labels, limits)
    shown, mixed = mixing(cells, told)
    rows = component_rows(cells.design, told, made, shown, mixed).assign(confidence=confidence)
    simple = (mixed > 0).sum(axis=1) == 1
    drawn = made.draw(np.random.default_rng(seed), DRAWS) @ mixed.T
    rows = with_share_limits(rows, drawn, confidence)
    tail = (1 - confidence) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0)
    rows["low"] = np.where(simple, made.low[shown], low)
    rows["high"] = np.where(simple, made.high[shown], high)
    rows["interval_method"] = [
        made.limit_methods[i] if alone else made.draw_method for i, alone in zip(shown, simple, strict=True)
    ]
    why = "as asked" if balanced else "cells are missing or unequal"
    why = "covariates are allowed for" if terms else why
    own = [note for note in found.notes if note not in set(made.notes)]
    how = [f"Components by restricted likelihood: {why}.", *own]
    empty = pd.DataFrame(columns=["df", "ss", "ms", "expected_ms"], index=pd.Index([], name="component"))
    return _study(cells, told, made, rows, "reml", confidence, seed, _expected(found), empty, how)


def _expected(found: Fit) -> Floats:
    return found.predict(random=False, interval="none")["value"].to_numpy(dtype=np.float64)


def _study(
    cells: Cells,
    told: Told,
    made: Estimated,
    rows: pd.DataFrame,
    method: str,
    confidence: float,
    seed: int,
    expected: Floats,
    mean_squares: pd.DataFrame,
    how: list[str],
) -> GStudy:
    labels = names(cells.design, told)
    table = complete(pd.concat([with_carriers(rows, cells.design, told), untold(cells.design, told)]))
    unseen = confounded.table(cells, told)
    at_zero = list(table.index[table["status"] == Status.BOUNDARY])
    notes = [*how, *_fixed_notes(cells.design), *table.loc[table["variance"].isna(), "status_note"]]
    notes += list(unseen.loc[unseen.index.isin(cells.beside), "status_note"])
    if at_zero:
        notes.append(f"Taken at zero: {', '.join(at_zero)}.")
        if method == "reml":
            notes.append("Covariances of the other components are those with these held at zero.")
    if cells.n_left_out:
        notes.append(f"{cells.n_left_out} rows with a missing value were left out.")
    covariance = pd.DataFrame(made.covariance, index=labels, columns=labels)
    return GStudy(
        cells.design,
        method,
        confidence,
        seed,
        table,
        covariance,
        float(expected.mean()) if cells.n else float("nan"),
        mean_squares,
        unseen,
        tuple(dict.fromkeys(notes)),
        cells.n,
        cells.n_left_out,
        cells,
        told,
        made,
        expected,
    )


def _fixed_notes(design: Design) -> list[str]:
    if not design.fixed:
        return []
    which = ", ".join(facet for facet in design.facets if facet in design.fixed)
    return [f"Fixed: {which}. Components are those of averages over its members."]


def _without_value(
    cells: Cells, told: Told, method: str, confidence: float, seed: int, status: Status, note: str
) -> GStudy:
    """A study of which nothing can be computed, and why."""
    labels = names(cells.design, told)
    e = len(labels)
    missing = np.full(e, np.nan)
    made = Estimated(
        missing,
        missing,
        missing,
        np.full((e, e), np.nan),
        ("none",) * e,
        (status,) * e,
        (note,) * e,
        lambda generator, n: np.full((n, e), np.nan),
        "none",
    )
    index = pd.Index(labels, name="component", dtype="str")
    rows = pd.DataFrame({"status": status.value, "status_note": note}, index=index)
    empty = pd.DataFrame(columns=["df", "ss", "ms", "expected_ms"], index=pd.Index([], name="component"))
    expected = np.full(cells.n, cells.score.mean() if cells.n else np.nan)
    study = _study(cells, told, made, rows, method, confidence, seed, expected, empty, [])
    table = study.components.assign(status=status.value, status_note=note)
    return replace(study, components=table, notes=(note,), status=status, status_note=note)
