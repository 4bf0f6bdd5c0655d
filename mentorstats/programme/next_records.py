"""Which few records more would answer what these could not, and by how much?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from mentorstats.entry import entry
from mentorstats.estimate import Status
from mentorstats.programme.change import Change
from mentorstats.programme.cohorts import Comparison
from mentorstats.programme.coverage import Coverage

LINKING = 2  # lessons that join a group with another one, and keep it joined if one of them is lost
SITTINGS = 2  # a year: fewer show no change

COLUMNS = ["about", "by", "n", "now", "then", "status"]


@entry()
def what_next(
    present: Coverage, compared: Mapping[str, Comparison], changed: Change, *, n_raters: int
) -> pd.DataFrame:
    """List the smallest change in records for each open question.

    Parameters
    ----------
    present, compared, changed
        From `expected_and_present`, `compare_groups` by what was compared, and `rated_change`.
    n_raters
        Raters who serve.

    Returns
    -------
    DataFrame
        One row a kind of record, what helps most groups first: ``about``

        - ``link``: lessons rated by a rater of another group; ``now`` no value, ``then`` the median
        half-width of the intervals of groups that are joined already, in levels.
        - ``candidates``: candidates more in each group until the interval of the closest undecided contrast
          lies within the bound, were it to stay where it is; ``now`` and ``then`` its half-width. Errors fall
          with the root of the number.
        - ``lessons``: lessons more of each candidate, twice as many as now; ``now`` and ``then`` the
          reliability of a candidate's change, by Spearman and Brown's formula [brown_1910] [spearman_1910].
        - ``late``: late lessons for completed placements without one; ``now`` and ``then`` the share with
        one. - ``rechecks``: lessons scored by experts that all raters score again; what they bound is not
        known before they are there, so ``now`` and ``then`` have no value.

        ``by`` is what was compared, ``n`` how many records, status.
    """
    rows = [row for by, one in compared.items() for row in (_link(by, one), _candidates(by, one))]
    rows += [_lessons(present, changed), _late(present)]
    if n_raters:
        rows.append(_row("rechecks", "", SITTINGS * n_raters, math.nan, math.nan, Status.NOT_ASSESSED))
    return pd.DataFrame([row for row in rows if row is not None], columns=COLUMNS)


def _row(about: str, by: str, n: int, now: float, then: float, status: Status = Status.OK) -> dict[str, Any]:
    return {"about": about, "by": by, "n": n, "now": now, "then": then, "status": status.value}


def _link(by: str, one: Comparison) -> dict[str, Any] | None:
    lost = int(one.means["status"].isin([Status.UNLINKED, Status.COHORT_IS_RATER]).sum())
    if not lost:
        return None
    # k groups apart from all others need k links; where none is joined to any, one fewer.
    needed = max(lost - (lost == len(one.means)), 1)
    half = ((one.contrasts["high"] - one.contrasts["low"]) / 2).astype("float64")
    if not half.notna().any():
        return _row("link", by, LINKING * needed, math.nan, math.nan, Status.NOT_ASSESSED)
    return _row("link", by, LINKING * needed, math.nan, float(half.median()))


def _candidates(by: str, one: Comparison) -> dict[str, Any] | None:
    room = one.contrasts["bound"] - one.contrasts["value"].abs()
    open_ = one.contrasts[(one.contrasts["equivalence"] == "undecided") & (room > 0)]
    if open_.empty:
        return None
    half = (open_["largest"] - open_["value"].abs()).astype("float64")
    left = room[open_.index].astype("float64")
    factor = (half / left) ** 2
    at = int(factor.to_numpy().argmin())
    size = float(one.means["n_candidates"].median())
    more = max(math.ceil(size * (factor.iloc[at] - 1)), 1)
    return _row("candidates", by, more, float(half.iloc[at]), float(left.iloc[at]))


def _lessons(present: Coverage, changed: Change) -> dict[str, Any] | None:
    known = float(changed.slopes["reliability"].iloc[0])
    if not 0 < known < 1 or ("all", "all") not in present.groups.index:
        return None
    whole = present.groups.xs("all", level="by").iloc[0]
    each = int(np.round(whole["n_lessons"] / whole["n_placements"]))
    return _row("lessons", "", each, known, 2 * known / (1 + known))


def _late(present: Coverage) -> dict[str, Any] | None:
    if ("all", "all") not in present.groups.index:
        return None
    whole = present.groups.xs("all", level="by").iloc[0]
    without = int(whole["n_dated"] - whole["n_late"])
    return _row("late", "", without, float(whole["share_late"]), 1.0) if without else None
