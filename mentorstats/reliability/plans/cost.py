"""What a plan costs, and the cheapest one that reaches a target."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.reliability.components.design import Design
from mentorstats.reliability.plans.projections import divisor
from mentorstats.tables import numbers

Floats = NDArray[np.float64]
Prices = Mapping[str | tuple[str, ...], float]


def costs(plan: Design, prices: Prices, points: Sequence[Mapping[str, int]]) -> Floats:
    """Cost of each plan for one object: Σ price × members met.

    Raises
    ------
    ArgumentError
        A name is no facet, or a price is below zero.
    """
    total = np.zeros(len(points))
    for key, price in prices.items():
        names = (key,) if isinstance(key, str) else tuple(key)
        unknown = [name for name in names if name not in plan.facets]
        if unknown:
            raise ArgumentError(f"cost names {unknown[0]!r}", allowed=plan.facets)
        if not price >= 0:
            raise ArgumentError(f"cost of {key!r} is {price!r}", allowed="a number from 0")
        total += price * np.array([divisor(plan, plan.closed(names), point) for point in points])
    return total


@entry()
def cheapest(
    plans: pd.DataFrame, target: float, *, coefficient: str = "dependability", limit: str = "value"
) -> pd.DataFrame:
    """Find the plan of least cost that reaches a target, for each scenario.

    Parameters
    ----------
    plans
        From ``d_study`` with ``cost``.
    target
        The coefficient that is wanted.
    coefficient
        ``"dependability"``, ``"generalizability"``, ``"dependability_at_cut"`` or ``"decision_consistency"``.
    limit
        ``"value"``: the estimate reaches it; ``"low"``: its lower limit does.

    Returns
    -------
    DataFrame
        The rows of these plans, none where no plan of the grid reaches the target; of equal costs the plan
        with the higher coefficient.

    Raises
    ------
    ArgumentError, ColumnError
        An option is unknown, or the table has no costs.
    """
    if limit not in ("value", "low"):
        raise ArgumentError(f"limit {limit!r} is not known", allowed=("value", "low"))
    column = coefficient if limit == "value" else f"{coefficient}_low"
    need_columns(plans.columns, ["cost", "scenario", coefficient, column], where="plans")
    if not np.isfinite(target):
        raise ArgumentError(f"target is {target!r}", allowed="a number, such as 0.8")
    plans = plans.assign(**{name: numbers(plans[name], "plans") for name in ("cost", coefficient, column)})
    reached = plans[plans[column] >= target]
    ordered = reached.sort_values(["cost", coefficient], ascending=[True, False], kind="stable")
    return ordered.groupby("scenario", sort=False).head(1).reset_index(drop=True)
