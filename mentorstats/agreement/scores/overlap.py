"""What units share: raters of pairs of units, and ratings of a unit on average, from codes alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Sharing:
    """How the scores of objects, the means of their ratings, share members of another grouping.

    Attributes
    ----------
    own
        Mean over objects of Σ w², the weight of the other's variance in one score.
    apart
        The same less what two objects share on average: its weight in how scores differ.
    """

    own: float
    apart: float


def sharing(objects: Codes, others: Codes) -> Sharing:
    """Sharing between objects and members of another grouping, both codes of ratings (n,).

    One object has nobody to share with: ``apart`` is NaN.
    """
    n_objects, n_others = int(objects.max()) + 1, int(others.max()) + 1
    key, times = np.unique(objects.astype(np.int64) * n_others + others, return_counts=True)
    of_object, of_other = np.divmod(key, n_others)
    weight = times / np.bincount(objects)[of_object]
    own = float(weight @ weight)
    columns = np.bincount(of_other, weights=weight, minlength=n_others)
    pairs = n_objects * (n_objects - 1)
    shared = (float(columns @ columns) - own) / pairs if pairs else math.nan
    return Sharing(own / n_objects, own / n_objects - shared)


def harmonic_mean(objects: Codes) -> float:
    """Harmonic mean of the ratings of each object, codes of ratings (n,)."""
    return float(1 / np.mean(1 / np.bincount(objects)))
