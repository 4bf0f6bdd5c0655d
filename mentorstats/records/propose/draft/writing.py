"""A proposal as the text of a mapping file, with what is unsure said beside it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from typing import Any

from mentorstats.errors import printable
from mentorstats.records.propose.draft.drafts import BEFORE, Draft, Drafts, Guess, ScaleDraft

UNSURE = "UNSURE"
_BARE = re.compile(r"[A-Za-z0-9_\-]+")
_WIDE = 44  # column in which remarks begin, where there is room
_LINE = 110


def text(made: Drafts, *, title: str) -> str:
    """Return the mapping file."""
    lines = [f"# {title}", "#", *_open(made), *_changes(made.changes)]
    for draft in made.sources:
        lines += ["", *_source(draft)]
    for scale in made.scales:
        lines += ["", *_scale(scale)]
    lines += _identities(made)
    if made.unread:
        lines += ["", "# Not read:"]
        lines += [f"#   {_plain(name)}: {_plain(why)}" for name, why in made.unread]
    return "\n".join(lines) + "\n"


def _identities(made: Drafts) -> list[str]:
    """The block that replaces people by codes: as it was, or ready to be used where people are named."""
    if made.identities:
        return [
            "",
            "[identities]",
            *(f"{_key(key)} = {value(found)}" for key, found in made.identities.items()),
        ]
    if not made.names:
        return []
    return [
        "",
        "# People are named. To replace each by a code, take away the # before the last two lines.",
        "# The folder, outside this one, then holds the list of names and codes, for you alone.",
        "# [identities]",
        '# folder = "../codes-of-people"',
    ]


def _open(made: Drafts) -> list[str]:
    left = list(questions(made))
    if not left:
        return ["# Nothing is left open; read it once all the same."]
    return [
        "# LEFT OPEN: what only you can know, or what is not sure. Each is marked UNSURE below.",
        *(f"#  {number}. {_plain(item)}" for number, item in enumerate(left, 1)),
    ]


def questions(made: Drafts) -> Iterable[str]:
    """What is left open, a sentence each."""
    yield from made.opened
    for draft in made.sources:
        for name, guess in draft.guesses():
            if guess.unsure:
                yield f"{draft.where} ({draft.table}): {name} = {_shown(guess.value)}{_after(guess.note)}"
        left = [(h, why.removeprefix(f"{UNSURE}: ")) for h, why in draft.unused if why.startswith(UNSURE)]
        if left:
            told = "; ".join(f"{heading!r} {why}" for heading, why in left)
            yield f"{draft.where}: not used: {told}"
    for name, why in made.unread:
        if why.startswith(UNSURE):
            yield f"{name} is not read: {why.removeprefix(f'{UNSURE}: ')}"
    for scale in made.scales:
        if scale.levels.unsure:
            levels = f"{_shown(scale.levels.value)}{_after(scale.levels.note)}"
            yield f"levels of {scale.rubric} {scale.version}: {levels}"


def _after(note: str) -> str:
    return f" - {note}" if note else ""


def _changes(changes: Sequence[str]) -> list[str]:
    if not changes:
        return []
    return ["#", "# CHANGED against mapping.toml:", *(f"#  {_plain(change)}" for change in changes)]


def _source(draft: Draft) -> list[str]:
    lines = ["[[source]]"]
    plain = {
        "file": draft.plain["file"],
        "sheet": draft.plain.get("sheet"),
        "table": draft.table,
        **draft.plain,
    }
    lines += [f"{key} = {value(found)}" for key, found in plain.items() if found is not None]
    if draft.dates:
        lines.append(_line("dates", draft.dates))
    lines += [f"# {_plain(note)}" for note in draft.notes]
    for name in ("columns", "constants", "criteria"):
        lines += _guesses(f"source.{name}", getattr(draft, name))
    lines += _pairs("source.levels", draft.levels)
    lines += _pairs("source.missing", draft.missing)
    for name, found in draft.values.items():
        lines += _pairs(f"source.values.{_key(name)}", found)
    for rater in draft.raters:
        lines.append("[[source.raters]]")
        for name in ("columns", "constants", "criteria"):
            lines += _guesses(f"source.raters.{name}", getattr(rater, name))
    if draft.unused:
        lines.append("# Columns that are not used:")
        lines += [f"#   {_plain(heading) or '(no heading)'}: {_plain(why)}" for heading, why in draft.unused]
    return lines


def _scale(scale: ScaleDraft) -> list[str]:
    lines = ["[[scale]]", f"rubric = {value(scale.rubric)}", f"version = {value(scale.version)}"]
    shown = _line("levels", scale.levels, remark="lowest first")
    if scale.levels.sure == 0.0:
        lines.append("# UNSURE: put these in order, lowest first, and take away the # before them:")
        shown = f"# levels = {value(scale.levels.value)}"
    lines.append(shown)
    if scale.labels:
        lines.append(f"labels = {value(scale.labels)}")
    lines.append(f"criteria = {value(scale.criteria)}")
    lines += [f"# {_plain(note)}" for note in scale.notes]
    lines += _pairs("scale.titles", scale.titles)
    if scale.weights:
        lines += ["[scale.weights]", *(f"{_key(k)} = {v:g}" for k, v in scale.weights.items())]
    return lines


def _guesses(name: str, found: dict[str, Guess]) -> list[str]:
    return [f"[{name}]", *(_line(_key(key), guess) for key, guess in found.items())] if found else []


def _line(key: str, guess: Guess, *, remark: str = "") -> str:
    written = f"{key} = {value(guess.value)}"
    if guess.note == BEFORE:
        return f"{written:<{_WIDE}}  # {'; '.join(part for part in (remark, BEFORE) if part)}"
    mark = f"{UNSURE} {guess.sure:.0%}" if guess.unsure else f"{guess.sure:.0%}"
    note = "; ".join(part for part in (remark, _plain(guess.note)) if part)
    return f"{written:<{_WIDE}}  # {mark}{': ' + note if note else ''}"


def _pairs(name: str, found: dict[str, str]) -> list[str]:
    return [f"[{name}]", *(f"{_key(k)} = {value(v)}" for k, v in found.items())] if found else []


def value(found: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, int):
        return str(found)
    if isinstance(found, float):
        return repr(found)
    if isinstance(found, str):
        return _quoted(found)
    if isinstance(found, dict):
        return "{ " + ", ".join(f"{_key(k)} = {value(v)}" for k, v in found.items()) + " }"
    parts = [value(part) for part in found]
    joined = f"[{', '.join(parts)}]"
    if len(joined) <= _LINE:
        return joined
    return "[\n" + "".join(f"    {part},\n" for part in parts) + "]"


def _quoted(found: str) -> str:
    """A basic string; JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(found, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _quoted(name)


def _plain(found: str) -> str:
    """Text of a comment: on one line, with nothing in it that cannot be seen."""
    return " ".join(printable(found).split())


def _shown(found: Any) -> str:
    return (
        " + ".join(map(str, found))
        if isinstance(found, list)
        else str(found.get("column") if isinstance(found, dict) else found)
    )
