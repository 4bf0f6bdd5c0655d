"""A code for each person: drawn at random and kept in a list, or derived from a secret key.

A plain hash of a name is no option: whoever has a list of names computes the same hashes.
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa

from mentorstats.errors import SourceFileError
from mentorstats.records.identities import private
from mentorstats.records.mapping.identity_block import KEYED, Identities
from mentorstats.records.reading.column import Column, folded_texts

COLUMNS = ("release", "name", "code")
PATTERN = r"\bP[2-9bcdfghjkmnpqrstvwxz]{6,12}\b"

_SIGNS = "23456789bcdfghjkmnpqrstvwxz"  # no vowel makes a word, and no sign is taken for another
_DIGITS = _SIGNS[:8]
_RANDOM, _KEYED = 6, 12  # signs after the P; 12 are 56 bits, so that two of a million names never meet


@dataclass(slots=True)
class Codes:
    """Codes by name without case and repeated blanks; ``names`` keeps each name as it was first written."""

    folder: Path
    release: str = ""
    key: bytes = b""
    by_name: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    other: list[list[str]] = field(default_factory=list)
    new: bool = False

    def coded(self, column: Column) -> Column:
        """Return a column of people with a code for each; a cell without a person stays empty."""
        filled = column.values.fill_null("")
        texts = folded_texts(filled)
        distinct = texts.dictionary_encode()
        whole = distinct.dictionary.to_pylist()
        first = dict(zip(texts.to_pylist()[::-1], filled.to_pylist()[::-1], strict=True))
        codes = pa.array([self._code(name, first[name]) if name else "" for name in whole], pa.string())
        return Column(np.asarray(distinct.indices)[column.codes], codes)

    @property
    def by_written(self) -> dict[str, str]:
        """Codes by names as they were first written."""
        return {name: code for code, name in self.names.items()}

    def _code(self, name: str, written: str) -> str:
        found = self.by_name.get(name)
        if found is None:
            found = self._keyed(name) if self.key else self._random()
            if found in self.names:
                raise SourceFileError(
                    "two names have one code", where=str(self.folder), remedy='Say replace = "random".'
                )
            self.by_name[name], self.names[found], self.new = found, written, True
        return found

    def _random(self) -> str:
        while True:
            signs = [secrets.choice(_DIGITS), *(secrets.choice(_SIGNS) for _ in range(_RANDOM - 1))]
            found = f"P{''.join(signs)}"
            if found not in self.names:
                return found

    def _keyed(self, name: str) -> str:
        message = f"{self.release}\n{name}".encode("utf-8", "surrogatepass")
        number = int.from_bytes(hmac.new(self.key, message, hashlib.sha256).digest())
        number, first = divmod(number, len(_DIGITS))
        signs = [_DIGITS[first]]
        for _ in range(_KEYED - 1):
            number, place = divmod(number, len(_SIGNS))
            signs.append(_SIGNS[place])
        return f"P{''.join(signs)}"

    def save(self) -> None:
        """Write the list where it has a new name."""
        if self.new:
            rows = [(self.release, name, code) for code, name in self.names.items()]
            private.write_rows(self.folder / private.CODES, COLUMNS, [*self.other, *rows])
            self.new = False


def read(folder: Path, identities: Identities) -> Codes:
    """Return the codes that were given before, under this release."""
    rows = private.read_rows(folder / private.CODES, COLUMNS)
    mine = [row for row in rows if row[0] == identities.release]
    found = Codes(folder, identities.release, private.key(folder) if identities.replace == KEYED else b"")
    found.other = [row for row in rows if row[0] != identities.release]
    found.names = {code: name for _, name, code in mine}
    texts = folded_texts(pa.array([name for _, name, _ in mine], pa.string())).to_pylist()
    found.by_name = dict(zip(texts, (code for *_, code in mine), strict=True))
    return found
