"""Levels: which cells are levels, which say why there is none, and what order they have."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from mentorstats.records.propose import words

MOST = 12  # distinct levels of a scale
_NUMBER = re.compile(r"\d{1,2}(?:[.,]\d)?")
_FIRST = re.compile(r"(?:level\s*)?(\d{1,2})\s*[-–—:=.)|/]+\s*(\D.*)", re.IGNORECASE)
_LAST = re.compile(r"(\D.*?)(?:\s*[-–—:=(\[]\s*|\s+)(\d{1,2})\s*[)\]]?")
_WORD_LEVEL = re.compile(r"(?:level|score|stage|l)\s*(\d{1,2})", re.IGNORECASE)
_RANGE = re.compile(r"[(\[]\s*(\d{1,2})\s*(?:-|–|—|to|\.\.|/)\s*(\d{1,2})\s*[)\]]")
_LOWEST = (0, 1)
_USUAL = 10  # highest level that numbers are likely to be


@dataclass(slots=True)
class Scale:
    """Levels, lowest first, with their labels; how cells become levels, and reasons for having none.

    ``order`` is how sure the order is, from 0 to 1; 0 where nothing tells it.
    """

    levels: list[str] = field(default_factory=list)
    labels: dict[str, str] = field(default_factory=dict)
    cells: dict[str, str] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    order: float = 1.0
    notes: list[str] = field(default_factory=list)


def reason(text: str) -> str | None:
    """Why there is no level, by the word that stands in a cell, or none where it is no such word."""
    known: Mapping[str, str] = words.vocabulary()["missing"]
    return known.get(words.plain(text).strip("()[] ")) or known.get(words.bare(text))


def is_level(text: str) -> bool:
    """Whether a text by itself looks like a level: a small number, a number with words, a word of degree."""
    return bool(_NUMBER.fullmatch(text)) or _numbered(text) is not None or _degree(text) is not None


def scale_like(texts: Iterable[str]) -> bool:
    """Whether all texts look like levels: those of one scale, not codes of criteria."""
    found = [text for text in texts if not reason(text)]
    return bool(found) and all(_NUMBER.fullmatch(text) or _degree(text) is not None for text in found)


def range_in(heading: str) -> tuple[int, int] | None:
    """The lowest and highest level that a heading names, as in "Plans ahead (1-4)"."""
    found = _RANGE.search(heading)
    low, high = (int(found[1]), int(found[2])) if found else (0, 0)
    return (low, high) if low in _LOWEST and low < high <= MOST else None


def scale(counts: Mapping[str, int], headings: Iterable[str]) -> Scale:
    """Make a scale of the texts of one or several level columns, with how often each occurs."""
    made = Scale()
    given = {}
    for text, count in counts.items():
        why = reason(text)
        if why and not _degree(text):
            made.missing[text] = why
        else:
            given[text] = count
    if given and all(_NUMBER.fullmatch(text) for text in given):
        _of_numbers(made, given, headings)
    elif given and all(_numbered(text) or _NUMBER.fullmatch(text) for text in given):
        _of_numbered(made, given)
    else:
        _of_words(made, given)
    return made


def _of_numbers(made: Scale, given: Mapping[str, int], headings: Iterable[str]) -> None:
    values = {text: float(text.replace(",", ".")) for text in given}
    steps = sorted(set(values.values()))
    whole = all(value.is_integer() for value in steps)
    ranges = {found for heading in headings if (found := range_in(heading))}
    low = 0 if steps[0] == 0 else 1
    high = int(steps[-1]) if whole else steps[-1]
    if len(ranges) == 1 and next(iter(ranges))[1] >= steps[-1]:
        low, high = next(iter(ranges))
    elif steps[-1] <= _USUAL:
        made.order = 0.9
        made.notes.append(f"{_shown(high)} is the highest level that occurs: is there a higher one?")
    if whole and high <= MOST:
        made.levels = [str(level) for level in range(low, int(high) + 1)]
    else:
        made.levels = [_shown(value) for value in steps]
        made.order = min(made.order, 0.6)
        made.notes.append("only the levels that occur are listed: add those that lie between")
    made.cells = {text: _shown(value) for text, value in values.items() if text != _shown(value)}


def _shown(value: float) -> str:
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def _of_numbered(made: Scale, given: Mapping[str, int]) -> None:
    """Numbers with their words: "3 - Proficient", "Proficient (3)", "Level 3"."""
    names: dict[int, Counter[str]] = {}
    for text, count in given.items():
        number, label = _numbered(text) or (int(float(text.replace(",", "."))), "")
        names.setdefault(number, Counter())[label] += count
        made.cells[text] = str(number)
    low = 0 if 0 in names else 1
    made.levels = [str(level) for level in range(low, max(names) + 1)]
    for number, found in names.items():
        label = next((label for label, _ in found.most_common() if label), "")
        if label:
            made.labels[str(number)] = label
    made.cells = {text: level for text, level in made.cells.items() if text != level}
    if len(names) < len(made.levels):
        made.notes.append("a level that no cell holds has no label yet")


def _numbered(text: str) -> tuple[int, str] | None:
    for pattern, number, label in ((_FIRST, 1, 2), (_LAST, 2, 1)):
        found = pattern.fullmatch(text.strip())
        if found and re.search(r"[^\W\d_]", found[label]):
            return int(found[number]), found[label].strip(" -–—:=(")
    found = _WORD_LEVEL.fullmatch(text.strip())
    return (int(found[1]), "") if found else None


def _of_words(made: Scale, given: Mapping[str, int]) -> None:
    spelt: dict[str, Counter[str]] = {}
    for text, count in given.items():
        spelt.setdefault(words.bare(text) or text, Counter())[text] += count
    label = {key: found.most_common(1)[0][0] for key, found in spelt.items()}
    made.cells = {text: label[key] for key, found in spelt.items() for text in found}
    degrees = {key: _degree(key) for key in spelt}
    known = [key for key, degree in degrees.items() if degree is not None]
    ordered = sorted(spelt, key=lambda key: (degrees[key] is None, degrees[key] or 0.0))
    made.levels = [label[key] for key in ordered]
    if len(known) < len(spelt):
        made.order = 0.0
        made.notes.append("the order of these words is not known: write them lowest first")
        return
    gaps = sorted(float(degrees[key] or 0) for key in known)
    near = min((b - a for a, b in itertools.pairwise(gaps)), default=1.0)
    made.order = 0.8 if near >= 0.1 else 0.6 if near > 0.0 else 0.3
    made.notes.append("the order is taken from what the words usually mean: is it yours, lowest first?")
    if near == 0.0:
        made.order = 0.0


def _degree(text: str) -> float | None:
    known: Mapping[str, float] = words.vocabulary()["levels"]
    found = words.bare(text)
    return known.get(found, known.get(found.removesuffix(" level")))
