"""Components as estimated, whichever way: values, limits, and draws of what they might be instead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mentorstats.estimate import Status

Floats = NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Floats]


@dataclass(frozen=True)
class Estimated:
    """Variance components of the all-random model, in the order of the components told apart.

    Attributes
    ----------
    raw : (e,)
        May be negative for mean squares; NaN where there is no value.
    low, high : (e,)
        Limits, never below zero.
    covariance : (e, e)
        Sampling covariance of the raw values.
    limit_methods, statuses, notes
        One a component.
    draw
        Components that are as compatible with the data, (draws, e); below zero where an estimate could be.
    draw_method
        How they are drawn.
    """

    raw: Floats
    low: Floats
    high: Floats
    covariance: Floats
    limit_methods: tuple[str, ...]
    statuses: tuple[Status, ...]
    notes: tuple[str, ...]
    draw: Draw
    draw_method: str


AT_ZERO = "The estimate is {raw:.3g}; a variance cannot be, so it is taken at zero: small, not absent."
FEW = 5  # members, as for the mixed models


def value_status(raw: float, members: int = FEW) -> tuple[Status, str]:
    """Status of a component that has a value."""
    if raw <= 0:
        return Status.BOUNDARY, AT_ZERO.format(raw=raw)
    if members < FEW:
        return Status.FEW_LEVELS, f"{members} members: a variance between them is known very poorly."
    return Status.OK, ""
