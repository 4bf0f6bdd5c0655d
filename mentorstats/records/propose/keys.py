"""How sheets point to each other: by which columns a placement and a lesson are known everywhere."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from mentorstats.records.propose.assign import Match
from mentorstats.records.propose.columns import Column, combined, unique
from mentorstats.records.propose.tables import View

Key = tuple[str, ...]

PLACEMENT: tuple[Key, ...] = (
    ("placement",), ("candidate",), ("candidate", "cohort"), ("candidate", "site"), ("candidate", "mentor"),
    ("candidate", "start"),
)  # fmt: skip
OBSERVATION: tuple[Key, ...] = (
    ("observation",), ("placement", "observation"), ("candidate", "observation"), ("placement", "date"),
    ("candidate", "date"), ("candidate", "cohort", "observation"), ("candidate", "observation", "date"),
)  # fmt: skip

_UNIQUE = 0.97  # distinct combinations a record by which a key is one
_INSIDE = 0.75  # share of a sheet's combinations that the other one holds
_CODES = 3  # distinct codes below which nothing can be told from them
_ALIGNED = 0.85
_DIFFER = 0.03  # share of keys that may stand for two lessons
_PAIRS = (
    0.04  # share of lessons by candidate and date with two raters, from which a form's number is no lesson
)


def align(parents: Sequence[View], children: Sequence[View]) -> None:
    """Take those columns for candidate and placement whose codes stand in both sheets, in place.

    A roster may know candidates by number and name, and a form by one of them, under whatever heading.
    """
    for concept in ("placement", "candidate"):
        for child in children:
            if concept == "candidate" and inside(child, ("placement",), parents) >= _INSIDE:
                continue
            now = child.column(concept)
            have = [one.column(concept) for one in parents]
            known = {value for column in have if column is not None for value in column.values}
            if now is not None and now.share([value in known for value in now.values]) >= _INSIDE:
                continue
            _realign(concept, parents, child, now)


def _realign(concept: str, parents: Sequence[View], child: View, now: Column | None) -> None:
    best: tuple[float, Column, View, Column] | None = None
    for parent in parents:
        mine = parent.column(concept)
        rivals = (
            [mine]
            if concept == "placement"
            else [mine, *(c for c in parent.usable if c is not mine and c is not parent.column("placement"))]
        )
        for theirs in rivals:
            if theirs is None or len(theirs.values) < _CODES or unique([theirs]) < _UNIQUE:
                continue
            held = set(theirs.values)
            for column in [*filter(None, (now,)), *(c for c in child.usable if c is not now)]:
                if len(column.values) < _CODES or column.is_date:
                    continue
                share = column.share([value in held for value in column.values])
                share += 0.1 * (theirs is mine) + 0.1 * (column is now)
                if share >= _ALIGNED and (best is None or share > best[0] + 1e-9):
                    best = (share, column, parent, theirs)
    if best is None:
        return
    _, column, parent, theirs = best
    _take(child, concept, column)
    if parent.column(concept) is not theirs:
        _take(parent, concept, theirs)


def _take(one: View, concept: str, column: Column) -> None:
    for name in [name for name, match in one.matches.items() if match.column is column]:
        del one.matches[name]
    one.matches[concept] = Match(column, 0.93, 0.3)


def pooled(views: Sequence[View], key: Key) -> list[tuple[str, ...]] | None:
    """Every record's key over all sheets, days written alike; None where a sheet lacks a part of it."""
    found: list[tuple[str, ...]] = []
    for one in views:
        columns = one.several(key)
        if columns is None:
            return None
        found += _texts(columns)
    return found


def _texts(columns: Sequence[Column]) -> list[tuple[str, ...]]:
    parts = [c.dates.iso(c.texts()) if c.is_date else c.texts() for c in columns]
    return [cells for cells in zip(*parts, strict=True) if all(cells)]


def inside(child: View, key: Key, parents: Sequence[View]) -> float:
    """Share of the keys of a sheet that stand in the sheets it points to; 0 where one lacks the key."""
    ours = child.several(key)
    theirs = [one.several(key) for one in parents]
    if ours is None or any(columns is None for columns in theirs):
        return 0.0
    mine = combined(ours)
    held = set().union(*(combined(columns) for columns in theirs if columns))
    return len(mine & held) / len(mine) if mine else 0.0


def once(views: Sequence[View], key: Key) -> float:
    """Distinct combinations a record, over all sheets; 0 where one lacks the key."""
    found = pooled(views, key)
    return len(set(found)) / len(found) if found else 0.0


def differ(views: Sequence[View], key: Key, concept: str) -> float:
    """Share of keys under which a field has more than one value, over all sheets that have it."""
    parts = []
    for one in views:
        columns, other = one.several(key), one.column(concept)
        if columns is None or other is None:
            continue
        texts = [c.dates.iso(c.texts()) if c.is_date else c.texts() for c in (*columns, other)]
        parts.append(pd.DataFrame({str(i): text for i, text in enumerate(texts)}))
    if not parts:
        return 0.0
    frame = pd.concat(parts)
    by = [str(i) for i in range(len(key))]
    frame = frame[(frame[by] != "").all(axis=1)]
    return float((frame.groupby(by)[str(len(key))].nunique() > 1).mean()) if len(frame) else 0.0


def of_placements(parents: Sequence[View], children: Sequence[View]) -> tuple[Key, float]:
    """The key by which most sheets find their placements, and how sure it is; parents may be none."""
    best, chosen = -1.0, PLACEMENT[1]
    for place, key in enumerate(PLACEMENT):
        if parents:
            single = once(parents, key)
            if single < _UNIQUE:
                continue
            met = [inside(child, key, parents) for child in children]
            worth = sum(share for share in met if share >= 0.3) - 0.01 * place
        else:
            have = [child.several(key) is not None for child in children]
            agreed = max(
                differ(children, key, concept) for concept in ("candidate", "cohort", "mentor", "site")
            )
            worth = sum(have) * (1.0 if agreed <= _DIFFER else 0.6) - 0.01 * place
        if worth > best:
            best, chosen = worth, key
    sure = best / len(children) if children else 0.9
    return chosen, max(min(sure + 0.02, 0.97), 0.3)


def of_observations(parents: Sequence[View], forms: Sequence[View]) -> tuple[Key, list[View]]:
    """The key by which forms find lessons in sheets of lessons, and the forms that do."""
    chosen: Key = ()
    best, found = 0.0, list[View]()
    for place, key in enumerate(OBSERVATION):
        if not parents or once(parents, key) < _UNIQUE:
            continue
        met = {id(form): inside(form, key, parents) for form in forms}
        worth = sum(share for share in met.values() if share >= _INSIDE) - 0.001 * place
        if worth > best:
            best, chosen = worth, key
            found = [form for form in forms if met[id(form)] >= _INSIDE]
    return chosen, found


def of_forms(forms: Sequence[View]) -> tuple[Key, float]:
    """The key by which forms that tell of their lessons themselves know them, and how sure it is."""
    number = _form_number(forms)
    for key in OBSERVATION:
        if number and "observation" in key and "date" not in key:
            continue
        if any(form.several(key) is None for form in forms):
            continue
        torn = max(
            (
                differ(forms, key, concept)
                for concept in ("date", "candidate", "placement")
                if concept not in key
            ),
            default=0.0,
        )
        if torn <= _DIFFER:
            return key, 0.92 if key == ("observation",) else 0.85
    for key in (("candidate", "date"), ("placement", "date"), ("observation",), ("candidate", "observation")):
        if all(form.several(key) is not None for form in forms):
            return key, 0.5
    for concept in ("candidate", "placement"):
        if all(form.column(concept) is not None for form in forms):
            with_rater = all(form.column("rater") is not None for form in forms)
            return ((concept, "rater") if with_rater else (concept,)), 0.35
    return (), 0.0


def _form_number(forms: Sequence[View]) -> bool:
    """Whether a lesson's number is that of a form instead: two raters of one lesson never share it."""
    if once(forms, ("observation",)) < 0.999 or any(form.column("rater") is None for form in forms):
        return False
    wide = [form for form in forms if form.blocks]
    if len(wide) < len(forms):
        return False
    seen = [_texts(columns) for form in forms if (columns := form.several(("candidate", "date", "rater")))]
    if len(seen) < len(forms):
        return False
    every = {key for part in seen for key in part}
    lessons = pd.Series([key[:2] for key in every])
    return bool(len(lessons)) and float(lessons.duplicated().mean()) > _PAIRS
