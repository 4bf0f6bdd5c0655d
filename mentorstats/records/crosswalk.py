"""``crosswalk.toml``: which criteria and levels of two versions of a rubric somebody judges to be the same.

Without such a judgement, ratings under two versions are never put together.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from mentorstats.declared import toml_file
from mentorstats.errors import MappingError
from mentorstats.records.mapping import values

FILE_NAME = "crosswalk.toml"
COLUMNS = (
    "rubric", "version_from", "version_to", "what", "code_from", "code_to", "relation", "author", "date",
    "note",
)  # fmt: skip
RELATIONS = ("one_to_one", "one_to_many", "many_to_one", "many_to_many", "dropped", "new")
CARRIED = {"criterion": ("one_to_one",), "level": ("one_to_one", "many_to_one")}

_KEYS = ("rubric", "from", "to", "author", "date", "note", "criteria", "levels")
_NEEDED = ("rubric", "from", "to", "author", "date", "criteria")
_RATING = ["observation", "rater", "rubric", "rubric_version", "criterion"]


def empty() -> pd.DataFrame:
    """Return a crosswalk without any judgement."""
    return _frame([])


def read(folder: Path, rubrics: pd.DataFrame) -> pd.DataFrame:
    """Read ``folder/crosswalk.toml``; without such a file there is no judgement.

    Parameters
    ----------
    folder
        The programme's folder.
    rubrics
        The declared rubrics, which name the criteria and levels of each version.

    Returns
    -------
    DataFrame
        One row a pair of criteria or levels (``what``), with columns `COLUMNS`. ``relation`` is one of
        `RELATIONS`: only criteria that are one to one, and levels that are one to one or several to one,
        can be carried over. A code without counterpart has an empty ``code_to`` (dropped) or
        ``code_from`` (new).

    Raises
    ------
    MappingError
        The file is not legal, names a criterion or level that no rubric declares, leaves one out, or turns
        the order of levels round.
    """
    content = toml_file.read(folder / FILE_NAME, MappingError)
    if content is None:
        return empty()
    values.known(content, ("crosswalk",), FILE_NAME)
    blocks = content.get("crosswalk", [])
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        raise MappingError(
            "crosswalk is not a list of blocks", where=FILE_NAME, remedy="Write [[crosswalk]]."
        )
    rows: list[tuple[str, ...]] = []
    seen: dict[tuple[str, str], str] = {}
    for number, block in enumerate(blocks, start=1):
        where = f"{FILE_NAME}, crosswalk {number}"
        rows += _block(block, rubrics, where, seen)
    return _frame(rows)


def _frame(rows: list[tuple[str, ...]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype("str")


def _block(
    block: Mapping[str, Any], rubrics: pd.DataFrame, where: str, seen: dict[tuple[str, str], str]
) -> list[tuple[str, ...]]:
    values.known(block, _KEYS, where)
    values.needed(block, _NEEDED, where)
    rubric, old, new = (values.filled(block[key], where, key) for key in ("rubric", "from", "to"))
    values.one_of(rubric, rubrics["rubric"].unique(), where, "rubric")
    own = rubrics[rubrics["rubric"] == rubric]
    for version in (old, new):
        values.one_of(version, own["version"].unique(), where, "version")
    seen_to = {name: to for (of, name), to in seen.items() if of == rubric}
    further = new
    while further != old and further in seen_to:
        further = seen_to[further]
    if further == old or old in seen_to:
        raise MappingError(f"version {old!r} is carried over twice, or back to itself", where=where)
    seen[rubric, old] = new
    date = block["date"]
    if not isinstance(date, datetime.date) or isinstance(date, datetime.datetime):
        raise MappingError(f"date = {date!r}", where=where, allowed="a day like 2026-03-14, without marks")
    told = (values.filled(block["author"], where, "author"), date.isoformat())
    note = values.text(block.get("note", ""), where, "note")
    before, after = own[own["version"] == old], own[own["version"] == new]
    criteria = _pairs(block, "criteria", before["criterion"], after["criterion"], where)
    levels = _levels(block, before, after, where)
    head = (rubric, old, new)
    return [
        (*head, what, one, other, relation, *told, note)
        for what, pairs in (("criterion", criteria), ("level", levels))
        for one, other, relation in pairs
    ]


Pairs = list[tuple[str, str, str]]


def _pairs(block: Mapping[str, Any], key: str, before: pd.Series, after: pd.Series, where: str) -> Pairs:
    """Read pairs of codes, and say of each how many it stands with."""
    given = values.table(block, key, where, written="crosswalk")
    old, new = list(dict.fromkeys(before)), list(dict.fromkeys(after))
    named = {
        values.one_of(str(code), old, where, key): _codes(to, new, where, f"{key}.{code}")
        for code, to in given.items()
    }
    lacking = [code for code in old if code not in named]
    if lacking:
        raise MappingError(
            f"{key} says nothing of {', '.join(lacking)}",
            where=where,
            remedy=f'Write {lacking[0]} = "its counterpart", or {lacking[0]} = [] where it has none.',
        )
    pairs = [(one, other) for one, others in named.items() for other in others]
    times = {other: sum(other == to for _, to in pairs) for other in new}
    found = [(one, other, _relation(len(named[one]), times[other])) for one, other in pairs]
    found += [(one, "", "dropped") for one, others in named.items() if not others]
    return found + [("", other, "new") for other in new if not times[other]]


def _codes(to: object, new: list[str], where: str, key: str) -> tuple[str, ...]:
    codes = to if isinstance(to, list) else [to]
    found = tuple(values.one_of(values.text(code, where, key), new, where, key) for code in codes)
    if len(set(found)) < len(found):
        raise MappingError(f"{key} names one twice", where=where)
    return found


def _relation(to: int, back: int) -> str:
    if to == 1:
        return "one_to_one" if back == 1 else "many_to_one"
    return "one_to_many" if back == 1 else "many_to_many"


def _levels(block: Mapping[str, Any], before: pd.DataFrame, after: pd.DataFrame, where: str) -> Pairs:
    """Read pairs of levels; without any, both versions must have the same."""
    ranks = [part.drop_duplicates("level").set_index("level")["rank"] for part in (before, after)]
    if "levels" not in block:
        if not ranks[0].equals(ranks[1]):
            raise MappingError(
                "the versions have different levels, and nothing is said of them",
                where=where,
                remedy="Write [crosswalk.levels], each older level = its newer one.",
            )
        return [(level, level, "one_to_one") for level in ranks[0].index]
    pairs = _pairs(block, "levels", before["level"], after["level"], where)
    matched = sorted((int(ranks[0][one]), int(ranks[1][other])) for one, other, _ in pairs if one and other)
    lowest = [low for _, low in matched]
    if lowest != sorted(lowest):
        raise MappingError("the levels change their order", where=where, remedy="Keep lower levels lower.")
    return pairs


def linked(long: pd.DataFrame, rubrics: pd.DataFrame, crosswalk: pd.DataFrame) -> pd.DataFrame:
    """Return the long table with ratings carried over to the newest version that a crosswalk leads to.

    Parameters
    ----------
    long
        The long table.
    rubrics
        The declared rubrics, which give the rank of a level in its new version.
    crosswalk
        From `read`. Without a row nothing is carried over.

    Returns
    -------
    DataFrame
        All rows of ``long``, and ``version_given``, the version under which each was rated. Criteria and
        levels that have not exactly one counterpart keep their version, as does a rating whose rater rated
        the same criterion under the newer version as well.
    """
    out = long.assign(version_given=long["rubric_version"])
    steps = list(
        crosswalk[["rubric", "version_from", "version_to"]].drop_duplicates().itertuples(index=False)
    )
    for _ in steps:  # a version may lead to another one that leads further
        for rubric, old, new in steps:
            part = crosswalk[(crosswalk["rubric"] == rubric) & (crosswalk["version_from"] == old)]
            out = _carried(out, rubrics, part, rubric, old, new)
    return out


def _carried(
    long: pd.DataFrame, rubrics: pd.DataFrame, part: pd.DataFrame, rubric: str, old: str, new: str
) -> pd.DataFrame:
    criteria, levels = (
        part[(part["what"] == what) & part["relation"].isin(relations)].set_index("code_from")["code_to"]
        for what, relations in CARRIED.items()
    )
    level = long["level"].astype("str").where(long["level"].notna())
    moved = (
        long["rubric"].eq(rubric) & long["rubric_version"].eq(old) & long["criterion"].isin(criteria.index)
        & (level.isna() | level.isin(levels.index))
    )  # fmt: skip
    if not moved.any():
        return long
    out = long.copy()
    out.loc[moved, "rubric_version"] = new
    out.loc[moved, "criterion"] = long.loc[moved, "criterion"].map(criteria)
    kept = out.duplicated(_RATING, keep=False) & moved
    moved &= ~kept
    out.loc[kept, ["rubric_version", "criterion"]] = long.loc[kept, ["rubric_version", "criterion"]]
    out["level"] = level.where(~moved, level.map(levels)).astype(long["level"].dtype)
    keys = ["rubric", "rubric_version", "criterion", "level"]
    declared = rubrics.set_index(["rubric", "version", "criterion", "level"])["rank"]
    found = declared.reindex(pd.MultiIndex.from_frame(out.loc[moved, keys].astype("str")))
    out.loc[moved, "rank"] = pd.array(found.array, dtype=long["rank"].dtype)
    return out


def breaks(long: pd.DataFrame, crosswalk: pd.DataFrame) -> pd.DataFrame:
    """Return where one version of a rubric follows another, which is a break in every trend.

    Parameters
    ----------
    long
        The long table, or the table of key ratings.
    crosswalk
        From `read`.

    Returns
    -------
    DataFrame
        A row a version after the first of its rubric, by the day of its first rating: rubric, version_from,
        version_to, last_before and first_after (days), n_one_to_one and n_criteria (criteria of the newer
        version with exactly one counterpart, and all that it has ratings of), author and date of the
        crosswalk, empty without one.
    """
    columns = [
        "rubric", "version_from", "version_to", "last_before", "first_after", "n_one_to_one", "n_criteria",
    ]  # fmt: skip
    if long.empty:
        return pd.DataFrame(columns=[*columns, "author", "date"])
    dated = long[long["level"].notna() & long["date"].notna()]
    by = dated.groupby(["rubric", "rubric_version"], observed=True)
    spans = by.agg(first=("date", "min"), last=("date", "max"), n_criteria=("criterion", "nunique"))
    rows = []
    for rubric, part in spans.reset_index().sort_values("first", kind="stable").groupby("rubric", sort=True):
        for old, new in zip(part.iloc[:-1].itertuples(), part.iloc[1:].itertuples(), strict=True):
            judged = crosswalk[
                (crosswalk["rubric"] == rubric)
                & (crosswalk["version_from"] == old.rubric_version)
                & (crosswalk["version_to"] == new.rubric_version)
            ]
            alike = int(((judged["what"] == "criterion") & (judged["relation"] == "one_to_one")).sum())
            who = judged.iloc[0] if len(judged) else {"author": "", "date": ""}
            rows.append(
                (rubric, old.rubric_version, new.rubric_version, old.last, new.first, alike, new.n_criteria,
                 who["author"], who["date"])
            )  # fmt: skip
    return pd.DataFrame(rows, columns=[*columns, "author", "date"])
