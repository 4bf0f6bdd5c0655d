"""Which ratings can tell raters apart, as forms: one rater's ratings of one lesson under one rubric version.

A person who rates in two roles counts as two raters, because roles differ in severity. Lessons and
candidates count apart under each version of a rubric: two levels from different versions compare nobody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.errors import ArgumentError, need_columns

Ints = NDArray[np.int64]

NEEDED = ("observation", "candidate", "rater", "rater_role", "level")
VERSION = ("rubric", "rubric_version")
PLACES = ("site", "cohort")
RUBRIC_VERSION = "rubric version"
NOT_RECORDED = "not recorded"


@dataclass(frozen=True, slots=True)
class Forms:
    """Forms as codes, each from 0; arrays are (n,), a value a form.

    Attributes
    ----------
    raters
        Index of (rater, rater_role), sorted by role and code; raters without a usable rating included.
    role
        Role of each rater, (raters,), a number in ``roles``.
    rater, lesson, candidate, observation, person
        Codes. ``lesson`` and ``candidate`` are apart by version, ``observation`` and ``person`` are not.
        -1 where not recorded, but ``candidate`` is then the unknown candidate of the lesson.
    places
        Name to codes of the rubric version, and of site and cohort where there are such columns.
    names
        Name to what the codes of a place stand for.
    lessons, candidates
        What the codes of ``lesson`` and ``candidate`` stand for; an unknown candidate is "".
    left_out
        Why ratings were left out, to their number.
    """

    raters: pd.MultiIndex
    roles: pd.Index
    role: Ints
    rater: Ints
    lesson: Ints
    candidate: Ints
    observation: Ints
    person: Ints
    places: dict[str, Ints]
    names: dict[str, pd.Index]
    lessons: pd.Index
    candidates: pd.Index
    n_ratings: int
    left_out: dict[str, int]


def forms(ratings: pd.DataFrame, *, dependent: bool = False) -> Forms:
    """Code the ratings that can tell raters apart.

    Parameters
    ----------
    ratings
        The long table. Left out, and counted, are ratings without rater or role, without a level, and,
        where there is a column ``independent``, those that are not independent: an agreed level says
        nothing of its rater's severity.
    dependent
        Keep those too.

    Raises
    ------
    ColumnError
        A needed column is missing.
    ArgumentError
        A lesson belongs to two candidates, so that lesson codes are not those of single lessons.
    """
    need_columns(ratings.columns, NEEDED, where="ratings")
    known = ratings[["rater", "rater_role"]].notna().all(axis=1).to_numpy()
    why, good = _reasons(ratings, known, dependent)
    keys = [name for name in (*NEEDED[:-1], *VERSION, *PLACES) if name in ratings.columns]
    rows = ratings.loc[good, keys].drop_duplicates()
    observation = pd.factorize(rows["observation"])[0].astype(np.int64)
    person, people = pd.factorize(rows["candidate"])
    _check_lessons(rows, observation, person.astype(np.int64))
    person = _filled(person.astype(np.int64), observation)
    index = _raters(ratings.loc[known, ["rater", "rater_role"]])
    role, roles = pd.factorize(index.get_level_values("rater_role"), sort=True)
    versions, version_names = _version(rows)
    lesson = _apart(observation, versions)
    candidate, candidates = _candidates(person, people, lesson, versions)
    places = {name: _place(rows[name]) for name in PLACES if name in rows}
    places[RUBRIC_VERSION] = (versions, version_names)
    return Forms(
        raters=index,
        roles=roles,
        role=role.astype(np.int64),
        rater=index.get_indexer(_pairs(rows)).astype(np.int64),
        lesson=lesson,
        candidate=candidate,
        observation=observation,
        person=person,
        places={name: codes for name, (codes, _) in places.items()},
        names={name: names for name, (_, names) in places.items()},
        lessons=pd.Index(rows["observation"].iloc[first_rows(lesson)].astype("str"), dtype="str"),
        candidates=candidates,
        n_ratings=int(good.sum()),
        left_out=why,
    )


def _reasons(
    ratings: pd.DataFrame, known: NDArray[np.bool_], dependent: bool
) -> tuple[dict[str, int], NDArray[np.bool_]]:
    """Count ratings by the first reason that leaves them out, and mark the rest."""
    good = known.copy()
    why = {"no rater or role": int((~known).sum())}
    level = ratings["level"].notna().to_numpy()
    why["no level"] = int((good & ~level).sum())
    good &= level
    if "independent" in ratings.columns and not dependent:
        agreed = ratings["independent"].astype("boolean").eq(False).fillna(False).to_numpy(dtype=bool)
        why["not independent"] = int((good & agreed).sum())
        good &= ~agreed
    nothing = ratings[["observation", "candidate"]].isna().all(axis=1).to_numpy()
    why["neither lesson nor candidate"] = int((good & nothing).sum())
    return {reason: n for reason, n in why.items() if n}, good & ~nothing


def _check_lessons(rows: pd.DataFrame, observation: Ints, person: Ints) -> None:
    both = (observation >= 0) & (person >= 0)
    wide = int(person.max(initial=0)) + 1
    lessons = np.unique(observation[both] * wide + person[both]) // wide
    twice = np.flatnonzero(lessons[1:] == lessons[:-1])
    if len(twice):
        at = rows[observation == lessons[twice[0]]]
        some = sorted(at["candidate"].dropna().astype("str").unique())[:2]
        raise ArgumentError(
            f"lesson {str(at['observation'].iloc[0])!r} belongs to candidates {some[0]!r} and {some[1]!r}",
            where="ratings",
            allowed="one candidate a lesson",
            remedy="Give every lesson a code of its own, for example by joining candidate and lesson.",
        )


def _pairs(rows: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_arrays(
        [rows["rater"].astype("str"), rows["rater_role"].astype("str")], names=["rater", "rater_role"]
    )


def _raters(rows: pd.DataFrame) -> pd.MultiIndex:
    unique = _pairs(rows.drop_duplicates()).unique()
    return unique.sortlevel(["rater_role", "rater"])[0] if len(unique) else unique


def _version(rows: pd.DataFrame) -> tuple[Ints, pd.Index]:
    """Number of the rubric version of each row, and their names; all alike without such columns."""
    given = [
        rows[name].astype("str").where(rows[name].notna(), NOT_RECORDED) for name in VERSION if name in rows
    ]
    if not given:
        return np.zeros(len(rows), dtype=np.int64), pd.Index([NOT_RECORDED])
    different = pd.MultiIndex.from_arrays(given)
    codes, found = different.factorize(sort=True)
    return codes.astype(np.int64), pd.Index([", version ".join(key) for key in found], dtype="str")


def _place(column: pd.Series) -> tuple[Ints, pd.Index]:
    """Codes and names; what is not recorded is one place."""
    codes, names = pd.factorize(column.astype("str").where(column.notna(), NOT_RECORDED), sort=True)
    return codes.astype(np.int64), pd.Index(names)


def _apart(codes: Ints, versions: Ints) -> Ints:
    """Number the combinations of a code and a version; -1 stays."""
    joint = np.where(codes >= 0, codes * (int(versions.max(initial=0)) + 1) + versions, -1)
    found, number = np.unique(joint, return_inverse=True)
    return number.astype(np.int64) - int(len(found) > 0 and found[0] == -1)


def _candidates(person: Ints, people: pd.Index, lesson: Ints, versions: Ints) -> tuple[Ints, pd.Index]:
    """Candidates by version; a lesson whose candidate is not known has a candidate of its own."""
    codes = _apart(np.where(person >= 0, person, len(people) + lesson), versions)
    texts = [str(people[at]) if at >= 0 else "" for at in person[first_rows(codes)]]
    return codes, pd.Index(texts, dtype="str")


def _filled(person: Ints, observation: Ints) -> Ints:
    """Where the candidate is missing in some rows of a lesson only, the others say who it is."""
    of_lesson = np.full(int(observation.max(initial=-1)) + 2, -1, dtype=np.int64)
    known = (person >= 0) & (observation >= 0)
    of_lesson[observation[known]] = person[known]
    return np.where(person < 0, of_lesson[observation], person)


def first_rows(codes: Ints) -> Ints:
    """First row of each code from 0."""
    found, at = np.unique(codes, return_index=True)
    return at[found >= 0].astype(np.int64)


def combined(columns: Sequence[Ints], n: int) -> Ints:
    """Number the combinations of codes that occur together, none of them missing; (n,)."""
    joint = np.zeros(n, dtype=np.int64)
    for codes in columns:
        joint = np.unique(joint * (int(codes.max(initial=0)) + 1) + codes, return_inverse=True)[1]
    return joint.astype(np.int64)
