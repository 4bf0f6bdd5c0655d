"""Blocks of criteria: columns of a form that hold levels, a column a criterion."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from mentorstats import dictionary
from mentorstats.records.propose import evidence, levels, words
from mentorstats.records.propose.columns import Column

_CODE = r"(?:[A-Za-z]{1,10}[ .\-_]?)?\d{1,2}(?:[.\-]?\d{1,2}|[a-z])?|[A-Z]\d{0,2}|[ivx]{1,4}"
_NUMBERED = re.compile(rf"^\s*({_CODE})(?=[\s.:)\-–_]|$)[\s.:)\-–_]*(.*)$")
_FEWEST = 2
_KNOWN, _SURELY = 0.72, 0.85  # score for another field from which a column is no criterion
_FORM = ("placements", "observations", "ratings", "raters")
_ELSEWHERE = 0.78  # what likeness to a field of another table counts: "Questioning" is no number of questions
_WORDED = 0.75  # likeness of two wordings of one criterion
_LONGEST = 40
_SAME = 0.6

Role = str


@dataclass(slots=True)
class Block:
    """The criteria of one rater's form: column and confidence by criterion code, with the title of each."""

    role: Role = ""
    columns: dict[str, Column] = field(default_factory=dict)
    titles: dict[str, str] = field(default_factory=dict)
    sure: dict[str, float] = field(default_factory=dict)
    derived: list[Column] = field(default_factory=list)

    def counts(self) -> Counter[str]:
        """How often each text stands in the block."""
        found: Counter[str] = Counter()
        for column in self.columns.values():
            found.update(dict(zip(column.values, map(int, column.counts), strict=True)))
        return found


def blocks(columns: Sequence[Column], titles: Mapping[str, str], *, long: bool) -> list[Block]:
    """Find the criteria among the columns of a form; several blocks where raters stand side by side.

    Parameters
    ----------
    columns
        The columns of a sheet.
    titles
        Criteria that the rubrics of the folder declare: the code by each of its wordings, and by itself.
    long
        Whether the sheet has a column of criteria, so that a level column is no criterion.
    """
    group = _group(columns)
    derived = [column for column in group if is_derived(column.heading)]
    group = [column for column in group if column not in derived]
    if long or not group or (len(group) < _FEWEST and not _single(group)):
        return []
    sides: dict[str, list[Column]] = {}
    for column in group:
        sides.setdefault(_side(column.heading), []).append(column)
    apart = [side for side in sides if side]
    if len(apart) < 2 or sides.get("") or len({len(sides[s]) for s in apart}) > 1:
        sides = {"": group}
    found = [_block(side, members, titles) for side, members in sides.items()]
    if found:
        found[0].derived = derived
    return found


def _group(columns: Sequence[Column]) -> list[Column]:
    """The largest set of columns that hold the same few levels."""
    maybe = [column for column in columns if column.heading and _maybe(column)]
    if not maybe:
        return []
    families: list[tuple[set[str], list[Column]]] = []
    for column in maybe:
        held = {words.bare(v) or v for v in column.values if not levels.reason(v)}
        numeric = column.number > 0.6
        for known, members in families:
            both = len(known & held) / max(min(len(known), len(held)), 1)
            if (members[0].number > 0.6) == numeric and (both >= _SAME):
                known |= held
                members.append(column)
                break
        else:
            families.append((held, [column]))
    families = [(known, members) for known, members in families if len(known) <= levels.MOST]
    if not families:
        return []
    best = max(families, key=lambda family: sum(_like_criterion(column) for column in family[1]))
    if len(best[1]) < 3 and not any(_like_criterion(column) > 1 for column in best[1]):
        return []
    return best[1]


def _maybe(column: Column) -> bool:
    """Whether a column may hold levels of a criterion."""
    held = [v for v in column.values if not levels.reason(v)]
    if (
        not held
        or len(held) > levels.MOST
        or column.is_date
        or (column.yes_no > 0.95 and column.number < 0.5)
    ):
        return False
    heading = column.heading
    if words.like_listed(heading, "unrelated") > 0.85:
        return False
    known = max(
        evidence.score(column, table, name, {}) * (1.0 if table in _FORM else _ELSEWHERE)
        for table in dictionary.tables()
        for name in dictionary.table(table).names
        if name
        not in (
            "level",
            "criterion",
            "key_level",
            "title",
            "label",
            "subject",
            "planned_share",
            "item",
            "purpose",
        )
    )
    marked = _NUMBERED.match(heading) or levels.range_in(heading)
    if known >= (_SURELY if marked else _KNOWN):
        return False
    judged = [levels.is_level(v) for v in held]
    if all(judged):
        numbers = [float(v.replace(",", ".")) for v in held if re.fullmatch(r"\d{1,2}(?:[.,]\d)?", v)]
        return not numbers or max(numbers) <= 10
    short = all(len(v) <= _LONGEST and len(v.split()) <= 5 for v in held)
    return short and len(held) <= 7 and (column.distinct < 0.34 or column.n < 15)


def _like_criterion(column: Column) -> float:
    """How much a column looks like a criterion: a level in each cell, a numbered heading, words in it."""
    held = [v for v in column.values if not levels.reason(v)]
    share = sum(levels.is_level(v) for v in held) / max(len(held), 1)
    heading = column.heading
    marks = bool(_NUMBERED.match(heading)) + bool(levels.range_in(heading))
    return 0.4 + share * 0.5 + 0.8 * marks + 0.15 * (len(heading.split()) > 2)


def _single(group: Sequence[Column]) -> bool:
    """Whether one column alone is a score: its heading says so, and its cells are levels."""
    return len(group) == 1 and words.like_field(group[0].heading, "ratings", "level") >= 0.6


def is_derived(heading: str) -> bool:
    """Whether a heading is that of a column computed from others, such as a total."""
    known = set(words.vocabulary()["derived"]["words"])
    plain = words.bare(heading)
    return plain in known or any(
        plain.startswith(f"{word} ") or plain.endswith(f" {word}")
        for word in ("total", "average", "mean", "sum", "total score", "avg")
    )


def _side(heading: str) -> Role:
    return words.role_in(heading) or ""


def _block(side: Role, members: Sequence[Column], titles: Mapping[str, str]) -> Block:
    made = Block(role=side)
    parts = [_parts(_without_role(column.heading, side)) for column in members]
    coded = sum(bool(code) for code, _ in parts) >= 0.6 * len(parts)
    distinct = len({code for code, _ in parts if code}) == sum(bool(code) for code, _ in parts)
    for column, (code, title) in zip(members, parts, strict=True):
        declared = _declared(column.heading, code, title, titles)
        name = declared or (code if coded and distinct and code else words.slug(title or column.heading))
        while name in made.columns or not name:
            name = f"{name}_{column.place + 1}"
        made.columns[name] = column
        made.titles[name] = title or column.heading
        made.sure[name] = 0.97 if declared else min(0.97, 0.45 + 0.28 * _like_criterion(column))
    if len(members) >= 4:
        made.sure = {name: min(0.97, sure + 0.2) for name, sure in made.sure.items()}
    return made


def _without_role(heading: str, side: Role) -> str:
    if not side:
        return heading
    names = sorted(words.vocabulary()["roles"][side], key=len, reverse=True)
    found = heading
    for name in names:
        found = re.sub(rf"(?i)\b{re.escape(name)}('s)?\b", " ", found)
    return " ".join(found.strip(" -–—:()[]/|").split()) or heading


def _parts(heading: str) -> tuple[str, str]:
    """Code and words of a heading: "1.1 Plans ahead (1-4)" is "1.1" and "Plans ahead"."""
    text = re.sub(
        r"\s*[(\[]\s*\d{1,2}\s*(?:-|–|—|to|\.\.|/)\s*\d{1,2}\s*[)\]]", "", " ".join(heading.split())
    )
    found = _NUMBERED.match(text)
    if not found or (found[1].isalpha() and len(found[1]) == 1 and not re.match(r"\s*\w[.:)\-]", text)):
        return "", text.strip()
    return found[1].strip(), found[2].strip()


def _declared(heading: str, code: str, title: str, titles: Mapping[str, str]) -> str:
    """The code of a declared criterion that the heading gives, by code or by words."""
    if not titles:
        return ""
    exact = {words.bare(known): criterion for known, criterion in titles.items()}
    for text in (heading, code, title):
        if words.bare(text) in exact:
            return exact[words.bare(text)]
    told = f" {words.bare(heading)} "
    inside = {found for plain, found in exact.items() if len(plain) > 1 and f" {plain} " in told}
    if len(inside) == 1:
        return inside.pop()
    near = max(titles, key=lambda known: words.likeness(known, title or heading))
    return titles[near] if words.likeness(near, title or heading) >= _WORDED else ""
