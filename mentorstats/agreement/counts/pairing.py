"""Which ratings may be compared: same lesson, criterion and rubric version, different raters."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, DuplicateRatingError, need_columns

VERSION = ["rubric", "rubric_version"]
UNIT = ["observation", *VERSION, "criterion"]
ROLES = ("mentor", "supervisor")
SHARED = ["placement", "candidate", "cohort", "site", "licensure_area", "grade_band", "week", "date"]
BY_SIDE = ("rater", "rater_role", "level", "rank")


@entry()
def double_scored(long: pd.DataFrame, *, roles: tuple[str, str] | None = ROLES) -> pd.DataFrame:
    """Pair the ratings that two raters gave to the same criterion of the same lesson.

    Parameters
    ----------
    long
        The long table (`Records.long`). Ratings without a level or rank, a rater or a part of the unit
        pair with nothing: two lessons without a name are not the same lesson.
    roles
        The two roles; the same role twice pairs different raters of that role, each pair once. None
        pairs any two raters, each pair once, first the one whose name comes first.

    Returns
    -------
    DataFrame
        One row a pair, in the order of the table: the unit (observation, rubric, rubric_version,
        criterion), what its lesson shares (placement, candidate, cohort, …), ``rater_first``,
        ``rater_role_first``, ``level_first``, ``rank_first`` and the same for ``second``, ``difference``
        in ranks (first minus second), and ``independent`` where both ratings are. A lesson that two
        supervisors and a mentor rated gives two pairs, so cluster by candidate or lesson.

    Raises
    ------
    ColumnError
        A column of the long table is missing.
    DuplicateRatingError
        A rater rated the same criterion of the same lesson more than once.
    """
    shared = [name for name in SHARED if name in long.columns]
    needed = [*UNIT, "rater", "rater_role", "level", "rank", "independent"]
    need_columns(long.columns, needed, where="long table")
    known = long[[*UNIT, "rater", "level", "rank"]].notna().all(axis=1)
    rated = long.loc[known, [*needed, *shared]]
    _refuse_twice(rated)
    sides = [rated, rated] if roles is None else [rated[rated["rater_role"] == role] for role in roles]
    pairs = sides[0].merge(sides[1][needed], on=UNIT, suffixes=("_first", "_second"), sort=False)
    if roles is None or roles[0] == roles[1]:
        pairs = pairs[pairs["rater_first"].astype("str") < pairs["rater_second"].astype("str")]
    else:
        pairs = pairs[pairs["rater_first"] != pairs["rater_second"]]
    pairs = pairs.assign(
        difference=pairs["rank_first"].astype("int64") - pairs["rank_second"].astype("int64"),
        independent=_both(pairs["independent_first"], pairs["independent_second"]),
    )
    return pairs[
        [
            *UNIT,
            *shared,
            *(f"{name}_{side}" for side in ("first", "second") for name in BY_SIDE),
            "difference",
            "independent",
        ]
    ].reset_index(drop=True)


@entry()
def stacked(pairs: pd.DataFrame, *, names: tuple[str, str] = ("mentor", "supervisor")) -> pd.DataFrame:
    """Put the two ratings of each pair under each other, ready for `coefficients`.

    Parameters
    ----------
    pairs
        From `double_scored`, or a selection of its rows.
    names
        What the two sides are called in the column ``side``.

    Returns
    -------
    DataFrame
        Two rows a pair: the shared columns, ``pair`` (the unit), ``side`` (the rater), ``rater``,
        ``rater_role``, ``level`` and ``rank``.
    """
    if names[0] == names[1]:
        raise ArgumentError(
            f"both sides are called {names[0]!r}", remedy="Give the two sides different names."
        )
    sided = [f"{column}_{side}" for side in ("first", "second") for column in BY_SIDE]
    need_columns(pairs.columns, sided, where="pairs")
    kept = [name for name in pairs.columns if not str(name).endswith(("_first", "_second"))]
    sides = []
    for name, side in zip(names, ("first", "second"), strict=True):
        of_side = pairs[kept].assign(pair=range(len(pairs)), side=name)
        for column in BY_SIDE:
            of_side[column] = pairs[f"{column}_{side}"]
        sides.append(of_side)
    return pd.concat(sides, ignore_index=True)


def _refuse_twice(rated: pd.DataFrame) -> None:
    twice = rated.duplicated([*UNIT, "rater", "rater_role"], keep=False)
    if twice.any():
        first = rated[twice].iloc[0]
        raise DuplicateRatingError(
            f"{first['rater']!r} rated {first['criterion']!r} of {first['observation']!r} more than once "
            f"({int(twice.sum())} rows, first at {rated.index[twice.to_numpy()][0]})",
            where="long table",
            remedy="Keep one rating of a rater for each lesson and criterion; `mentorstats check` lists all.",
        )


def each_version(
    pairs: pd.DataFrame, rubrics: pd.DataFrame
) -> list[tuple[tuple[str, str], pd.DataFrame, int]]:
    """Rubric and version, its pairs, and its number of levels, for the versions that have pairs.

    Parameters
    ----------
    pairs
        From `double_scored`, or a selection of its rows.
    rubrics
        The declared levels: rubric, version, rank.
    """
    need_columns(pairs.columns, VERSION, where="pairs")
    need_columns(rubrics.columns, ["rubric", "version", "rank"], where="rubrics")
    most = rubrics.groupby(["rubric", "version"], observed=True)["rank"].max()
    found = []
    for key, chosen in pairs.groupby(VERSION, observed=True, dropna=False, sort=True):
        version = (str(key[0]), str(key[1]))
        if version not in most.index:
            raise ArgumentError(
                f"no levels are declared for rubric {version[0]!r}, version {version[1]!r}",
                where="rubrics",
                allowed=[f"{rubric} {number}" for rubric, number in most.index],
            )
        found.append((version, chosen, int(most[version])))
    return found


def _both(first: pd.Series, second: pd.Series) -> pd.Series:
    """True where both are, False where either is not, missing where it cannot be known."""
    return first.astype("boolean") & second.astype("boolean")


def each_criterion(
    pairs: pd.DataFrame, rubrics: pd.DataFrame
) -> Iterator[tuple[tuple[str, str, str], pd.DataFrame, range]]:
    """Rubric, version and criterion, its pairs as a long table (`stacked` by role), and its ranks.

    Parameters
    ----------
    pairs, rubrics
        As in `each_version`.
    """
    for (rubric, version), chosen, n_levels in each_version(pairs, rubrics):
        for criterion, rows in chosen.groupby("criterion", observed=True, sort=True):
            yield (rubric, version, str(criterion)), stacked(rows, names=ROLES), range(1, n_levels + 1)
