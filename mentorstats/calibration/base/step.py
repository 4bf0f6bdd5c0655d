"""One Newton step from a fit towards columns that it does not hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NOTHING = 1e-8  # share of a column's information that has to be left; less is rounding


@dataclass(frozen=True, slots=True)
class Step:
    """Columns that the fit does not hold, by one Newton step from it.

    Attributes
    ----------
    score
        Slope of the log-likelihood towards each column's coefficient, (q,).
    information
        Information on the coefficients when everything in the fit may move with them, (q, q).
    """

    score: Floats
    information: Floats

    def alone(self) -> tuple[Floats, Floats]:
        """Each coefficient as if its column were the only one added: estimates and errors, (q,) each.

        NaN where the data hold no information.
        """
        own = np.where(np.diagonal(self.information) > 0, np.diagonal(self.information), np.nan)
        return self.score / own, 1 / np.sqrt(own)

    def together(self) -> tuple[Floats, Floats]:
        """All coefficients added at once: estimates (q,) and their covariance (q, q).

        Where columns cannot all be told apart the least of all solutions, so that raters of one network
        add up to zero.
        """
        size = np.sqrt(np.where(np.diagonal(self.information) > 0, np.diagonal(self.information), 1.0))
        bare = self.information / np.outer(size, size)
        covariance = np.linalg.pinv(bare, rcond=NOTHING, hermitian=True) / np.outer(size, size)
        return covariance @ self.score, covariance
