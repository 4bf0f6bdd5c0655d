"""Two sides of a comparison between groups of candidates, lessons or ratings, and their columns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.base import Base
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

REST = "all others"


@dataclass(frozen=True, slots=True)
class Sides:
    """A group and what it is compared with, by rating.

    Attributes
    ----------
    group, against
        Names.
    inside, rest
        Whether the rating is of the group, and of what it is compared with, (n,) each. A rating of
        neither (not recorded, or of a group too small to show) helps to estimate everything else.
    """

    group: str
    against: str
    inside: Bools
    rest: Bools

    @property
    def known(self) -> Bools:
        """Ratings of either side, (n,)."""
        return self.inside | self.rest


def sizes(base: Base, labels: pd.Series, met: Callable[[float], bool], people: str) -> pd.DataFrame:
    """One row a group, by name: ``group``, ``n_candidates``, ``n_ratings``, status and note.

    Parameters
    ----------
    labels
        Group of each of the fit's rows; missing where not recorded.
    met
        Whether a number of people is large enough to show.
    people
        Column of rows that says who counts as a person: ``candidate``, or also ``rater``.
    """
    counted = [
        (
            str(name),
            rows["candidate"].nunique(),
            len(rows),
            all(met(rows[who].nunique()) for who in {"candidate", people}),
        )
        for name, rows in base.rows.groupby(labels.to_numpy(), observed=True, sort=True)
    ]
    found = pd.DataFrame(counted, columns=["group", "n_candidates", "n_ratings", "enough"])
    enough = found.pop("enough").to_numpy(dtype=bool)
    found["status"] = np.where(enough, Status.OK.value, Status.TOO_FEW_TO_SHOW.value)
    found["status_note"] = np.where(enough, "", "fewer people than the smallest group that is shown")
    return found


def compared(labels: pd.Series, shown: Sequence[str], reference: str | None) -> list[Sides]:
    """Comparisons among the groups that are shown: each with the rest, or with the reference.

    Two groups are one comparison, of the smaller with the larger.
    """
    if reference is not None and reference not in shown:
        raise ArgumentError(
            f"the reference {reference!r} is no group that is large enough",
            allowed=shown or "none here",
            remedy="Name a group with enough candidates, or none.",
        )
    values = labels.astype(object).map(str, na_action="ignore").to_numpy()
    among = pd.Series(values).isin(list(shown)).to_numpy()
    if len(shown) < 2:
        return []
    if len(shown) == 2 and reference is None:
        reference = max(shown, key=lambda name: int((values == name).sum()))
    if reference is not None:
        others = [name for name in shown if name != reference]
        return [Sides(name, reference, values == name, values == reference) for name in others]
    return [Sides(name, REST, values == name, among & (values != name)) for name in shown]


def within(base: Base, side: Bools, column: str) -> sparse.csr_array:
    """A column for each value of a column of the rows, one where the rating is of the side."""
    codes, names = pd.factorize(base.rows[column], sort=True)
    n = len(codes)
    return sparse.csr_array((side.astype(float), (np.arange(n), codes)), shape=(n, len(names)))


def candidates(base: Base, of: NDArray[np.int64], side: Bools, count: int) -> NDArray[np.int64]:
    """Number of candidates on one side for each of ``count`` members, ``of`` numbering them by rating."""
    seen = pd.DataFrame({"member": of[side], "candidate": base.rows["candidate"].to_numpy()[side]})
    return np.bincount(seen.drop_duplicates()["member"], minlength=count).astype(np.int64)
