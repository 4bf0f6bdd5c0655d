"""Results: a number never travels without its interval, method, n, status and reference.

An estimate that cannot be computed is a result with a status and a reason; bad input is an error.
The list of statuses is data_dictionary/vocabulary/statuses.toml, and a test keeps the two equal.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


class Status(StrEnum):
    """Why a number is, or is not, there."""

    OK = "ok"
    ONE_LEVEL_USED = "one_level_used"
    ONE_RATER = "one_rater"
    ONE_UNIT = "one_unit"
    NO_DOUBLE_SCORES = "no_double_scores"
    NO_DISAGREEMENT = "no_disagreement"
    NO_SPREAD = "no_spread"
    UNLINKED = "unlinked"
    BY_ASSUMPTION = "by_assumption"
    NOT_IDENTIFIED = "not_identified"
    ASSIGNMENT_NOT_IGNORABLE = "assignment_not_ignorable"
    COHORT_IS_RATER = "cohort_is_rater"
    BOUNDARY = "boundary"
    SATURATED = "saturated"
    SEPARATED = "separated"
    RANK_DEFICIENT = "rank_deficient"
    FEW_LEVELS = "few_levels"
    FEW_CLUSTERS = "few_clusters"
    TOO_FEW_CLUSTERS = "too_few_clusters"
    SPARSE_RATERS = "sparse_raters"
    LAPLACE_THIN = "laplace_thin"
    KR_NOT_AVAILABLE = "kr_not_available"
    RESAMPLING_FAILED = "resampling_failed"
    NOT_CONVERGED = "not_converged"
    TOO_FEW_TO_SHOW = "too_few_to_show"
    TOO_FEW_TO_ASSESS = "too_few_to_assess"
    NO_RECORDS = "no_records"


_WITHOUT_VALUE = frozenset(
    {
        Status.ONE_LEVEL_USED,
        Status.ONE_RATER,
        Status.ONE_UNIT,
        Status.NO_DOUBLE_SCORES,
        Status.NO_SPREAD,
        Status.UNLINKED,
        Status.NOT_IDENTIFIED,
        Status.ASSIGNMENT_NOT_IGNORABLE,
        Status.COHORT_IS_RATER,
        Status.SATURATED,
        Status.SEPARATED,
        Status.RANK_DEFICIENT,
        Status.NOT_CONVERGED,
        Status.TOO_FEW_TO_SHOW,
        Status.TOO_FEW_TO_ASSESS,
        Status.NO_RECORDS,
    }
)


def has_value(status: Status) -> bool:
    """Whether an estimate may stand beside this status."""
    return status not in _WITHOUT_VALUE


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One estimate with everything a reader needs to judge it.

    Fields not known are NaN (numbers) or None (counts); ``value`` is NaN wherever the status
    allows none, and the constructor refuses anything else.
    """

    name: str
    value: float = math.nan
    se: float = math.nan
    low: float = math.nan
    high: float = math.nan
    confidence: float = math.nan
    interval_method: str = "none"
    generalises_to: str = ""
    n_units: int | None = None
    n_raters: int | None = None
    n_ratings: int | None = None
    n_clusters: int | None = None
    n_left_out: int | None = None
    p_observed: float = math.nan
    p_expected: float = math.nan
    status: Status = Status.OK
    status_note: str = ""
    reference: str = ""

    def __post_init__(self) -> None:
        if not has_value(self.status) and not math.isnan(self.value):
            raise ValueError(f"{self.name}: status {self.status} goes with no value, got {self.value}")


_COUNTS = ("n_units", "n_raters", "n_ratings", "n_clusters", "n_left_out")


def to_frame(estimates: Iterable[Estimate], *, index: str = "name") -> pd.DataFrame:
    """One row an estimate, indexed by name; counts are Int64 with NA where unknown.

    Parameters
    ----------
    estimates
        Any number of estimates, none included.
    index
        Name of the index, for example ``coefficient``.
    """
    import pandas as pd

    rows = list(estimates)
    names = [field.name for field in fields(Estimate) if field.name != "name"]
    frame = pd.DataFrame(
        {name: [getattr(row, name) for row in rows] for name in names},
        index=pd.Index([row.name for row in rows], name=index, dtype="str"),
    )
    for name in _COUNTS:
        frame[name] = frame[name].astype("Int64")
    for name in ("interval_method", "generalises_to", "status", "status_note", "reference"):
        frame[name] = frame[name].astype("str")
    return frame
