"""Words of headings and cells, and how like each other two of them are."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher
from functools import cache, lru_cache
from typing import Any

from mentorstats import dictionary, places

_SAME = 0.82  # likeness of two words from which one is a slip of the other
_SHORT = 4  # letters below which a word is only itself
_PLURAL = 3
_HEAD = 1.4
_LIGHT = 0.6  # weight up to which a word is no name of a thing


@cache
def vocabulary() -> dict[str, Any]:
    """Return the words that proposals are made with, from data_dictionary/vocabulary."""
    text = (places.data_dictionary() / "vocabulary" / "proposal_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Text in small letters, without accents, each run of blanks as one."""
    bare = "".join(mark for mark in unicodedata.normalize("NFKD", text) if not unicodedata.combining(mark))
    return " ".join(bare.casefold().split())


@lru_cache(maxsize=20_000)
def bare(text: str) -> str:
    """Plain text with all marks as blanks: "Grand total:" is "grand total"."""
    return " ".join(re.sub(r"[\W_]+", " ", plain(text)).split())


@lru_cache(maxsize=20_000)
def tokens(text: str) -> tuple[str, ...]:
    """Words of a heading, abbreviations written out, without what stands in brackets or plural endings."""
    outside = re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", text)
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", outside if outside.strip() else text).replace(
        "#", " number "
    )
    parted = parted.replace("%", " percent ")
    short = vocabulary()["abbreviations"]
    found: list[str] = []
    for word in bare(parted).split():
        for part in short.get(word, word).split():
            singular = part[:-1] if len(part) > _PLURAL and part.endswith("s") and part != "minutes" else part
            found.append(singular if not singular.endswith("ss") else part)
    return tuple(dict.fromkeys(found))


def likeness(one: str, other: str) -> float:
    """How far two headings mean the same, from 0 to 1: weight of words that are alike over that of all."""
    return max(_of_words(tokens(text), tokens(other)) for text in _readings(one))


@lru_cache(maxsize=20_000)
def _readings(heading: str) -> tuple[str, ...]:
    """A heading without what stands in brackets, and with it: "How long did you observe (minutes)?"."""
    whole = re.sub(r"[()\[\]{}]", " ", heading)
    return (heading, whole) if whole != heading else (heading,)


@lru_cache(maxsize=500_000)
def _of_words(ours: tuple[str, ...], theirs: tuple[str, ...]) -> float:
    if not ours or not theirs:
        return 0.0
    weigh, weights = _weights(ours), _weights(theirs)
    if ours != theirs and max(weigh.values()) < _LIGHT:
        return 0.0  # "No." alone is no number of anything
    left, matched = list(theirs), 0.0
    for word in ours:
        best, other = max(((_alike(word, other), other) for other in left), default=(0.0, ""))
        if best >= _SAME:
            left.remove(other)
            matched += best * (weigh[word] + weights[other])
    return min(matched / (sum(weigh.values()) + sum(weights.values())), 1.0)


@lru_cache(maxsize=20_000)
def _weights(found: tuple[str, ...]) -> dict[str, float]:
    """Weight of each word; what the others only describe weighs more: "rubric criterion" is a criterion."""
    known = vocabulary()["weights"]
    cut = next((place for place, word in enumerate(found) if place and word in ("of", "for")), len(found))
    head = next((word for word in reversed(found[:cut]) if known.get(word, 1.0) > _LIGHT), found[cut - 1])
    return {word: known.get(word, 1.0) * (_HEAD if word == head else 1.0) for word in found}


@lru_cache(maxsize=200_000)
def _alike(one: str, other: str) -> float:
    if one == other:
        return 1.0
    if min(len(one), len(other)) < _SHORT:
        return 0.0
    if {one, other} in ({short, f"{short}r"} for short in (one, other)):
        return 0.5  # a score is not a scorer
    if one.startswith(other) or other.startswith(one):
        return 0.9
    return SequenceMatcher(None, one, other).ratio()


@cache
def phrases(table: str, field: str) -> tuple[str, ...]:
    """All that a field may be called: name, title, synonyms, each also with the table's name before it."""
    found = dictionary.table(table).field(field)
    names = (found.name, found.title, *found.synonyms)
    return tuple(dict.fromkeys([*names, *(f"{table.removesuffix('s')} {found.title}",)]))


@lru_cache(maxsize=100_000)
def like_field(heading: str, table: str, field: str) -> float:
    """How far a heading names a field."""
    return max(likeness(heading, phrase) for phrase in phrases(table, field))


def like_any(heading: str, words: Iterable[str]) -> float:
    """How far a heading is one of these words."""
    return max((likeness(heading, word) for word in words), default=0.0)


@lru_cache(maxsize=20_000)
def like_listed(heading: str, key: str) -> float:
    """How far a heading is one of the words that the vocabulary lists under a key."""
    return like_any(heading, vocabulary()[key]["words"])


def category(text: str, groups: Mapping[str, Iterable[str]]) -> str | None:
    """The code under which a cell's word is listed, or none."""
    sought = bare(text)
    for code, words in groups.items():
        if sought and (sought == bare(code) or sought in map(bare, words)):
            return code
    return None


@cache
def groups(table: str, field: str) -> dict[str, tuple[str, ...]]:
    """The words for each code of a field with categories: its labels, and those of the vocabulary."""
    found = dictionary.table(table).field(field)
    known = vocabulary()
    more = known["roles"] if field in ("role", "rater_role") else known["words"].get(field, {})
    return {code: (code, label, *more.get(code, ())) for code, label in found.categories.items()}


def role_in(text: str) -> str | None:
    """The role that a heading or a name of a file speaks of, or none, or none where it speaks of two."""
    padded = f" {' '.join(tokens(text))} "
    found = {
        role
        for role, words in vocabulary()["roles"].items()
        for word in words
        if len(word) > _PLURAL and role != "other" and f" {' '.join(tokens(word))} " in padded
    }
    return found.pop() if len(found) == 1 else None


def slug(text: str, longest: int = 24) -> str:
    """A short code out of words."""
    made = ""
    for word in bare(text).split():
        if made and len(made) + 1 + len(word) > longest:
            break
        made = f"{made}_{word}" if made else word[:longest]
    return made
