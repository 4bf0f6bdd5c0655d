"""Find known people in texts: names in any order of their words, and numbers or codes that stand for one."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.records.reading.column import folded_texts

_LONGEST = 6  # words of a name
_SHORTEST = 4  # signs of a code with a digit, and of a name of one word, that are looked for in other texts
_WORDS = r"[^\pL\pN]+"

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Known:
    """Names to look for.

    ``inside`` are those found anywhere in a text, by their number of words: names of two words and more,
    codes with a digit, words of scripts without capitals. ``whole`` are words that count only where they
    are the whole text, for many a surname is also a place.
    """

    inside: dict[int, set[str]] = field(default_factory=dict)
    whole: set[str] = field(default_factory=set)

    def found(self, texts: pa.Array) -> Mask:
        """Return for each text whether it holds a known person."""
        hit = np.zeros(len(texts), dtype=bool)
        if not len(texts) or not (self.inside or self.whole):
            return hit
        lists = pc.split_pattern_regex(_words_apart(texts), " ")
        words = lists.values
        parent = np.repeat(np.arange(len(lists)), np.diff(np.asarray(lists.offsets)))
        for size, names in self.inside.items():
            rows = len(words) - size + 1
            if rows < 1:
                continue
            pieces = [words.slice(start, rows) for start in range(size)]
            grams = pc.binary_join_element_wise(*pieces, " ") if size > 1 else pieces[0]
            there = pc.is_in(grams, value_set=pa.array(sorted(names), pa.string()))
            first, last = parent[:rows], parent[size - 1 :]
            same = first == last
            hit[first[np.asarray(there.to_numpy(zero_copy_only=False), dtype=bool) & same]] = True
        alone = pc.is_in(_words_apart(texts), value_set=pa.array(sorted(self.whole), pa.string()))
        hit |= np.asarray(alone.to_numpy(zero_copy_only=False), dtype=bool)
        return hit


def known(names: Iterable[str]) -> Known:
    """Prepare names to be looked for."""
    made = Known()
    listed = [name for name in names if name]
    plain = _words_apart(pa.array(listed, pa.string())).to_pylist()
    for name, text in zip(listed, plain, strict=True):
        words = text.split(" ")[:_LONGEST]
        if len(words) == 1:
            _add_one_word(made, name, words[0])
        elif len(text) >= _SHORTEST:
            for order in _orders(words):
                made.inside.setdefault(len(words), set()).add(" ".join(order))
    return made


def _orders(words: list[str]) -> list[list[str]]:
    """First name first, or surname first; more than two words keep their order but for the last and first."""
    return [words, words[::-1], [words[-1], *words[:-1]], [*words[1:], words[0]]]


def _add_one_word(made: Known, name: str, word: str) -> None:
    uncased = word.lower() == word.upper()
    digits = any(sign.isdigit() for sign in word)
    if (digits and len(word) >= _SHORTEST) or (uncased and not digits and len(word) > 1):
        made.inside.setdefault(1, set()).add(word)
    elif not digits and len(word) >= _SHORTEST and name[:1].isupper():
        made.whole.add(word)


def _words_apart(texts: pa.Array) -> pa.Array:
    """Words in small letters without accents, one blank between them."""
    bare = folded_texts(texts.fill_null(""), accents=True)
    return pc.utf8_trim_whitespace(pc.replace_substring_regex(bare, _WORDS, " "))
