"""What an older mapping of the same programme knew, and what is new since."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mentorstats.declared import toml_file
from mentorstats.errors import MappingError, SourceFileError
from mentorstats.records import mapping
from mentorstats.records.propose import words
from mentorstats.records.propose.draft.drafts import BEFORE, Draft, Drafts, Guess, ScaleDraft
from mentorstats.records.propose.tables import View
from mentorstats.records.reading.sheet import Sheet

Old = dict[str, Any]

_GUESSED = ("columns", "constants", "criteria")
_OTHER = ("levels", "missing", "values", "raters", "table", "dates")
_LIKE = 0.8  # likeness of a heading to one that is gone
_MOST = 0.6  # share of a block's headings that a sheet must have


@dataclass(frozen=True, slots=True)
class Fit:
    """One block of the old mapping beside a sheet that it fits."""

    block: Old
    view: View
    sheet: Sheet
    gone: tuple[str, ...]


def known(path: Path) -> Old | None:
    """Return the content of the older mapping, None where there is none; raises where it is not legal."""
    if not path.exists() and not path.is_symlink():
        return None
    mapping.read(path)
    return toml_file.read(path, MappingError)


def merged(old: Old, made: Drafts, views: Sequence[View]) -> Drafts:
    """Put the blocks of the old mapping in the place of those proposed, and say what is new."""
    fits, changes = _fits(old, views)
    taken = {(fit.view.grid.file, fit.view.grid.sheet, fit.block["table"]) for fit in fits}
    kept = Drafts(opened=made.opened, unread=made.unread, changes=changes)
    seen: set[tuple[int, str, str]] = set()
    for fit in fits:
        name = fit.block["file"] if _is_pattern(fit.block, fit.view) else fit.view.grid.file
        key = (id(fit.block), name, fit.view.grid.sheet if "sheet" in fit.block else "")
        proposed = [draft for draft in made.sources if _same(draft, fit)]
        draft = _draft(fit, name, changes)
        _new(fit, draft, proposed, changes)
        if key not in seen:
            seen.add(key)
            kept.sources.append(draft)
    kept.identities, kept.names = old.get("identities", {}), made.names
    kept.scales = [_scale(block) for block in old.get("scale", ())]
    fresh = [draft for draft in made.sources if not _taken(draft, taken)]
    for draft in fresh:
        changes.append(f"new: {draft.where} as {draft.table}")
    kept.sources += fresh
    kept.scales += _new_scales(kept.scales, made.scales, fresh)
    if not changes:
        changes.append("nothing: the old mapping still fits")
    return kept


def _fits(old: Old, views: Sequence[View]) -> tuple[list[Fit], list[str]]:
    fits, changes = [], []
    for block in old.get("source", ()):
        found = [fit for one in views if (fit := _fit(block, one))]
        exact = [fit for fit in found if _named_so(block, fit.view)]
        found = exact or found
        fits += found
        if not found:
            sheet = f", sheet {block['sheet']!r}" if "sheet" in block else ""
            changes.append(f"gone: {block['file']}{sheet} ({block['table']}) fits nothing in the folder")
    return fits, changes


def _fit(block: Old, one: View) -> Fit | None:
    """Whether a block fits a sheet: by name, digits aside, and by most of its headings."""
    if not _loosely(block["file"], one.grid.file):
        return None
    if "sheet" in block and not _loosely(block["sheet"], one.grid.sheet):
        return None
    rows = block.get("heading_rows") or [block.get("heading_row", block.get("header_row", 1))]
    sheet = one.sheet
    named = _headings(block)
    if tuple(rows) != one.heading_rows and not all(_there(sheet, name) for name in named):
        try:
            sheet = one.grid.whole(tuple(rows))
        except (SourceFileError, StopIteration):
            return None
    gone = tuple(name for name in named if not _there(sheet, name))
    if "look_up" in block:  # what is not here stands in the other sheet
        return Fit(block, one, sheet, ()) if len(gone) < len(named) else None
    return Fit(block, one, sheet, gone) if len(gone) <= (1 - _MOST) * len(named) else None


def _there(sheet: Sheet, heading: str) -> bool:
    try:
        return sheet.place(heading) is not None
    except SourceFileError:
        return True


def _headings(block: Old) -> list[str]:
    found: dict[str, None] = {}
    for part in (block, *block.get("raters", ())):
        for key in ("columns", "criteria"):
            for recipe in part.get(key, {}).values():
                found |= dict.fromkeys(_of_recipe(recipe))
    rules = block.get("skip", [])
    for rule in rules if isinstance(rules, list) else [rules]:
        if "column" in rule:
            found[rule["column"]] = None
    return list(found)


def _of_recipe(recipe: Any) -> list[str]:
    if isinstance(recipe, Mapping):
        return [str(part) for part in recipe.get("columns") or [recipe["column"]]]
    return [str(part) for part in recipe] if isinstance(recipe, list) else [str(recipe)]


def _loosely(name: str, other: str) -> bool:
    return fnmatch.fnmatch(other, name) or _undated(name) == _undated(other)


def _undated(name: str) -> str:
    return re.sub(r"\d+([-_ /]\d+)*", "#", words.plain(name))


def _named_so(block: Old, one: View) -> bool:
    same = fnmatch.fnmatch(one.grid.file, block["file"])
    return same and block.get("sheet", one.grid.sheet) == one.grid.sheet


def _is_pattern(block: Old, one: View) -> bool:
    return block["file"] != one.grid.file and fnmatch.fnmatch(one.grid.file, block["file"])


def _draft(fit: Fit, name: str, changes: list[str]) -> Draft:
    """The old block for the new sheet; a heading that is gone is replaced by the nearest, if any is."""
    block = fit.block
    plain = {key: value for key, value in block.items() if key not in (*_GUESSED, *_OTHER)}
    plain["file"] = name
    if "sheet" in block:
        plain["sheet"] = fit.view.grid.sheet
        if plain["sheet"] != block["sheet"]:
            changes.append(f"{name}: sheet {block['sheet']!r} is now {plain['sheet']!r}")
    if name != block["file"]:
        changes.append(f"{block['table']}: {block['file']} is now {name}")
    draft = Draft(block["table"], plain)
    if "dates" in block:
        draft.dates = Guess(block["dates"], 1.0, BEFORE)
    put = _replacements(fit, changes)
    _fill(draft, block, put)
    for part in block.get("raters", ()):
        own = Draft(block["table"], {})
        _fill(own, part, put)
        draft.raters.append(own)
    draft.levels, draft.missing = dict(block.get("levels", {})), dict(block.get("missing", {}))
    draft.values = {
        name: dict(found) for name, found in block.get("values", {}).items() if name in draft.columns
    }
    return draft


def _replacements(fit: Fit, changes: list[str]) -> dict[str, str | None]:
    named = set(_headings(fit.block))
    spare = [heading for heading in fit.sheet.headings if heading and heading not in named]
    put: dict[str, str | None] = {}
    for heading in fit.gone:
        near = max(spare, key=lambda other: words.likeness(heading, other), default=None)
        if near is not None and words.likeness(heading, near) < _LIKE:
            near = None
        put[heading] = near
        told = f"{near!r} is taken for it" if near else "nothing is like it: what used it is left out"
        changes.append(f"{fit.view.name}: column {heading!r} is gone; {told}")
    return put


def _fill(draft: Draft, block: Old, put: Mapping[str, str | None]) -> None:
    for key in _GUESSED:
        for name, found in block.get(key, {}).items():
            guess = Guess(found, 1.0, BEFORE)
            if key != "constants" and any(heading in put for heading in _of_recipe(found)):
                swapped = _swapped(found, put)
                if swapped is None:
                    continue
                guess = Guess(swapped, 0.6, f"was {found!r}")
            getattr(draft, key)[name] = guess


def _swapped(recipe: Any, put: Mapping[str, str | None]) -> Any:
    parts = [put.get(heading, heading) for heading in _of_recipe(recipe)]
    if None in parts:
        return None
    if isinstance(recipe, Mapping):
        return {**recipe, **({"columns": parts} if "columns" in recipe else {"column": parts[0]})}
    return parts if isinstance(recipe, list) else parts[0]


def _same(draft: Draft, fit: Fit) -> bool:
    sheet = draft.plain.get("sheet", "")
    return (draft.plain["file"], sheet, draft.table) == (
        fit.view.grid.file,
        fit.view.grid.sheet,
        fit.block["table"],
    )


def _new(fit: Fit, draft: Draft, proposed: Sequence[Draft], changes: list[str]) -> None:
    """Say what the sheet has that the old block did not know; labels that are understood are added."""
    used = {heading for _, guess in draft.guesses() for heading in _of_recipe(guess.value)}
    folded = {words.plain(heading) for heading in used}
    for other in proposed:
        for name, guess in other.guesses():
            unknown = [h for h in _of_recipe(guess.value) if words.plain(h) not in folded]
            if name.startswith(("columns.", "criteria.")) and unknown:
                kind, code = name.split(".", 1)
                what = f"criterion {code}" if kind == "criteria" else code
                changes.append(
                    f"{draft.where}: column {unknown[0]!r} is new and may be {what} of {draft.table}"
                )
                folded |= set(map(words.plain, unknown))
        draft.unused += [(h, why) for h, why in other.unused if words.plain(h) not in folded]
        for kind in ("levels", "missing"):
            _more_words(
                getattr(draft, kind), getattr(other, kind), {**draft.levels, **draft.missing}, draft, changes
            )
        for name, found in other.values.items():
            if name in draft.columns:
                _more_words(draft.values.setdefault(name, {}), found, draft.values[name], draft, changes)


def _more_words(
    into: dict[str, str], found: Mapping[str, str], have: Mapping[str, str], draft: Draft, changes: list[str]
) -> None:
    folded = {words.plain(word) for word in have}
    for word, code in found.items():
        if words.plain(word) not in folded:
            into[word] = code
            changes.append(f"{draft.where}: {word!r} is new and is taken for {code!r}")


def _taken(draft: Draft, taken: set[tuple[str, str, str]]) -> bool:
    """Whether the old mapping has a block for the sheet."""
    sheet = str(draft.plain.get("sheet", ""))
    return any(file == draft.plain["file"] and where == sheet for file, where, _ in taken)


def _scale(block: Old) -> ScaleDraft:
    return ScaleDraft(
        block["rubric"],
        str(block["version"]),
        Guess(list(block["levels"]), 1.0, BEFORE),
        [str(code) for code in block["criteria"]],
        [str(label) for label in block.get("labels", ())],
        dict(block.get("titles", {})),
        dict(block.get("weights", {})),
    )


def _new_scales(
    have: Sequence[ScaleDraft], made: Sequence[ScaleDraft], fresh: Sequence[Draft]
) -> list[ScaleDraft]:
    """Scales that new sheets need; where an old one has the same criteria, the sheets take its name."""
    added = []
    for scale in made:
        users = [d for d in fresh if d.table == "ratings" and _uses(d, scale)]
        if not users:
            continue
        same = next((old for old in have if set(scale.criteria) <= set(old.criteria)), None)
        if same is None:
            scale.version = _free(scale, have)
            added.append(scale)
        name = same or scale
        for draft in users:
            for key, value in (("rubric", name.rubric), ("rubric_version", name.version)):
                if key in draft.constants:
                    draft.constants[key].value = value
    return added


def _uses(draft: Draft, scale: ScaleDraft) -> bool:
    told = [draft.constants.get(key) for key in ("rubric", "rubric_version")]
    named = [guess.value for guess in told if guess]
    return named in ([scale.rubric, scale.version], []) or not draft.constants


def _free(scale: ScaleDraft, have: Sequence[ScaleDraft]) -> str:
    taken = {old.version for old in have if old.rubric == scale.rubric}
    version = scale.version
    while version in taken:
        version = f"{version}_new"
    return version
