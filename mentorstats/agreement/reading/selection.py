"""Are the double-scored lessons like the rest, and what is agreement when they stand for all lessons?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from scipy import stats

from mentorstats.agreement.coefficients.by_version import side_by_side
from mentorstats.agreement.counts.double_scores import lesson_table
from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.agreement.reading.balance import (
    LessonWeights,
    categories,
    effective_size,
    inverse_probability_weights,
    likeness,
)
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.printed import Shown

RULE = "likeness_difference"
BACKGROUND = ("cohort", "site", "licensure_area", "grade_band", "week", "visit_mode", "purpose")
LEVEL = "level_given"  # by whoever rated the lesson, so that every lesson has it
WEIGHTED, ALIKE = "weighted", "weighted_lessons_alike"

_SELDOM = 0.95  # share of drawings by lot in which no line passes the limit


@dataclass(frozen=True, eq=False, repr=False)
class Selection(Shown):
    """What sets double-scored lessons apart, and agreement with and without allowing for it.

    Attributes
    ----------
    likeness
        From `likeness`, with ``value_weighted``, the difference that is left with the weights (NaN
        without), and ``n_candidates`` of the category, or with a number.
    by_chance
        Standardised difference that the largest of all lines exceeds once in twenty times where lessons are
        drawn by lot [sidak_1967].
    n_beyond, n_compared
        Lines whose difference does not meet the rule, of those that have one or on which the two sides
        have nothing in common.
    n_candidates
        Behind the double-scored lessons.
    weights
        From `inverse_probability_weights`; None where the lessons are alike.
    agreement
        Rows ``weighted`` and ``weighted_lessons_alike`` of `side_by_side`, with ``n_effective``
        lessons; no rows where there are no weights.
    """

    likeness: pd.DataFrame
    by_chance: float
    n_beyond: int
    n_compared: int
    n_candidates: int
    weights: LessonWeights | None
    agreement: pd.DataFrame


def compare(
    long: pd.DataFrame,
    pairs: pd.DataFrame,
    rubrics: pd.DataFrame,
    rules: Policy,
    *,
    more: pd.DataFrame | None = None,
) -> Selection:
    """Compare double-scored lessons with the rest, and weight agreement where they differ.

    Parameters
    ----------
    long, more
        As in `lesson_table`.
    pairs, rubrics
        As in `by_version`: the pairs that agreement is told of.
    rules
        Policy with the rows ``likeness_difference`` and ``confidence``.

    Notes
    -----
    Lessons are compared on their background and on the level that either role gave; in the weights the
    level is the mean of those there are, for a lesson that one role alone rated has no other. Where
    lessons are drawn by lot the difference of two groups of n and m has a standard error of about
    √(1/n + 1/m) [austin_2009].
    """
    lessons = lesson_table(long, more=more)
    background = [name for name in BACKGROUND if name in lessons.columns and lessons[name].nunique() > 1]
    levels = [name for name in lessons.columns if name.startswith("level_")]
    lessons = lessons.assign(**{LEVEL: lessons[levels].mean(axis=1)})
    found = likeness(lessons, [*background, *levels])
    sizes = [int(lessons["double_scored"].sum()), int((~lessons["double_scored"]).sum())]
    known = found["value"].dropna()
    parted = int((found["status"] == Status.NO_SPREAD.value).sum())
    by_chance = largest_by_chance(sizes[0], sizes[1], len(known) + parted)
    beyond = parted + int((~known.abs().map(rules.rule(RULE).met)).sum())
    weights = inverse_probability_weights(lessons, [*background, LEVEL]) if beyond else None
    found["n_candidates"] = [_people(lessons, *map(str, line)) for line in found.index]
    found["value_weighted"] = _after(lessons, [*background, *levels], weights)
    agreement = _agreement(pairs, rubrics, weights, rules.value("confidence"))
    people = int(lessons.loc[lessons["double_scored"], "candidate"].nunique())
    return Selection(found, by_chance, beyond, len(known) + parted, people, weights, agreement)


def largest_by_chance(n_double_scored: int, n_single_scored: int, n_lines: int) -> float:
    """Largest of several standardised differences, exceeded once in twenty times by lessons drawn by lot.

    By Šidák's inequality [sidak_1967]: lines that hang together exceed it less often. NaN where one side has
    no lesson or nothing is compared.
    """
    if not (n_double_scored and n_single_scored and n_lines):
        return math.nan
    one = 0.5 + 0.5 * _SELDOM ** (1 / n_lines)
    return float(stats.norm.ppf(one)) * math.sqrt(1 / n_double_scored + 1 / n_single_scored)


def _people(lessons: pd.DataFrame, column: str, category: str) -> int:
    """Candidates behind a line: those of the category, or those for whom the number is known."""
    given = lessons[column]
    of_line = categories(given) == category if category else given.notna()
    return int(lessons.loc[of_line, "candidate"].nunique())


def _usable(weights: LessonWeights | None) -> bool:
    return weights is not None and bool(weights.weights.notna().any())


def _after(lessons: pd.DataFrame, columns: Sequence[str], weights: LessonWeights | None) -> pd.Series | float:
    if weights is None or not _usable(weights):
        return math.nan
    return likeness(lessons, columns, weights=weights.weights)["value"]


def _agreement(
    pairs: pd.DataFrame, rubrics: pd.DataFrame, weights: LessonWeights | None, confidence: float
) -> pd.DataFrame:
    if weights is None or not _usable(weights) or pairs.empty:
        return pd.DataFrame()
    found = side_by_side(pairs, rubrics, confidence=confidence, lesson_weights=weights.weights)
    found = found[found.index.get_level_values("ratings").isin([WEIGHTED, ALIKE])]
    of_lesson = pairs.drop_duplicates([*VERSION, "observation"]).set_index(VERSION)["observation"]
    effective = {}
    for version, observations in of_lesson.groupby(VERSION, observed=True):
        given = weights.weights.reindex(observations).dropna().to_numpy(dtype=float)
        key = tuple(map(str, version))
        effective[(WEIGHTED, *key)] = effective_size(given) if len(given) else math.nan
        effective[(ALIKE, *key)] = float(len(given))
    return found.assign(n_effective=[effective[tuple(map(str, place[:3]))] for place in found.index])
