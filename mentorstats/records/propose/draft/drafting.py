"""From sheets that are known to the blocks of a mapping."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from mentorstats import dictionary
from mentorstats.records.checking import names
from mentorstats.records.propose import days, evidence, keys, raters, tables, wide, words
from mentorstats.records.propose.assign import LEAST, Match
from mentorstats.records.propose.columns import Column
from mentorstats.records.propose.draft.drafts import Ask, Draft, Drafts, Guess
from mentorstats.records.propose.draft.scales import Instruments
from mentorstats.records.propose.keys import Key
from mentorstats.records.propose.tables import View
from mentorstats.records.reading.package import UNCOMPUTED

_DIFFER = 0.02  # share of keys that may differ in what is told of a lesson or a placement
_TAKEN = 0.85  # confidence of another column by which a field needs no second one
_REQUIRED_LESS = 0.75  # what a guess is worth when cells of a field that must be filled are empty


@dataclass(slots=True)
class Builder:
    """Makes the blocks; keys are those by which placements and lessons are known in all sheets."""

    views: Sequence[View]
    ask: Ask
    made: Drafts = field(default_factory=Drafts)
    placement: Key = ()
    placement_sure: float = 0.0
    observation: Key = ()
    form_key: Key = ()
    form_sure: float = 0.0
    matched: set[int] = field(default_factory=set)

    def build(self) -> Drafts:
        """Make all blocks."""
        forms = self._of("ratings")
        lessons = self._of("observations")
        parents = self._of("placements")
        children = [*lessons, *forms, *(one for one in self.views if one.table in _OTHERS and _points(one))]
        keys.align(parents, children)
        self.placement, self.placement_sure = keys.of_placements(parents, _with_people(children))
        self.observation, found = keys.of_observations(lessons, forms)
        self.matched = {id(one) for one in found}
        own = [one for one in forms if id(one) not in self.matched]
        if own:
            self.form_key, self.form_sure = keys.of_forms(own)
        if not self.observation:
            self.observation = self.form_key or keys.of_forms(lessons)[0] if lessons else ("observation",)
        self._placements(parents, [*lessons, *own])
        for one in lessons:
            self._lessons(one, [one], self.observation, 0.95 if found else 0.85)
        for one in own:
            self._lessons(one, own, self.form_key, self.form_sure)
        instruments = Instruments(self.views, self.ask)
        for one in forms:
            self._ratings(one, instruments)
        for one in self.views:
            if one.table in ("rubrics", "raters", "key_ratings", *_OTHERS):
                self._other(one, instruments)
        self.made.scales = instruments.scales()
        self.made.opened += instruments.opened
        self._unused()
        self._names()
        return self.made

    def _of(self, table: str) -> list[View]:
        return [one for one in self.views if one.table == table]

    def _placements(self, parents: Sequence[View], children: Sequence[View]) -> None:
        """Placements from their own sheet, or out of lessons and forms where there is none."""
        for one in parents:
            self._told_of(one, [one], "placements", self.placement, self.placement_sure, distinct=False)
        if parents:
            return
        with_people = [one for one in children if one.several(self.placement) and one.column("candidate")]
        for one in with_people:
            self._told_of(
                one, with_people, "placements", self.placement, 0.8 * self.placement_sure, distinct=True
            )
        if with_people:
            names = ", ".join(one.name for one in with_people)
            self.made.opened.append(
                f"No sheet lists the placements: they are taken from {names}. An export of placements with "
                "mentor, supervisor, site and dates would tell more."
            )

    def _lessons(self, one: View, like: Sequence[View], key: Key, sure: float) -> None:
        distinct = one.table != "observations" or keys.once([one], key) < 1.0
        if not key or not one.several(key):
            self.made.opened.append(f"{one.name}: no column tells which lesson a row is about.")
            return
        self._told_of(one, like, "observations", key, sure, distinct=distinct)

    def _told_of(
        self, one: View, like: Sequence[View], table: str, key: Key, sure: float, *, distinct: bool
    ) -> None:
        """A block of placements or lessons; what differs between rows of one key is left out."""
        draft = self._draft(one, table)
        own = table.removesuffix("s")
        draft.columns[own] = _key_guess(one, key, sure)
        if distinct:
            draft.plain["distinct"] = True
        if table == "observations":
            draft.columns["placement"] = self._placement_guess(one)
        for name in dictionary.table(table).names:
            match = one.matches.get(name)
            if match is None or name in draft.columns:
                continue
            if distinct and name not in key and keys.differ(like, key, name) > _DIFFER:
                draft.unused.append((match.column.heading, f"differs between rows of one {own}"))
                continue
            self._field(draft, name, match)
        self._finish(one, draft)

    def _placement_guess(self, one: View) -> Guess:
        if one.several(self.placement):
            return _key_guess(one, self.placement, self.placement_sure)
        for concept in ("placement", "candidate", "observation"):
            column = one.column(concept)
            if column is not None:
                return Guess(
                    column.written, 0.35, "does not fit the placements: how is a placement known here?"
                )
        return Guess(one.usable[0].heading, 0.1, "no column tells which placement a row is about")

    def _observation_guess(self, one: View) -> Guess:
        key, sure = (self.observation, 0.95) if id(one) in self.matched else (self.form_key, self.form_sure)
        if one.table in _OTHERS or not key or not one.several(key):
            key, sure = self.observation, 0.3
            for parents in (self._of("observations"), self._of("ratings")):
                sure = max(sure, 0.95 * keys.inside(one, key, parents) if parents and key else 0.0)
        if key and one.several(key):
            return _key_guess(one, key, sure)
        return self._placement_guess(one)

    def _field(self, draft: Draft, name: str, match: Match) -> None:
        """Write one field: its heading, and how its cells become ours."""
        found = dictionary.table(draft.table).field(name)
        column = match.column
        value: Any = column.written
        unit = evidence.unit_of(column, found)
        if unit:
            value = {"column": column.heading, "unit": unit}
        guess = Guess(value, match.confidence)
        if found.required and column.filled < 1.0:
            guess.note = f"empty in {column.rows - column.n} of {column.rows} rows"
            guess.sure *= _REQUIRED_LESS if column.filled < 0.9 else 1.0
        draft.columns[name] = guess
        if found.type in ("integer", "number") and column.decimal == ",":
            draft.plain["decimal"] = ","
        if found.categories:
            self._categories(draft, name, column, guess)
        elif found.type == "boolean":
            _booleans(draft, name, column)

    def _categories(self, draft: Draft, name: str, column: Column, guess: Guess) -> None:
        groups = words.groups(draft.table, name)
        known = {value: words.category(value, groups) for value in column.values}
        draft.values[name] = {value: code for value, code in known.items() if code and code != value}
        unknown = [value for value, code in known.items() if not code]
        if len(unknown) == len(known) and not dictionary.table(draft.table).field(name).required:
            shown = ", ".join(map(repr, unknown[:4]))
            draft.unused.append(
                (column.heading, f"UNSURE: may be {name}, in words that are not known: {shown}")
            )
            del draft.columns[name], draft.values[name]
        elif unknown:
            guess.note = f"not known: {', '.join(map(repr, unknown[:4]))}; add them under values.{name}"
            guess.sure = min(guess.sure, 0.65)

    def _ratings(self, one: View, instruments: Instruments) -> None:
        known = tables.pools(self.views, but=one)
        if len(one.blocks) > 1:
            self._side_by_side(one, instruments)
            return
        if one.sides:
            self._levels_side_by_side(one, one.sides, instruments)
            return
        teller = self._teller(one)
        for who in raters.of_sheet(teller or one, known, self.ask):
            draft = self._draft(one, "ratings", who.skip if teller is None else ())
            if teller is not None:
                draft.plain["look_up"] = self._look_up(one, teller)
            draft.columns["observation"] = self._observation_guess(one)
            (draft.constants if who.rater_constant else draft.columns)["rater"] = who.rater
            (draft.columns if who.role_column else draft.constants)["rater_role"] = who.role
            if who.words:
                draft.values["rater_role"] = who.words
            if one.blocks:
                instruments.wide(draft, one, one.blocks[:1])
                draft.criteria = _criteria(one, 0)
            else:
                instruments.long(draft, one)
            self._rest(draft, one)
            self._finish(one, draft)

    def _teller(self, one: View) -> View | None:
        """The sheet of lessons that names the rater of each, where the sheet of levels names nobody."""
        if id(one) not in self.matched or {"rater", "mentor", "supervisor"} & set(one.matches):
            return None
        there = [other for other in self._of("observations") if other.matches.get("rater")]
        if len(there) != 1 or len(self.observation) != 1 or keys.once(there, self.observation) < 1.0:
            return None
        named = [there[0].column(name) for name in ("rater", "rater_role")]
        return None if {c.heading for c in named if c} & set(one.sheet.headings) else there[0]

    def _look_up(self, one: View, teller: View) -> dict[str, str]:
        ours, theirs = one.several(self.observation), teller.several(self.observation)
        made = {"file": teller.grid.file}
        if teller.grid.sheet:
            made["sheet"] = teller.grid.sheet
        made["column"] = ours[0].heading if ours else ""
        if theirs and theirs[0].heading != made["column"]:
            made["its"] = theirs[0].heading
        return made

    def _side_by_side(self, one: View, instruments: Instruments) -> None:
        draft = self._draft(one, "ratings")
        draft.columns["observation"] = self._observation_guess(one)
        instruments.wide(draft, one, one.blocks)
        for place, block in enumerate(one.blocks):
            own = Draft("ratings", {})
            role = block.role or "other"
            self._person(own, one, role)
            own.constants["rater_role"] = Guess(role, 0.9, "from the headings")
            own.criteria = _criteria(one, place)
            draft.raters.append(own)
        self._rest(draft, one)
        self._finish(one, draft)

    def _levels_side_by_side(self, one: View, sides: dict[str, Column], instruments: Instruments) -> None:
        draft = self._draft(one, "ratings")
        draft.columns["observation"] = self._observation_guess(one)
        instruments.long(draft, one, list(sides.values()))
        draft.columns.pop("level", None)
        for role, column in sides.items():
            own = Draft("ratings", {})
            self._person(own, one, role)
            own.constants["rater_role"] = Guess(role, 0.9, "from the heading")
            own.columns["level"] = Guess(column.heading, 0.88)
            draft.raters.append(own)
        self._rest(draft, one)
        self._finish(one, draft)

    def _person(self, own: Draft, one: View, role: str) -> None:
        match = one.matches.get(role) or one.matches.get("rater")
        if match:
            own.columns["rater"] = Guess(match.column.written, match.confidence)
        else:
            own.constants["rater"] = Guess(f"{role}_{raters.NOBODY}", 0.3, f"no column names the {role}")

    def _rest(self, draft: Draft, one: View) -> None:
        given = {*draft.columns, *draft.constants, "level", "criterion", "rater"}
        for name in ("independent", "missing_reason"):
            if name in one.matches and name not in given:
                self._field(draft, name, one.matches[name])

    def _other(self, one: View, instruments: Instruments) -> None:
        draft = self._draft(one, one.table)
        table = dictionary.table(one.table)
        pointed = {name: key.table for key in table.foreign_keys for name in key.fields}
        for name in table.names:
            match = one.matches.get(name)
            if pointed.get(name) == "placements":
                draft.columns[name] = self._placement_guess(one)
            elif pointed.get(name) == "observations":
                draft.columns[name] = self._observation_guess(one)
            elif match is not None:
                self._field(draft, name, match)
            elif name == "role" and one.table == "raters":
                told = words.role_in(one.grid.sheet) or words.role_in(one.grid.file)
                draft.constants[name] = Guess(
                    told or "supervisor", 0.8 if told else 0.4, "no column of roles"
                )
        instruments.fits(draft, one)
        lacking = [n for n in table.required if n not in draft.columns and n not in draft.constants]
        if lacking:
            self.made.unread.append((one.name, f"looks like {one.table}, but has no {', '.join(lacking)}"))
            return
        self._finish(one, draft)

    def _draft(self, one: View, table: str, skip: Iterable[dict[str, Any]] = ()) -> Draft:
        plain: dict[str, Any] = {"file": one.grid.file}
        if one.grid.sheet:
            plain["sheet"] = one.grid.sheet
        if len(one.heading_rows) > 1:
            plain["heading_rows"] = list(one.heading_rows)
        elif one.heading_rows != (1,):
            plain["heading_row"] = one.heading_rows[0]
        for key, usual in (("delimiter", ","), ("encoding", "utf-8")):
            value = getattr(one.grid.options, key)
            if value != usual:
                plain[key] = value
        rules = [*one.kept.rules, *skip]
        if rules:
            plain["skip"] = rules if len(rules) > 1 else rules[0]
        draft = Draft(table, plain)
        if one.kept.left:
            shown = ", ".join(map(str, one.kept.left[:5]))
            self.made.opened.append(
                f"{one.name}: rows {shown} hold hardly anything, and no rule leaves them out."
            )
        return draft

    def _finish(self, one: View, draft: Draft) -> None:
        self._dates(one, draft)
        self.made.sources.append(draft)

    def _dates(self, one: View, draft: Draft) -> None:
        """The formats of all date columns that the block uses."""
        used = {name for guess in draft.columns.values() for name in _headings(guess.value)}
        found = [c for c in one.usable if (c.heading in used and c.is_date) or _date_field(draft, c)]
        if not found:
            return
        told = {order for c in one.columns if c.n and (order := days.order_of(c.dates))}
        prefer = told.pop() if len(told) == 1 else self._order_elsewhere(one)
        formats: dict[str, None] = {}
        sure, note = 0.97, ""
        for column in found:
            chosen, certain, why = days.settled(column.dates, prefer=prefer)
            if certain < 0.6:
                chosen, certain, why = self._asked(one, column, chosen, certain, why)
            formats |= dict.fromkeys(chosen.formats)
            if chosen.months:
                draft.plain["months"] = list(chosen.months)
            if certain < sure:
                sure, note = certain, why
        if one.sheet.typed and days.ISO in formats and len(formats) == 1:
            return
        if list(formats) == [days.ISO]:
            return
        draft.dates = Guess(list(formats), sure, note)

    def _order_elsewhere(self, one: View) -> str:
        told = Counter(
            order
            for other in self.views
            if other is not one and other.table
            for column in other.columns
            if column.n and (order := days.order_of(column.dates))
        )
        return told.most_common(1)[0][0] if len(told) == 1 else ""

    def _asked(
        self, one: View, column: Column, chosen: days.Days, sure: float, why: str
    ) -> tuple[days.Days, float, str]:
        example = next((v for v in column.values if days.parsed(v, chosen.formats, chosen.months)), "")
        readings = {
            day.strftime("%d %B %Y"): found
            for found in (chosen, days.turned(chosen))
            if (day := days.parsed(example, found.formats, found.months))
        }
        if len(readings) < 2:
            return chosen, sure, why
        answer = self.ask(f"{one.name}, column {column.heading!r}: which day is {example}?", list(readings))
        if answer in readings:
            return readings[answer], 0.97, "as you said"
        return chosen, sure, why

    def _names(self) -> None:
        """Say which columns of people hold names, with which a report stops."""
        found: dict[str, None] = {}
        for one in self.views:
            for match in (one.matches.get(concept) for concept in evidence.PEOPLE):
                if match is not None and names.looks_like_names(match.column.values):
                    found[f"{match.column.heading!r} of {one.name}"] = None
        self.made.names = bool(found)
        if found:
            inside = any("rater_role" in draft.values for draft in self.made.sources)
            more = " This file names raters too, to say in which role each is." if inside else ""
            self.made.opened.append(
                f"People are named in {'; '.join(found)}: a report stops until they are codes. "
                f"The block [identities] at the end has them replaced.{more}"
            )

    def _unused(self) -> None:
        """List the columns that no block uses, and say of those that could have been a field."""
        for one in self.views:
            mine = [draft for draft in self.made.sources if draft.where == _where(one)]
            told = [*mine, *(draft for draft in self.made.sources if _looks_in(draft, one))]
            used = {name for draft in told for _, guess in draft.guesses() for name in _headings(guess.value)}
            reasons = {heading: why for draft in mine for heading, why in draft.unused}
            for draft in mine:
                draft.unused = []
            for column in one.columns:
                if mine and not column.parts and column.heading not in used and (column.heading or column.n):
                    mine[0].unused.append(
                        (column.heading, reasons.get(column.heading) or _why_unused(one, column))
                    )


_OTHERS = tuple(
    name
    for name in dictionary.tables()
    if name not in ("placements", "observations", "ratings", "rubrics", "raters", "key_ratings")
)


def _points(one: View) -> bool:
    return any(key.table == "placements" for key in dictionary.table(one.table).foreign_keys)


def _with_people(views: Sequence[View]) -> list[View]:
    return [one for one in views if one.column("candidate") or one.column("placement")]


def _looks_in(draft: Draft, one: View) -> bool:
    link = draft.plain.get("look_up", {})
    return (link.get("file"), link.get("sheet", "")) == (one.grid.file, one.grid.sheet)


def _where(one: View) -> str:
    return one.sheet.where


def _key_guess(one: View, key: Key, sure: float) -> Guess:
    columns = one.several(key) or []
    matched = min((one.matches[name].confidence for name in key), default=0.0)
    parts = [column.written for column in columns]
    if len(parts) > 1 and any(isinstance(part, dict) for part in parts):
        parts = [name for part in parts for name in _headings(part)]
    note = "" if len(parts) == 1 else "together they tell one from another"
    return Guess(parts[0] if len(parts) == 1 else parts, min(sure, 0.3 + 0.7 * matched), note)


def _criteria(one: View, place: int) -> dict[str, Guess]:
    block = one.blocks[place]
    return {code: Guess(column.heading, block.sure[code]) for code, column in block.columns.items()}


def _booleans(draft: Draft, name: str, column: Column) -> None:
    field_of = dictionary.table(draft.table).field(name)
    known = words.vocabulary()
    found = {}
    for value in column.values:
        if value in field_of.true_values or value in field_of.false_values:
            continue
        if words.bare(value) in known["yes"]["words"] or value.strip() in "✓✔":
            found[value] = "true"
        elif words.bare(value) in known["no"]["words"]:
            found[value] = "false"
    if found:
        draft.values[name] = found


def _headings(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, list):
        return [str(part) for part in value]
    return [str(part) for part in (value.get("columns") or [value.get("column", "")])]


def _date_field(draft: Draft, column: Column) -> bool:
    table = dictionary.table(draft.table)
    return any(
        column.heading in _headings(guess.value) and table.field(name).type == "date"
        for name, guess in draft.columns.items()
    )


def _why_unused(one: View, column: Column) -> str:
    if not column.n:
        return "empty"
    if not column.heading:
        return f"no heading, and {column.n} filled cells"
    if [h.casefold() for h in one.sheet.headings].count(column.heading.casefold()) > 1:
        return "several columns bear this heading; give each its own to use one of them"
    if wide.is_derived(column.heading) or column.values == (UNCOMPUTED,):
        return "computed from other columns"
    if column.remarks > 0.3 or words.like_listed(column.heading, "free_text") > 0.8:
        return "remarks"
    if column.mail > 0.5:
        return "e-mail addresses"
    if any(column.place in other.parts for other in one.columns) and one.column("candidate"):
        return "part of a name; candidates are known by a code"
    best = max(
        ((evidence.score(column, table, name, {}), name) for table, name in tables.concepts(one.table)),
        default=(0.0, ""),
    )
    taken = one.matches.get(best[1])
    if taken is not None and taken.confidence >= _TAKEN and best[0] >= LEAST:
        return f"{best[1]} is taken from {taken.column.heading!r}"
    if best[0] >= 0.45:
        return f"UNSURE: may be {best[1]}"
    if words.like_listed(column.heading, "unrelated") > 0.7:
        return "no record of ours"
    if words.bare(column.heading) in ("", "no", "nr", "row", "line", "id"):
        return "a number of rows"
    return f"UNSURE: may be of use: it holds {_kind(column)}"


def _kind(column: Column) -> str:
    if column.is_date:
        return "dates"
    if column.yes_no > 0.85:
        return "yes or no"
    if column.number > 0.9:
        return "numbers"
    shown = ", ".join(repr(value[:20]) for value in column.values[:2])
    return f"{len(column.values)} different texts such as {shown}"
