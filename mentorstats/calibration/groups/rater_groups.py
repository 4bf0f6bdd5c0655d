"""Does a rater treat one group of candidates differently from how other raters of the role treat it?

A rater's column is one for the group less its share among the rater's own ratings, so that neither the
rater's severity nor, set aside by role, the groups' difference in the eyes of all raters moves with it.
What is left is how much more, or less, than others of the role the rater gives the group.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.groups.sides import Sides, candidates, within
from mentorstats.estimate import Status
from mentorstats.mixed.local.score_test import Moves, Step, beside, dispersions, given, shifts, step
from mentorstats.policy import Rule

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_AT_A_TIME = 64  # raters whose dispersions are stepped along together, to bound the memory


@dataclass(frozen=True, slots=True)
class Seen:
    """What each rater saw of both sides, in the order of ``base.raters``.

    ``inside`` and ``rest`` count candidates, (raters,); ``status`` says who is compared.
    """

    inside: Ints
    rest: Ints
    status: NDArray[np.object_]
    note: NDArray[np.object_]

    @property
    def chosen(self) -> Ints:
        """Raters who are compared."""
        return np.flatnonzero(self.status == Status.OK.value)


def seen(base: Base, sides: Sides, each: Rule) -> Seen:
    """Count candidates of both sides, and say which raters can be compared."""
    count, of = len(base.raters), base.rater_of_row
    counts = [candidates(base, of, side, count) for side in (sides.inside, sides.rest)]
    by_others = base.rows.groupby("candidate", observed=True)["rater"].transform("nunique").to_numpy() > 1
    shared = [candidates(base, of, side & by_others, count) for side in (sides.inside, sides.rest)]
    few = ~np.array([each.met(a) and each.met(b) for a, b in zip(*counts, strict=True)], dtype=bool)
    apart = ~few & ~np.array([each.met(a) and each.met(b) for a, b in zip(*shared, strict=True)], dtype=bool)
    status = np.full(count, Status.OK.value, dtype=object)
    note = np.full(count, "", dtype=object)
    status[few], note[few] = Status.TOO_FEW_TO_SHOW.value, "too few candidates of one side"
    status[apart] = Status.UNLINKED.value
    note[apart] = "nobody else rated enough of these candidates, so nothing tells bias from a true difference"
    return Seen(counts[0], counts[1], status, note)


def severity(base: Base, sides: Sides, chosen: Ints) -> Step:
    """Step along the raters' differences between the sides, (raters chosen,)."""
    aside = _aside(base, sides)
    columns = sparse.csr_array(sparse.hstack([_centred(base, sides)[:, chosen], aside]))
    kept = np.arange(columns.shape[1]) < len(chosen)
    return given(step(base.at, shifts(columns)), kept)


def spread(base: Base, sides: Sides, chosen: Ints) -> tuple[Floats, Floats]:
    """Difference between the sides in the log dispersion of each rater's judgements, with errors.

    Set aside for each rater: the own dispersion and the shift between the sides; for all: the role's
    difference in both. Estimates and errors, (raters chosen,) each, NaN without information.
    """
    aside = _aside(base, sides)
    common = beside([dispersions(base.at, aside), shifts(aside)])
    estimates, errors = np.full(len(chosen), np.nan), np.full(len(chosen), np.nan)
    centred, own = _centred(base, sides), base.by_rater(sides.known.astype(float))
    for begin in range(0, len(chosen), _AT_A_TIME):
        some = chosen[begin : begin + _AT_A_TIME]
        moves = beside([_both(base, centred[:, some]), dispersions(base.at, own[:, some]), common])
        whole = step(base.at, moves)
        for j in range(len(some)):
            at = np.r_[j, len(some) + j, 2 * len(some) + j, np.arange(3 * len(some), len(whole.score))]
            one = Step(whole.score[at], whole.information[np.ix_(at, at)])
            estimate, error = given(one, np.arange(len(at)) == 0).alone()
            estimates[begin + j], errors[begin + j] = estimate[0], error[0]
    return estimates, errors


def _both(base: Base, columns: sparse.csr_array) -> Moves:
    return beside([dispersions(base.at, columns), shifts(columns)])


def _centred(base: Base, sides: Sides) -> sparse.csr_array:
    """A column a rater: the group less its weighted share among the rater's ratings of both sides."""
    weight = base.information * sides.known
    total = np.asarray(base.by_rater(weight).sum(axis=0)).ravel()
    of_group = np.asarray(base.by_rater(weight * sides.inside).sum(axis=0)).ravel()
    share = np.divide(of_group, total, out=np.zeros(len(total)), where=total > 0)
    return base.by_rater(np.where(sides.known, sides.inside - share[base.rater_of_row], 0.0))


def _aside(base: Base, sides: Sides) -> sparse.csr_array:
    """The group, and those of neither side, by role."""
    columns = [within(base, sides.inside, "rater_role")]
    if (~sides.known).any():
        columns.append(within(base, ~sides.known, "rater_role"))
    return sparse.csr_array(sparse.hstack(columns))


def counted(base: Base, found: Seen) -> pd.DataFrame:
    """Who is asked about: rater, role and counts, one row a rater and role."""
    return base.raters[["rater", "rater_role", "n_ratings"]].assign(
        n_candidates_group=found.inside, n_candidates_rest=found.rest
    )
