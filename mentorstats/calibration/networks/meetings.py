"""Whom each rater met, and over what: lessons and candidates that raters have in common."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.networks.codes import Forms
from mentorstats.calibration.networks.graphs import shared

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


def counts(found: Forms) -> dict[str, Ints]:
    """Numbers of each rater, (raters,) each: lessons, candidates, those shared, raters met."""
    rater, raters = found.rater, len(found.raters)
    lessons, candidates = _shared(rater, found.lesson), _shared(rater, found.candidate)
    met = shared(*pairs(rater, found.candidate), raters).tocoo()
    same = found.role[met.row] == found.role[met.col]
    return {
        "n_lessons": _different(rater, found.observation, raters),
        "n_candidates": _different(rater, found.person, raters),
        "n_shared_lessons": _different(rater, np.where(lessons, found.observation, -1), raters),
        "n_shared_candidates": _different(rater, np.where(candidates, found.person, -1), raters),
        "n_met_same_role": np.bincount(met.row[same], minlength=raters),
        "n_met_other_role": np.bincount(met.row[~same], minlength=raters),
    }


def shared_lessons(found: Forms) -> sparse.csr_array:
    """Lessons that each two raters have in common, as `mentorstats.calibration.graphs.shared`."""
    return shared(*pairs(found.rater, found.lesson), len(found.raters))


def pairs(rater: Ints, thing: Ints) -> tuple[Ints, Ints]:
    """Different pairs of a rater and a thing that is known."""
    known = thing >= 0
    wide = int(thing.max(initial=0)) + 1
    found = np.sort(rater[known] * wide + thing[known])
    found = found[np.append(found[:1] >= 0, found[1:] > found[:-1])]
    return found // wide, found % wide


def _different(rater: Ints, thing: Ints, raters: int) -> Ints:
    """Different things of each rater."""
    return np.bincount(pairs(rater, thing)[0], minlength=raters)


def _shared(rater: Ints, thing: Ints) -> Flags:
    """Whether another rater has the thing of each row too."""
    often = np.bincount(pairs(rater, thing)[1], minlength=int(thing.max(initial=-1)) + 1)
    return np.asarray((np.append(often, 0)[thing] > 1) & (thing >= 0))
