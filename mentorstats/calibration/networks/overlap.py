"""Which raters served in two cohorts, at two sites or under two versions of a rubric?

Where none did, a difference between the two cannot be told from one between their raters.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from mentorstats.calibration.networks.codes import PLACES, RUBRIC_VERSION, forms
from mentorstats.calibration.networks.graphs import joined
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status

BY = {**{name: name for name in PLACES}, "rubric_version": RUBRIC_VERSION}


@entry()
def in_common(ratings: pd.DataFrame, *, by: str = "cohort", dependent: bool = False) -> pd.DataFrame:
    """Count the raters that each two cohorts, sites or versions have in common, by role.

    Parameters
    ----------
    ratings, dependent
        As in `linkage`.
    by
        cohort, site or rubric_version.

    Returns
    -------
    DataFrame
        Indexed by rater_role, first and second: ``n_raters_first``, ``n_raters_second``,
        ``n_raters_both``, ``n_networks`` that hold raters of the role from both, ``status`` and
        ``status_note``. Without a rater in common the status is cohort_is_rater, for sites and versions
        unlinked, unless a network joins their raters through others.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or ``by`` is something else.
    """
    if by not in BY:
        raise ArgumentError(f"by is {by!r}", allowed=list(BY))
    need_columns(ratings.columns, [by], where="ratings")
    found = forms(ratings, dependent=dependent)
    raters, codes = len(found.raters), found.places[BY[by]]
    names = found.names[BY[by]]
    there = np.zeros((len(names), raters), dtype=bool)
    there[codes, found.rater] = True
    network = joined(found.rater, [found.candidate], raters)
    missing = Status.COHORT_IS_RATER if by == "cohort" else Status.UNLINKED
    rows = [
        (role, names[a], names[b], *_pair(there[a] & own, there[b] & own, network, missing))
        for number, role in enumerate(found.roles)
        for own in [found.role == number]
        for a, b in combinations(range(len(names)), 2)
    ]
    columns = ["n_raters_first", "n_raters_second", "n_raters_both", "n_networks", "status", "status_note"]
    index = ["rater_role", "first", "second"]
    table = pd.DataFrame(rows, columns=[*index, *columns])
    return table.astype(dict.fromkeys([*index, *columns[-2:]], "str")).set_index(index)


def _pair(
    first: np.ndarray, second: np.ndarray, network: np.ndarray, missing: Status
) -> tuple[int, int, int, int, str, str]:
    both = int((first & second).sum())
    networks = len(np.intersect1d(network[first], network[second]))
    status, note = Status.OK, ""
    if not (first.any() and second.any()):
        status, note = Status.NO_RECORDS, "One of the two has no rater of the role."
    elif not both and not networks:
        status, note = missing, "No rater in common, nor a chain of raters and candidates."
    elif not both:
        note = "No rater in common; joined only by a chain of raters and candidates."
    return int(first.sum()), int(second.sum()), both, networks, status.value, note
