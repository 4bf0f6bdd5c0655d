"""Who gave the ratings of a sheet, and in which role."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from mentorstats.records.propose import words
from mentorstats.records.propose.assign import Match
from mentorstats.records.propose.columns import Column
from mentorstats.records.propose.draft.drafts import Ask, Guess
from mentorstats.records.propose.evidence import Pools
from mentorstats.records.propose.tables import View

ROLES = ("mentor", "supervisor", "trainer", "other")
NOBODY = "not_recorded"  # the rater's code where the export names nobody
_MOST = 0.85  # share of raters that one role must have to be the role of a sheet


@dataclass(slots=True)
class Who:
    """Rater and role of the ratings of one sheet, or of those that ``skip`` leaves."""

    rater: Guess
    rater_constant: bool = False
    role: Guess = field(default_factory=lambda: Guess("other", 0.3))
    role_column: bool = False
    words: dict[str, str] = field(default_factory=dict)
    skip: list[dict[str, Any]] = field(default_factory=list)


def of_sheet(one: View, known: Pools, ask: Ask) -> list[Who]:
    """Return who rated: one entry, or one a role where a column of roles chooses between two columns."""
    rater, role = one.matches.get("rater"), one.matches.get("rater_role")
    mentor, supervisor = one.matches.get("mentor"), one.matches.get("supervisor")
    if rater is None and role is not None and mentor and supervisor:
        return _by_role(role.column, {"mentor": mentor, "supervisor": supervisor})
    if rater is None:
        return [_without_rater(one, role, mentor, supervisor, known, ask)]
    who = Who(Guess(rater.column.written, rater.confidence))
    return [_with_role(who, rater.column, role, one, known, ask)]


def _by_role(role: Column, people: Mapping[str, Match]) -> list[Who]:
    """Two blocks of one sheet: for each role the column of its people, the other role's rows skipped."""
    names = {value: _role(value) for value in role.values}
    found = []
    for code, match in people.items():
        others = [value for value, name in names.items() if name != code]
        if len(others) < len(names):
            skip = [{"column": role.heading, "equals": value} for value in others]
            note = f"where {role.heading!r} says so"
            guess = Guess(match.column.written, 0.85, note)
            found.append(Who(guess, role=Guess(code, 0.9, note), skip=skip))
    return found


def _without_rater(
    one: View,
    role: Match | None,
    mentor: Match | None,
    supervisor: Match | None,
    known: Pools,
    ask: Ask,
) -> Who:
    """The one person that a form names besides the candidate is who filled it in."""
    told = _told(one)
    people = {"mentor": mentor, "supervisor": supervisor}
    given = {code: match for code, match in people.items() if match}
    if len(given) == 2 and told in given:
        given = {told: given[told]}
    if len(given) == 1:
        code, match = next(iter(given.items()))
        who = Who(
            Guess(match.column.written, 0.8 * match.confidence + 0.1, "taken for who filled in the form")
        )
        if role is not None:
            return _with_role(who, match.column, role, one, known, ask)
        who.role = Guess(
            code, 0.85 if told in (code, None) else 0.5, f"from the heading {match.column.heading!r}"
        )
        return who
    if len(given) == 2:
        chosen = given["supervisor"]
        who = Who(
            Guess(chosen.column.written, 0.45, "mentor and supervisor are named: who filled in the form?")
        )
        who.role = Guess("supervisor", 0.45)
        return who
    who = Who(Guess(NOBODY, 0.3, "no column says who rated"), rater_constant=True)
    return _with_role(who, None, role, one, known, ask)


def _with_role(who: Who, rater: Column | None, role: Match | None, one: View, known: Pools, ask: Ask) -> Who:
    if role is not None:
        names = {value: _role(value) for value in role.column.values}
        names |= _by_people(role.column, names, rater, known)
        who.role, who.role_column = Guess(role.column.heading, role.confidence), True
        who.words = {value: code for value, code in names.items() if code and code != value}
        unknown = [value for value, code in names.items() if not code]
        if unknown:
            who.role.sure = min(who.role.sure, 0.6)
            who.role.note = f"which role is {', '.join(map(repr, unknown[:4]))}?"
        return who
    told = _told(one, rater.heading if rater else "")
    if told:
        who.role = Guess(told, 0.85, "from the words of the sheet, the file or the heading")
        return who
    if rater is not None:
        by_code = {value: code for value in rater.values if (code := _in_pools(value, known))}
        share = rater.share([value in by_code for value in rater.values])
        roles = set(by_code.values())
        if len(roles) == 1 and share >= _MOST:
            code = roles.pop()
            who.role = Guess(code, 0.6 + 0.35 * share, f"the raters are the {code}s of the placements")
            return who
        if roles and share >= 0.5 and len(rater.values) <= 400:
            who.role, who.role_column = Guess(rater.heading, 0.55 + 0.35 * share), True
            who.role.note = "the role of each, as the placements name them"
            rest = {value: "other" for value in rater.values if value not in by_code}
            who.words = by_code | rest
            if rest:
                who.role.sure = min(who.role.sure, 0.65)
                who.role.note += f"; {len(rest)} who are in no placement count as other"
            return who
    answer = ask(f"{one.name}: in which role were these ratings given?", ROLES)
    if answer in ROLES:
        who.role = Guess(answer, 0.97, "as you said")
    else:
        who.role = Guess("supervisor", 0.4, "nothing says in which role the ratings were given")
    return who


def _by_people(
    role: Column, names: Mapping[str, str | None], rater: Column | None, known: Pools
) -> dict[str, str]:
    """Roles of words that are no role to us, such as U and C, by the people who bear them."""
    found: dict[str, str] = {}
    people = [str(who) for who in rater.texts()] if rater is not None else []
    for value in [value for value, code in names.items() if not code]:
        seen = Counter(
            code for text, who in zip(role.texts(), people, strict=False) if text == value
            and (code := _in_pools(str(who), known))
        )  # fmt: skip
        if seen and seen.most_common(1)[0][1] >= _MOST * sum(seen.values()):
            found[value] = seen.most_common(1)[0][0]
    return found


def _told(one: View, heading: str = "") -> str | None:
    for text in (heading, one.grid.sheet, PurePath(one.grid.file).stem.replace("_", " ")):
        found = words.role_in(text)
        if found:
            return found
    return None


def _role(text: str) -> str | None:
    return words.category(text, words.groups("ratings", "rater_role")) or words.role_in(text)


def _in_pools(value: str, known: Pools) -> str | None:
    inside = [code for code in ("mentor", "supervisor") if value in known.get(code, ())]
    return inside[0] if len(inside) == 1 else None
