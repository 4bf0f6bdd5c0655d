"""How many lessons should be double-scored next time, going by what was found this time?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients.intervals import LEAST_CLUSTERS
from mentorstats.agreement.counts.pairing import ROLES, VERSION, each_version, stacked
from mentorstats.agreement.reading.planning import (
    disagreement_correlation,
    double_scores_needed,
    of_joint,
    precision,
)
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.policy import Policy

Array: TypeAlias = npt.NDArray[np.float64]

HALF_WIDTH, FLOOR, POWER = "agreement_half_width", "agreement_floor", "agreement_power"
MIDDLE, ALL = "middle_criterion", "all_criteria"
# A programme can plan ten times the lessons that it has now, and some hundreds in any case; common practice,
# no source.
REACH, ANYWHERE = 10, 500
CAREFUL = 0.1  # added to the correlation, which has no interval; common practice, no source
WEIGHTS = "quadratic"


def needed(pairs: pd.DataFrame, rubrics: pd.DataFrame, rules: Policy) -> pd.DataFrame:
    """Plan double-scoring for weighted kappa of one criterion, and of all together.

    The criterion is the one whose kappa is the middle one of its version (the lower of two).

    Parameters
    ----------
    pairs, rubrics
        As in `by_version`.
    rules
        Policy with the rows ``agreement_half_width``, ``agreement_floor``, ``agreement_power`` and
        ``confidence``.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, ``planned_for`` (``middle_criterion``, ``all_criteria``) and
        ``scenario`` (``as_estimated``; ``careful``, with a correlation .1 higher, because it has no
        interval): ``criterion``, ``value`` (kappa of the shares of paired levels), ``correlation`` (zero
        where it is estimated below), ``pairs_per_cluster``, ``n_candidates`` and ``n_lessons`` there are,
        ``half_width`` to expect of as many, ``n_lessons_half_width`` and ``n_lessons_floor`` (double-scored
        lessons needed, the same number a candidate), each with a status of its own: missing and
        ``not_reachable`` where no number is enough, or more than 500 and ten times as many as there are;
        status, status_note, reference.

    Notes
    -----
    As in `double_scores_needed`, from all shares of paired levels as they are.
    """
    rows = {}
    for version, chosen, n_levels in each_version(pairs, rubrics):
        criterion = _middle(chosen, n_levels)
        for what, name, part in (
            (MIDDLE, criterion, chosen[chosen["criterion"].astype("str") == criterion]),
            (ALL, "", chosen),
        ):
            given = _given(part, n_levels)
            for scenario, more in (("as_estimated", 0.0), ("careful", CAREFUL)):
                row = _planned(given, given.correlation + more, rules)
                rows[(*version, what, scenario)] = {"criterion": name} | row
    if not rows:
        return pd.DataFrame()
    index = pd.MultiIndex.from_tuples(list(rows), names=[*VERSION, "planned_for", "scenario"])
    found = pd.DataFrame(list(rows.values()), index=index)
    counts = ["n_candidates", "n_lessons", "n_lessons_half_width", "n_lessons_floor"]
    return found.astype(dict.fromkeys(counts, "Int64"))


@dataclass(frozen=True, slots=True)
class _Given:
    """What the pairs say that a plan rests on."""

    shares: Array
    kappa: float
    correlation: float
    candidates: int
    lessons: int
    pairs: int

    def expected_half_width(self, correlation: float, confidence: float) -> float:
        """Half-width to expect of as many double-scored lessons again."""
        found = precision(
            self.candidates,
            kappa=self.kappa,
            margins=self.shares,
            pairs=self.pairs / self.candidates,
            correlation=correlation,
            weights=WEIGHTS,
            confidence=confidence,
        )
        return float(found["half_width"].iloc[0])

    def lessons_for(
        self,
        correlation: float,
        confidence: float,
        *,
        half_width: float | None = None,
        floor: float | None = None,
        power: float = 0.8,
    ) -> int | None:
        """Lessons that are enough, or None where those of 10 million candidates are not."""
        try:
            found = double_scores_needed(
                kappa=self.kappa,
                margins=self.shares,
                half_width=half_width,
                floor=floor,
                power=power,
                pairs=self.pairs / self.candidates,
                lessons=self.lessons / self.candidates,
                correlation=correlation,
                weights=WEIGHTS,
                confidence=confidence,
            )
        except ArgumentError:
            return None
        return int(found["n_lessons"].iloc[0])


def _middle(chosen: pd.DataFrame, n_levels: int) -> str:
    """Criterion with the middle kappa; one without kappa only where none has any."""
    found = {}
    for criterion, rows in chosen.groupby("criterion", observed=True, sort=True):
        found[str(criterion)] = _kappa(_shares(rows, n_levels))
    known = sorted((kappa, name) for name, kappa in found.items() if not math.isnan(kappa))
    return known[(len(known) - 1) // 2][1] if known else min(found)


def _shares(rows: pd.DataFrame, n_levels: int) -> Array:
    """Share of every pair of ranks (q, q), first side in rows."""
    table = np.zeros((n_levels, n_levels))
    first, second = (rows[f"rank_{side}"].to_numpy(dtype=np.intp) - 1 for side in ("first", "second"))
    np.add.at(table, (first, second), 1.0)
    return np.asarray(table / table.sum(), dtype=np.float64)


def _kappa(shares: Array) -> float:
    try:
        return of_joint(shares, weights=WEIGHTS).kappa
    except ArgumentError:  # one level only
        return math.nan


def _given(rows: pd.DataFrame, n_levels: int) -> _Given:
    shares = _shares(rows, n_levels)
    correlated = disagreement_correlation(
        stacked(rows, names=ROLES),
        unit="pair",
        rater="side",
        level="rank",
        levels=range(1, n_levels + 1),
        cluster="candidate",
        weights=WEIGHTS,
    )["value"].iloc[0]
    return _Given(
        shares,
        _kappa(shares),
        max(float(correlated), 0.0) if not math.isnan(correlated) else 0.0,
        rows["candidate"].nunique(),
        rows["observation"].nunique(),
        len(rows),
    )


def _planned(given: _Given, correlation: float, rules: Policy) -> dict[str, object]:
    correlation, confidence = min(correlation, 1.0), rules.value("confidence")
    floor, width = rules.value(FLOOR), rules.value(HALF_WIDTH)
    row: dict[str, object] = {
        "value": given.kappa,
        "correlation": correlation,
        "pairs_per_cluster": given.pairs / given.candidates,
        "n_candidates": given.candidates,
        "n_lessons": given.lessons,
        "half_width": math.nan,
        "n_lessons_half_width": pd.NA,
        "n_lessons_floor": pd.NA,
        "n_lessons_half_width_status": Status.NOT_IDENTIFIED.value,
        "n_lessons_floor_status": Status.NOT_IDENTIFIED.value,
        "status": Status.OK.value,
        "status_note": "",
        "reference": "fleiss_cohen_everitt_1969",
    }
    if math.isnan(given.kappa) or given.kappa >= 1:
        one = math.isnan(given.kappa)
        status = Status.ONE_LEVEL_USED if one else Status.NO_DISAGREEMENT
        return row | {"status": status.value, "status_note": "Nothing varies that a plan could rest on."}
    if given.candidates >= LEAST_CLUSTERS:
        row["half_width"] = given.expected_half_width(correlation, confidence)
    wanted = {"n_lessons_half_width": given.lessons_for(correlation, confidence, half_width=width)}
    if given.kappa > floor:
        power = rules.value(POWER)
        wanted["n_lessons_floor"] = given.lessons_for(correlation, confidence, floor=floor, power=power)
    return row | _within_reach(wanted, given.lessons)


def _within_reach(wanted: dict[str, int | None], lessons: int) -> dict[str, object]:
    """Numbers of lessons with their status; one that is too far off is not given."""
    found: dict[str, object] = {"n_lessons_floor_status": Status.NOT_REACHABLE.value}
    for name, n in wanted.items():
        reached = n is not None and n <= max(REACH * lessons, ANYWHERE)
        found[name] = n if reached else pd.NA
        found[name + "_status"] = (Status.OK if reached else Status.NOT_REACHABLE).value
    return found
