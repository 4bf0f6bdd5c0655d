"""To whom does an interval speak? Who was clustered may be new; who was not is taken as given."""

from collections.abc import Sequence

import pandas as pd

LESSONS = "new lessons of these candidates and raters"
RATERS = frozenset({"rater", "mentor", "supervisor", "trainer", "observer"})  # columns that name who rates


def of_columns(ratings: pd.DataFrame, clustered_by: Sequence[str], rater: Sequence[str]) -> str:
    """Words for the result column ``generalises_to``.

    Parameters
    ----------
    ratings
        One row a rating.
    clustered_by
        The cluster columns that matter: none, one, or those that are crossed.
    rater
        The columns that name who rated. A cluster column means raters where it bears the name of a
        role that rates, or where all its values are raters.
    """
    members = []
    for column in clustered_by:
        is_rater = column.lower() in RATERS or _names_raters(ratings, column, rater)
        members.append("raters" if is_rater else _plural(column))
    return of_members(list(dict.fromkeys(members)))


def of_members(members: Sequence[str]) -> str:
    """Words for clusters of these members, ``raters`` among them or not."""
    if not members:
        return LESSONS
    new = " and ".join(f"new {name}" for name in members)
    if "raters" not in members:
        return f"{new}, these raters"
    return new if len(members) > 1 else f"{new}, these candidates"


def of_codes(n_ways: int) -> str:
    """Words where clusters have no names."""
    if n_ways == 0:
        return LESSONS
    return "new clusters, these raters" if n_ways == 1 else "new clusters of each way"


def _names_raters(ratings: pd.DataFrame, column: str, rater: Sequence[str]) -> bool:
    if len(rater) != 1:
        return False
    given = ratings[column].dropna()
    return bool(len(given)) and set(given.unique()) <= set(ratings[rater[0]].dropna().unique())


def _plural(column: str) -> str:
    words = column.replace("_", " ")
    return words if words.endswith("s") else f"{words}s"
