"""A column as codes into a list of values: each distinct value is read and judged once.

Every stage between reading and the finished frame works on these. A text column whose values
hardly ever repeat stays as it is (its codes count the rows), for encoding it would cost more than
it saves; nothing but ``keys`` may therefore take two codes for two values.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

Codes = npt.NDArray[np.signedinteger[Any]]
Mask = npt.NDArray[np.bool_]

_SAMPLE = 10_000  # rows looked at before a column is encoded
_MOSTLY_DISTINCT = 0.5  # share of distinct values above which it is not


@dataclass(frozen=True, slots=True)
class Column:
    """``values[codes]``: n codes into a pyarrow array of values."""

    codes: Codes
    values: pa.Array

    def __len__(self) -> int:
        return len(self.codes)

    def take(self, rows: npt.NDArray[Any]) -> "Column":
        """Return the rows at these positions, or where a mask holds."""
        return Column(self.codes[rows], self.values)

    def repeat(self, times: int) -> "Column":
        """Return each row ``times`` times, one after the other."""
        return Column(np.repeat(self.codes, times), self.values)

    def array(self) -> pa.Array:
        """Return the column written out."""
        return self.values.take(pa.array(self.codes))

    def null(self) -> Mask:
        """Return where the column has no value, as a mask over rows."""
        return self.spread(self.values.is_null())

    def spread(self, judged: pa.Array) -> Mask:
        """Spread a verdict on each value over the rows."""
        return np.asarray(judged.to_numpy(zero_copy_only=False), dtype=bool)[self.codes]

    def keys(self) -> tuple[Codes, int]:
        """Return codes of which two are equal only where the values are, -1 for none, and their number."""
        encoded = self.values.dictionary_encode()
        index = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
        return index[self.codes], len(encoded.dictionary)


def encode(text: pa.ChunkedArray) -> Column:
    """Turn a text column into codes and values."""
    head = text.slice(0, _SAMPLE)
    if len(head) == _SAMPLE and len(head.unique()) > _MOSTLY_DISTINCT * _SAMPLE:
        return Column(np.arange(len(text), dtype=np.int32), text.combine_chunks())
    encoded = text.combine_chunks().dictionary_encode()
    return Column(encoded.indices.to_numpy(), encoded.dictionary)


def from_texts(texts: Sequence[str]) -> Column:
    """Turn a list of texts into a column."""
    return encode(pa.chunked_array([pa.array(texts, pa.string())]))


def constant(value: str | None, rows: int) -> Column:
    """Return one text, or none, for every row."""
    return Column(np.zeros(rows, dtype=np.int32), pa.array([value], pa.string()))


def trimmed(column: Column) -> Column:
    """Return the column without white space around its texts."""
    return Column(column.codes, pc.utf8_trim_whitespace(column.values))


def replaced(
    column: Column, by: Mapping[str, str], *, fold_accents: bool = False, kept: Collection[str] = ()
) -> Column:
    """Return the column with each text that is a key of ``by``, or is like one, replaced.

    ``kept`` are texts that stay as they are although they may be like a key.
    """
    if not by:
        return column
    words: dict[str, str | None] = {**dict.fromkeys(kept), **by}
    place = alike(column.values, list(words), fold_accents=fold_accents)
    put = pa.array(list(words.values()), pa.string()).take(place)
    return Column(column.codes, pc.coalesce(put, column.values))


def alike(texts: pa.Array, words: Sequence[str], *, fold_accents: bool = False) -> pa.Array:
    """Return for each text the position of the word that it is, else of the one it is like, else null.

    Words are like each other without case, line breaks and repeated blanks, and without accents where so
    chosen. A text that is like several words and equal to none is none of them.
    """
    exact = pc.index_in(texts, value_set=pa.array(words, pa.string()))
    if exact.null_count == texts.null_count:
        return exact
    near = pc.index_in(
        folded_texts(texts, accents=fold_accents),
        value_set=(known := folded_texts(pa.array(words, pa.string()), accents=fold_accents)).unique(),
    )
    counts = Counter(known.to_pylist())
    first = {text: number for number, text in reversed(list(enumerate(known.to_pylist())))}
    single = [first[text] if counts[text] == 1 else None for text in known.unique().to_pylist()]
    return pc.coalesce(exact, pa.array(single, pa.int32()).take(near))


def folded_texts(texts: pa.Array, *, accents: bool = False) -> pa.Array:
    """Return texts in small letters, each run of white space as one blank; accents taken off if asked."""
    plain = pc.utf8_normalize(texts, form="NFKD" if accents else "NFKC")
    if accents:
        plain = pc.replace_substring_regex(plain, r"\p{Mn}", "")
    blanks = pc.replace_substring_regex(pc.utf8_lower(plain), r"[\s\pZ]+", " ")
    return pc.utf8_trim_whitespace(blanks)


def stacked(columns: Sequence[Column]) -> Column:
    """Put columns of one type one below the other."""
    if len(columns) == 1:
        return columns[0]
    start = np.cumsum([0, *(len(column.values) for column in columns)])
    codes = [column.codes + first for column, first in zip(columns, start, strict=False)]
    return Column(np.concatenate(codes), pa.concat_arrays([column.values for column in columns]))


def folded(columns: Sequence[Column]) -> tuple[Codes, int]:
    """Fold several columns into one key: equal where all are equal, -1 where any has no value."""
    key, size = columns[0].keys()
    for column in columns[1:]:
        more, card = column.keys()
        if size * max(card, 1) >= 2**62:
            distinct, key = np.unique(key, return_inverse=True)
            key = key - (1 if distinct.size and distinct[0] == -1 else 0)
            size = int(distinct.size)
        key = np.where((key < 0) | (more < 0), -1, key * card + more)
        size *= max(card, 1)
    return key, size
