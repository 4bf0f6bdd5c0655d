"""The weighted mean of a chart over time: its values, its errors, and how long it runs without a signal."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NODES = 80  # of the integral equation; more change nothing in the ninth digit


def check(smoothing: float, width: float) -> None:
    """Raise ArgumentError where a setting is out of its range."""
    if not 0 < smoothing <= 1:
        raise ArgumentError(f"smoothing {smoothing!r}", allowed="above 0, at most 1")
    if not width > 0:
        raise ArgumentError(f"width {width!r}", allowed="standard errors, above 0")


def weighted_means(values: Floats, centre: Floats | float, smoothing: float) -> Floats:
    """Weighted mean of all days so far, starting at the centre; days along the last axis."""
    out = np.empty_like(values)
    before = np.broadcast_to(np.asarray(centre, dtype=np.float64), values.shape[:-1])
    for day in range(values.shape[-1]):
        before = smoothing * values[..., day] + (1 - smoothing) * before
        out[..., day] = before
    return out


def weighted_errors(n: Ints, sd: float, smoothing: float) -> Floats:
    """Standard errors of the weighted means of days of n recordings."""
    variance, out = 0.0, np.empty(len(n))
    for day, size in enumerate(n):
        variance = smoothing**2 * sd**2 / size + (1 - smoothing) ** 2 * variance
        out[day] = math.sqrt(variance)
    return out


@entry()
def average_run_length(smoothing: float, width: float, shift: float = 0.0) -> float:
    """Days until a weighted mean first leaves its limits, on average [crowder_1987].

    Parameters
    ----------
    smoothing, width
        As in `control_charts`; 1 is a chart of single days.
    shift
        Lasting change of the mean, in standard errors of a day's mean; 0 gives the time between false
        signals.

    Notes
    -----
    For normal values, limits of the long run and a centre that is known: a guide, where the simulated
    probabilities of `control_charts` are for the run at hand.
    """
    check(smoothing, width)
    edge = width * math.sqrt(smoothing / (2 - smoothing))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    nodes, weights = edge * nodes, edge * weights
    kernel = stats.norm.pdf((nodes[None, :] - (1 - smoothing) * nodes[:, None]) / smoothing - shift)
    kernel = kernel * weights / smoothing
    lengths = np.linalg.solve(np.eye(_NODES) - kernel, np.ones(_NODES))
    start = stats.norm.pdf(nodes / smoothing - shift) * weights / smoothing
    return float(1 + start @ lengths)
