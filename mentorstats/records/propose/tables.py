"""Which table each sheet is, by what its columns can be and what it is called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import PurePath

import numpy as np

from mentorstats import dictionary
from mentorstats.records.propose import assign, columns, headings, leftover, levels, rows, wide, words
from mentorstats.records.propose.assign import Match
from mentorstats.records.propose.columns import Column
from mentorstats.records.propose.evidence import Pools
from mentorstats.records.propose.grids import Grid
from mentorstats.records.propose.wide import Block
from mentorstats.records.reading.sheet import Sheet, folded_headings

FORM = ("ratings", "observations", "placements")  # a form of ratings may also tell of lesson and placement
_LEAST = 1.3  # total below which a sheet is no table of ours
_INHERITED = 0.3  # weight of what a sheet tells of the table above its own
_SURE = 0.5  # score from which a field counts as there
_COLUMNS, _RECORDS = 3, 8  # from which a sheet that is no table of ours is asked about
_NAMELESS = ("sheet", "table", "export", "data", "tabelle", "feuil", "page", "results", "report")


@dataclass(eq=False)
class View:
    """One sheet with all that is known of it; ``table`` is empty where it is none of ours."""

    grid: Grid
    heading_rows: tuple[int, ...]
    sheet: Sheet
    kept: rows.Kept
    columns: list[Column]
    blocks: list[Block] = field(default_factory=list)
    long: bool = False
    sides: dict[str, Column] = field(default_factory=dict)
    table: str = ""
    worth: float = 0.0
    matches: dict[str, Match] = field(default_factory=dict)
    why_not: str = ""

    @property
    def name(self) -> str:
        """File and sheet, as a person names them."""
        return self.sheet.where

    @property
    def usable(self) -> list[Column]:
        """Columns that a mapping can name: those with a heading of their own that hold something."""
        folded = folded_headings(self.sheet.headings, False)
        taken = {id(column) for block in self.blocks for column in (*block.columns.values(), *block.derived)}
        taken |= {id(column) for column in self.sides.values()}
        return [
            column
            for column in self.columns
            if column.heading
            and column.n
            and id(column) not in taken
            and all(folded.count(folded[place]) == 1 for place in column.parts or (column.place,))
        ]

    def column(self, concept: str) -> Column | None:
        """The column taken for a field, or none."""
        found = self.matches.get(concept)
        return found.column if found else None

    def several(self, concepts: Sequence[str]) -> list[Column] | None:
        """The columns of several fields, or none where one of them lacks."""
        found = [self.column(concept) for concept in concepts]
        return [column for column in found if column is not None] if all(found) else None


def view(grid: Grid) -> View:
    """Look at one sheet: headings, records, columns."""
    where = headings.rows_of(grid)
    sheet = grid.whole(where)
    kept = rows.kept(sheet)
    cells = kept.cells[kept.records] if len(kept.cells) else np.empty((0, len(sheet.headings)), dtype=object)
    found = columns.columns(sheet.headings, cells, typed=sheet.typed)
    return View(grid, where, sheet, kept, [*found, *columns.whole_names(found, cells)])


def decide(views: Sequence[View]) -> None:
    """Say of each sheet which table it is, in place; a second look uses codes that other sheets hold."""
    for one in views:
        _look(one, {}, {})
    titles = declared_titles(views)
    for one in views:
        _look(one, pools(views, but=one), titles)
    _hidden(views)


def _hidden(views: Sequence[View]) -> None:
    """Leave out hidden sheets, unless no other sheet is the table that they are."""
    for one in views:
        shown = any(other.table == one.table and not other.grid.hidden for other in views)
        if one.grid.hidden and one.table and shown:
            one.why_not = f"the sheet is hidden; it looks like {one.table}"
            one.table = ""


def pools(views: Sequence[View], *, but: View | None = None) -> Pools:
    """Codes that the sheets hold, by field; people who rate are mentors, supervisors and raters."""
    found: dict[str, set[str]] = {}
    for one in views:
        if one is but:
            continue
        for table, names in _POOLED.items():
            for name in names if one.table == table else ():
                match = one.matches.get(name)
                if match and match.score >= _SURE:
                    found.setdefault(name, set()).update(match.column.values)
    raters = found.get("rater", set()) | found.get("mentor", set()) | found.get("supervisor", set())
    if raters:
        found["rater"] = raters
    if but is not None and but.table == "placements":
        found.pop("candidate", None)
    return {name: frozenset(codes) for name, codes in found.items()}


_POOLED = {
    "placements": ("placement", "candidate", "mentor", "supervisor", "site"),
    "observations": ("observation",),
    "raters": ("rater",),
}


def declared_titles(views: Sequence[View]) -> dict[str, str]:
    """Criteria that the rubrics of the folder declare: the code by each of its wordings, and by itself."""
    found: dict[str, str] = {}
    for one in views:
        if one.table == "rubrics" and one.column("criterion"):
            code, title = one.matches["criterion"].column.texts(), one.column("title")
            names = title.texts() if title else code
            found |= {str(t): str(c) for c, t in zip(code, names, strict=True) if c and t}
            found |= {str(c): str(c) for c in code if c}
    return found


def _look(one: View, known: Pools, titles: Mapping[str, str]) -> None:
    one.blocks, one.sides = [], {}
    one.long = _is_long(one, known)
    one.blocks = wide.blocks(one.columns, titles, long=one.long)
    one.sides = level_sides(one.usable) if one.long else {}
    best, table, matched = 0.0, "", {}
    for name in dictionary.tables():
        found = leftover.filled(assign.matches(one.usable, concepts(name), known), one.usable, name)
        worth = _worth(one, name, found)
        if worth > best:
            best, table, matched = worth, name, found
    one.worth, one.table, one.matches = best, table if best >= _LEAST else "", matched
    if not one.table:
        few = sum(column.n > 0 for column in one.columns) < _COLUMNS or len(one.columns[0].codes) < _RECORDS
        one.why_not = "no table of ours is like it"
        one.why_not = one.why_not if few else f"UNSURE: {one.why_not}, and it has records"


def _is_long(one: View, known: Pools) -> bool:
    """Whether a sheet has a row a rating: a column of criteria beside one of levels."""
    found = assign.matches(one.usable, concepts("ratings"), known)
    rubric = assign.matches(one.usable, concepts("rubrics"), known)
    if {"criterion", "level", "rank"} <= {n for n, m in rubric.items() if m.score >= 0.6}:
        return True
    criterion, level = found.get("criterion"), found.get("level")
    if criterion is None or criterion.score < 0.6 or len(criterion.column.values) < 2:
        return False
    named = words.like_field(criterion.column.heading, "ratings", "criterion") >= 0.8
    if levels.scale_like(criterion.column.values) and not named:
        return False
    return (level is not None and level.score >= _SURE) or bool(level_sides(one.usable))


def level_sides(found: Sequence[Column]) -> dict[str, Column]:
    """Level columns of a long table by the role that their headings name, where there are two."""
    sides: dict[str, Column] = {}
    for column in found:
        role = words.role_in(column.heading)
        names = [f"{role} {word}" for word in ("level", "rating", "score", "mark")]
        fits = words.like_any(column.heading, names) >= 0.8 and not column.is_date
        if role and role not in sides and fits and len(column.values) <= 15:
            sides[role] = column
    return sides if len(sides) > 1 else {}


@cache
def concepts(table: str) -> tuple[tuple[str, str], ...]:
    """The fields that a sheet of a table may tell: its own, and those that name what it points to."""
    own = [(table, name) for name in dictionary.table(table).names]
    if table in ("placements", "rubrics", "raters"):
        return tuple(own)
    if table == "key_ratings":
        return tuple(own)
    if table == "observations":
        return (*own, *_fields("placements"), ("ratings", "rater"), ("ratings", "rater_role"))
    if table == "ratings":
        return (*own, *_fields("observations"), *_fields("placements"))
    parents = {key.table for key in dictionary.table(table).foreign_keys}
    more = [("placements", name) for name in ("candidate", "cohort", "site")]
    more += [("observations", name) for name in ("observation", "date")] if "observations" in parents else []
    return (*own, *(pair for pair in more if pair[1] not in dictionary.table(table).names))


def _fields(table: str) -> tuple[tuple[str, str], ...]:
    return tuple((table, name) for name in dictionary.table(table).names)


@cache
def _weights() -> dict[tuple[str, str], float]:
    return assign.weights({name: dictionary.table(name).names for name in dictionary.tables()})


def _worth(one: View, table: str, found: Mapping[str, Match]) -> float:
    """How much a sheet is a table; 0 where it lacks what the table cannot be without."""
    there = {name for name, match in found.items() if match.score >= _SURE}
    if not _core(one, table, there):
        return 0.0
    own = dictionary.table(table).names
    total = sum(
        match.score * (_weights()[table, name] if name in own else _INHERITED)
        for name, match in found.items()
    )
    lacking = [name for name in dictionary.table(table).required if name not in there]
    derived = _DERIVED.get(table, ("placement", "observation"))
    total -= 0.8 * sum(name not in derived for name in lacking)
    total += 1.2 * _called(one, table)
    return total + _structure(one, table, found)


_DERIVED: Mapping[str, tuple[str, ...]] = {
    "placements": ("placement",),
    "observations": ("observation", "placement"),
    "ratings": ("observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level"),
    "rubrics": ("rubric", "version", "rank"),
    "raters": ("role",),
    "key_ratings": ("rubric", "rubric_version"),
}


def _core(one: View, table: str, there: set[str]) -> bool:
    who = {"candidate", "placement", "observation"} & there
    if table == "placements":
        return "candidate" in there and not one.blocks
    if table == "observations":
        told = bool({"date", "minutes", "debrief_date"} & there)
        return bool(who) and told and not one.blocks and not one.long
    if table == "ratings":
        return bool(who) and (bool(one.blocks) or (one.long and "criterion" in there))
    if table == "rubrics":
        return {"criterion", "level"} <= there and bool({"rank", "label", "title"} & there)
    if table == "raters":
        return "rater" in there and bool({"role", "trained_on", "certified_on", "expires_on"} & there)
    needed = {name for name in dictionary.table(table).required if name not in ("rubric", "rubric_version")}
    parents = {"placement", "observation"} & needed
    return needed - parents <= there and (not parents or bool(who)) and not one.blocks


def _structure(one: View, table: str, found: Mapping[str, Match]) -> float:
    def once(name: str) -> float:
        return columns.unique([found[name].column]) if name in found else 0.0

    if table == "placements":
        return 1.6 * (once("candidate") - 0.6)
    if table == "observations":
        return 0.6 if "date" in found and found["date"].score > 0.6 else 0.0
    if table == "ratings":
        return 2.5 if one.blocks else 2.0 if one.long else 0.2
    if table == "raters":
        return 1.6 * (once("rater") - 0.6)
    return 0.3


def _called(one: View, table: str) -> float:
    """How far sheet and file are called like the table."""
    names: list[str] = words.vocabulary()["tables"].get(table, [])
    stem = PurePath(one.grid.file).stem
    sheet = one.grid.sheet
    plain = words.bare(sheet)
    if not sheet or any(plain.startswith(word) for word in _NAMELESS):
        return _named(stem, names)
    return max(_named(sheet, names), 0.4 * _named(stem, names))


def _named(text: str, names: Sequence[str]) -> float:
    ours = {word for word in words.tokens(text.replace("_", " ")) if not word.isdigit()}
    found = 0.0
    for name in names:
        theirs = set(words.tokens(name))
        if theirs <= ours:
            found = max(found, len(theirs) / max(len(ours), 1))
    return found
