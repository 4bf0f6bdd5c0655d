"""Does the instrument measure the same thing for raters of all roles, cohorts, modes and versions?

Where it does, criteria keep their order of difficulty and cut-points their distances; a common difference
(one role more lenient, one cohort better) is no matter of the instrument and is left free.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import MEASURE
from mentorstats.calibration.groups import effect_rows
from mentorstats.calibration.groups.criterion_shifts import Shifts, criterion_rows, shifts_of
from mentorstats.calibration.groups.cut_points import between_versions, refitted
from mentorstats.calibration.groups.sides import Sides, compared, sizes
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.printed import Shown

VERSION = "rubric_version"
TESTS = {
    "criteria": "criteria are as hard relative to each other",
    "cut_points": "cut-points lie the same distances apart",
    "both": "both together",
}


@dataclass(frozen=True, repr=False)
class SameInstrument(Shown):
    """Whether criteria and cut-points are the same for the values of one column.

    Attributes
    ----------
    by
        Name of the column.
    groups
        One row a value: ``group``, ``n_candidates``, ``n_ratings``, ``status``, ``status_note``.
    tests
        One row a comparison and test (`TESTS`).
    criteria
        One row a comparison and criterion: the shift beside the common difference.
    cuts
        One row a comparison and cut-point, named by the rank above it: how much higher it lies.
    status, status_note
        Why there is nothing, where there is nothing.
    """

    by: str
    groups: pd.DataFrame
    tests: pd.DataFrame
    criteria: pd.DataFrame
    cuts: pd.DataFrame
    status: Status
    status_note: str


@entry()
def same_instrument(
    base: Base,
    policy: Policy,
    *,
    by: str,
    values: pd.Series | None = None,
    refit: bool = True,
    confidence: float | None = None,
) -> SameInstrument:
    """Test criteria and cut-points for the same difficulty, by a score test from the base fit.

    Parameters
    ----------
    base
        The base fit.
    policy
        Rules ``minimum_group_size``, ``fairness_bound``, ``instrument_screen`` and, unless given,
        ``confidence``.
    by
        A column of the fit's rows, such as ``rater_role`` or ``cohort``; ``rubric_version``, which compares
        criteria of the same code; or the name of ``values``' own column, such as ``visit_mode``.
    values
        Value of each lesson, indexed by observation, for a column that the ratings do not have.
    refit
        Whether a comparison that passes the screen is fitted again with all cut-points free.

    Notes
    -----
    Values are compared with the one that has most ratings. Versions of a rubric are never pooled: roles,
    cohorts and modes are compared within a version.
    """
    level = policy.value("confidence") if confidence is None else confidence
    if not has_value(base.status):
        return _nothing(by, base.status, base.status_note, None)
    labels = _labels(base, by, values)
    met = policy.rule("minimum_group_size").met
    counted = sizes(base, labels, met, "rater" if by == "rater_role" else "candidate")
    shown = counted.loc[counted["status"] == Status.OK, "group"].tolist()
    if len(counted) < 2:
        return _nothing(by, Status.NOT_IDENTIFIED, f"there is one value of {by} only", counted)
    if len(shown) < 2:
        note = "fewer than two values have as many people as the smallest group that is shown"
        return _nothing(by, Status.TOO_FEW_TO_SHOW, note, counted)
    reference = str(counted.set_index("group").loc[shown, "n_ratings"].idxmax())
    made: dict[str, list[pd.DataFrame]] = {"tests": [], "criteria": [], "cuts": []}
    for sides in compared(labels, shown, reference):
        found, method = _found(base, sides, met, by)
        if refit and by != VERSION and policy.rule("instrument_screen").met(found.tests["both"].p):
            again = refitted(base, sides, found)
            found, method = (again, "refit") if again is not None else (found, method)
        tables = _tables(base, sides, found, method, policy.value("fairness_bound"), level)
        for key, table in tables.items():
            table.insert(0, "group", sides.group)
            table.insert(1, "against", sides.against)
            made[key].append(table)
    joined = {key: pd.concat(parts, ignore_index=True) for key, parts in made.items()}
    return SameInstrument(by, counted, **joined, status=Status.OK, status_note="")


def _nothing(by: str, status: Status, note: str, groups: pd.DataFrame | None) -> SameInstrument:
    none = pd.DataFrame({"group": [], "n_candidates": [], "n_ratings": [], "status": [], "status_note": []})
    empty = (pd.DataFrame(), pd.DataFrame(), pd.DataFrame())
    return SameInstrument(by, none if groups is None else groups, *empty, status=status, status_note=note)


def _labels(base: Base, by: str, values: pd.Series | None) -> pd.Series:
    if values is None:
        need_columns(base.rows.columns, [by], where="the rows of the base fit")
        if by == VERSION:
            rubrics = base.rows["rubric"].nunique()
            names = base.rows["rubric"].astype("str") + " " if rubrics > 1 else ""
            return pd.Series(names + base.rows[by].astype("str"))
        return base.rows[by]
    if values.index.has_duplicates:
        raise ArgumentError("a lesson stands in values twice", remedy="Give one value a lesson.")
    return base.rows["observation"].astype("str").map(values.rename(index=str))


def _found(base: Base, sides: Sides, met: Callable[[float], bool], by: str) -> tuple[Shifts, str]:
    if by == VERSION:
        return between_versions(base, sides, met), "wald"
    return shifts_of(base, sides, met), "one_step"


def _tables(
    base: Base, sides: Sides, found: Shifts, method: str, bound: float, confidence: float
) -> dict[str, pd.DataFrame]:
    criteria = criterion_rows(base, found, bound=bound, confidence=confidence)
    if not criteria.empty:
        unit = "criterion" if method == "wald" else MEASURE
        for place, (column, side) in enumerate(
            (("n_candidates_group", sides.inside), ("n_candidates_rest", sides.rest))
        ):
            of = base.rows[side].groupby(unit)["candidate"].nunique()
            own = criteria["criterion" if method == "wald" else "measure"]
            criteria.insert(3 + place, column, own.map(of).to_numpy())
        criteria = criteria.drop(columns="measure")
    cuts = effect_rows.rows(
        found.cuts["estimate"].to_numpy(dtype=float),
        found.cuts["se"].to_numpy(dtype=float),
        bound=bound,
        confidence=confidence,
        scale=lambda shift: -base.on_level_scale(-shift),
        slope=base.level_slope,
        suffix="level",
        reference="rao_1948",
    )
    return {
        "tests": _tests(found, method),
        "criteria": criteria,
        "cuts": cuts.assign(above=found.cuts["above"].to_numpy()),
    }


def _tests(found: Shifts, method: str) -> pd.DataFrame:
    rows = []
    for name, test in found.tests.items():
        known = test.df > 0
        rows.append(
            {
                "test": name,
                "statistic": test.statistic,
                "df": test.df,
                "p": test.p,
                "scatter": test.scatter,
                "method": method if known else "none",
                "status": (Status.OK if known else Status.NOT_IDENTIFIED).value,
                "status_note": ""
                if known
                else "fewer than two criteria of one version were rated enough by both",
                "reference": "rao_1948",
            }
        )
    return pd.DataFrame(rows)
