"""Rubrics, versions, criteria and levels: those that a file declares, and those that forms show."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from mentorstats.records.propose import levels, words
from mentorstats.records.propose.columns import Column
from mentorstats.records.propose.draft.drafts import Ask, Draft, Guess, ScaleDraft
from mentorstats.records.propose.levels import Scale
from mentorstats.records.propose.tables import View
from mentorstats.records.propose.wide import Block

RUBRIC = "rubric"  # code of a rubric that no export names
_NAMED = 0.75  # of a name that is ours; the list of what is open asks for theirs, once
_MATCHED = 0.8  # share of criteria that a declared version must have


@dataclass(slots=True)
class Declared:
    """One version that a rubric export declares: levels with label and rank by criterion."""

    rubric: str
    version: str
    criteria: dict[str, list[tuple[str, str, str]]] = field(default_factory=dict)
    titles: dict[str, str] = field(default_factory=dict)


class Instruments:
    """Keeps the scales of all forms, so that forms with the same criteria share one."""

    def __init__(self, views: Sequence[View], ask: Ask) -> None:
        self.ask = ask
        self.opened: list[str] = []
        self._declared = [version for one in views if one.table == "rubrics" for version in _versions(one)]
        self._made: list[tuple[ScaleDraft, set[str], Scale]] = []

    def scales(self) -> list[ScaleDraft]:
        """The blocks that the mapping needs because no export declares them."""
        return [made for made, _, _ in self._made]

    def wide(self, draft: Draft, one: View, blocks: Sequence[Block]) -> None:
        """Say rubric, version and levels of a form with a column a criterion, in place."""
        counts: Counter[str] = Counter()
        for block in blocks:
            counts += block.counts()
        titles = {code: title for block in blocks for code, title in block.titles.items()}
        found = [column.heading for block in blocks for column in block.columns.values()]
        self._say(draft, one, titles, counts, found)

    def long(self, draft: Draft, one: View, given: Sequence[Column] = ()) -> None:
        """Say criterion, level, rubric and version of a table with a row a rating, in place."""
        criterion, level = one.matches["criterion"], one.matches.get("level")
        draft.columns["criterion"] = Guess(criterion.column.heading, criterion.confidence)
        columns = list(given) or ([level.column] if level else [])
        if level and not given:
            draft.columns["level"] = Guess(level.column.heading, level.confidence)
        counts: Counter[str] = Counter()
        for column in columns:
            counts.update(dict(zip(column.values, map(int, column.counts), strict=True)))
        names = {value: value for value in criterion.column.values}
        self._words_of_criteria(draft, names)
        codes = {draft.values.get("criterion", {}).get(value, value): value for value in names}
        self._say(draft, one, codes, counts, [column.heading for column in columns])

    def fits(self, draft: Draft, one: View) -> None:
        """Say rubric and version where another table lacks them, and levels of expert scores, in place."""
        if draft.table == "rubrics":
            self._rubrics(draft, one)
        if draft.table != "key_ratings":
            return
        given = one.matches.get("criterion")
        codes = {value: value for value in given.column.values} if given else {}
        declared = self._version(codes)
        first = self._made[0][0] if self._made else None
        for name, value in (
            ("rubric", declared.rubric if declared else first.rubric if first else RUBRIC),
            ("rubric_version", declared.version if declared else first.version if first else "1"),
        ):
            if name not in draft.columns:
                draft.constants[name] = Guess(value, 0.6, "no column says it")

    def _rubrics(self, draft: Draft, one: View) -> None:
        for name, value in (("rubric", RUBRIC), ("version", "1")):
            if name not in draft.columns:
                draft.constants[name] = Guess(value, 0.6, "no column says it")
        level = one.matches.get("level")
        if "rank" not in draft.columns and level and level.column.number > 0.99:
            draft.columns["rank"] = Guess(level.column.heading, 0.8, "levels are numbers: they are ranks too")

    def _words_of_criteria(self, draft: Draft, names: dict[str, str]) -> None:
        """Turn words of criteria into the codes that a rubric declares, where they are not codes already."""
        for version in self._declared:
            if all(name in version.criteria for name in names):
                return
            by_title = {words.bare(title): code for code, title in version.titles.items()}
            found = {name: by_title.get(words.bare(name)) for name in names}
            if all(found.values()):
                draft.values["criterion"] = {name: code for name, code in found.items() if code}
                return

    def _say(
        self, draft: Draft, one: View, titles: dict[str, str], counts: Counter[str], headings: Sequence[str]
    ) -> None:
        named = {name: one.matches.get(name) for name in ("rubric", "rubric_version")}
        declared = self._version(titles)
        if declared is not None:
            self._as_declared(draft, declared, counts)
            values = {"rubric": declared.rubric, "rubric_version": declared.version}
            sure = 0.93
        else:
            scale = levels.scale(counts, headings)
            made = self._scale(one, titles, scale)
            draft.levels = {cell: level for cell, level in scale.cells.items() if level in made.levels.value}
            draft.missing = scale.missing
            values = {"rubric": made.rubric, "rubric_version": made.version}
            sure = _NAMED
        for name, match in named.items():
            if match is not None and not one.blocks:
                draft.columns[name] = Guess(match.column.heading, match.confidence)
                if declared is None and match.column.values:
                    self._named(name, match.column, values[name], draft)
            else:
                draft.constants[name] = Guess(
                    values[name], sure, "" if declared else "a name of ours: what is yours?"
                )

    def _named(self, name: str, column: Column, value: str, draft: Draft) -> None:
        """A column names rubric or version, and nothing declares it: the scale takes its name."""
        for made, _, _ in self._made:
            if name == "rubric" and made.rubric == value:
                made.rubric = column.values[0]
            if name == "rubric_version" and made.version == value:
                made.version = column.values[0]
        if len(column.values) > 1:
            draft.columns[name].note = "several stand there: each needs a [[scale]] of its own"
            draft.columns[name].sure = min(draft.columns[name].sure, 0.6)
            copies = []
            for made, codes, scale in self._made:
                for other in column.values[1:] if column.values[0] in (made.rubric, made.version) else ():
                    rubric = other if name == "rubric" else made.rubric
                    version = other if name == "rubric_version" else made.version
                    copies.append(
                        (
                            ScaleDraft(rubric, version, made.levels, made.criteria, made.labels, made.titles),
                            codes,
                            scale,
                        )
                    )
            self._made += copies

    def _version(self, titles: dict[str, str]) -> Declared | None:
        best, chosen = 0.0, None
        for version in self._declared:
            share = sum(code in version.criteria for code in titles) / max(len(titles), 1)
            if share > best:
                best, chosen = share, version
        return chosen if best >= _MATCHED else None

    def _as_declared(self, draft: Draft, declared: Declared, counts: Counter[str]) -> None:
        """Turn cells into the levels that the rubric declares: by code, by label, by rank."""
        by: dict[str, str] = {}
        codes = set()
        for steps in declared.criteria.values():
            for code, label, rank in steps:
                codes.add(code)
                by.setdefault(words.bare(code), code)
                by.setdefault(words.bare(label), code)
                by.setdefault(rank, code)
        for text in counts:
            if text in codes:
                continue
            number = levels.scale({text: 1}, ()).cells.get(text, text)
            level = by.get(words.bare(text)) or by.get(number) or by.get(text)
            why = levels.reason(text)
            if level:
                draft.levels[text] = level
            elif why:
                draft.missing[text] = why
            else:
                self.opened.append(f"{draft.where}: which level of {declared.rubric!r} is {text!r}?")

    def _scale(self, one: View, titles: dict[str, str], scale: Scale) -> ScaleDraft:
        """The scale of a form; forms of the same criteria and levels have one."""
        codes = set(titles)
        for made, known, other in self._made:
            if (codes <= known or known <= codes) and _same_words(scale, other):
                known |= codes
                made.criteria += [code for code in titles if code not in made.criteria]
                made.titles |= {c: t for c, t in titles.items() if t and c not in made.titles and t != c}
                _widen(made, other, scale)
                return made
        order = scale.levels
        sure, note = scale.order, "; ".join(scale.notes)
        if scale.order < 0.3 and len(order) > 1:
            order, sure, note = self._order(one, scale)
        made = ScaleDraft(
            RUBRIC,
            str(len(self._made) + 1),
            Guess(list(order), sure, note),
            list(titles),
            [scale.labels.get(level, level) for level in order] if scale.labels else [],
            {code: title for code, title in titles.items() if title and title != code},
        )
        self._made.append((made, codes, scale))
        self.opened.append(
            f"No export names the rubric of {one.name}: it is called {RUBRIC} {made.version} until you write "
            "its own name and version."
        )
        return made

    def _order(self, one: View, scale: Scale) -> tuple[list[str], float, str]:
        """Ask for the order of levels, the lowest first, one after the other."""
        left, order = list(scale.levels), list[str]()
        while len(left) > 1:
            which = "lowest" if not order else "next higher"
            answer = self.ask(f"{one.name}: which level is the {which}?", left)
            if answer not in left:
                return list(scale.levels), 0.0, "; ".join(scale.notes)
            order.append(answer)
            left.remove(answer)
        return [*order, *left], 0.97, "as you said"


def _same_words(one: Scale, other: Scale) -> bool:
    ours, theirs = set(one.levels), set(other.levels)
    return bool(ours & theirs) or not ours or not theirs


def _widen(made: ScaleDraft, known: Scale, scale: Scale) -> None:
    """Add levels that only another sheet shows, where they are numbers."""
    more = [level for level in scale.levels if level not in made.levels.value]
    if not more:
        return
    if all(level.isdigit() for level in (*more, *made.levels.value)):
        merged = sorted({*made.levels.value, *more}, key=int)
        made.levels.value = merged
        known.levels = merged
        known.labels |= scale.labels
        if made.labels:
            made.labels = [known.labels.get(level, level) for level in merged]
    else:
        counts = dict.fromkeys((*made.levels.value, *more), 1)
        again = levels.scale(counts, ())
        made.levels = Guess(again.levels, again.order, "; ".join(again.notes))
        known.levels = again.levels


def _versions(one: View) -> list[Declared]:
    """What a sheet of rubrics declares."""
    names = ("rubric", "version", "criterion", "level", "label", "rank", "title")
    texts = {
        name: column.texts() if (column := one.column(name)) is not None else [""] * len(one.columns[0].codes)
        for name in names
    }
    found: dict[tuple[str, str], Declared] = {}
    for rubric, version, criterion, level, label, rank, title in zip(*texts.values(), strict=True):
        if not criterion or not level:
            continue
        key = (rubric or RUBRIC, version or "1")
        made = found.setdefault(key, Declared(*key))
        made.criteria.setdefault(criterion, []).append((level, label or level, rank))
        if title:
            made.titles[criterion] = title
    return list(found.values())
