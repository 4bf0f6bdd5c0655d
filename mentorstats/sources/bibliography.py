"""The one bibliography: docstrings, tests, policies and reports cite keys of data_dictionary/sources.toml."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path
from typing import Any

from mentorstats import places
from mentorstats.errors import ArgumentError, DictionaryError

KINDS = ("article", "book", "chapter", "report", "standard", "software")
_NEEDED = ("kind", "authors", "year", "title", "container")
_ORDINALS = {"2nd": "Second", "4th": "Fourth"}
_BIBTEX = {
    "article": ("article", "journal"),
    "book": ("book", "publisher"),
    "chapter": ("incollection", "booktitle"),
    "report": ("techreport", "institution"),
    "standard": ("misc", "howpublished"),
    "software": ("misc", "howpublished"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One publication.

    ``container`` is the journal, the book a chapter is in, or the publisher; ``checked`` says what the
    details were compared with, and is empty where that was not yet done.
    """

    key: str
    kind: str
    authors: tuple[str, ...]
    year: int
    title: str
    container: str
    edition: str = ""
    volume: str = ""
    issue: str = ""
    pages: str = ""
    doi: str = ""
    isbn: str = ""
    checked: str = ""

    @property
    def short(self) -> str:
        """Surname and year, as a citation in running text."""
        names = [author.split(",")[0] for author in self.authors]
        lead = names[0] if len(names) == 1 else " & ".join(names) if len(names) == 2 else f"{names[0]} et al."
        return f"{lead} ({self.year})"

    @property
    def full(self) -> str:
        """One line of a reference list."""
        edition = f"{self.edition} edition, " if self.edition else ""
        issue = f"({self.issue})" if self.issue else ""
        number = f" {self.volume}{issue}" if self.volume else ""
        pages = f", {self.pages}" if self.pages else ""
        known = f". doi:{self.doi}" if self.doi else ""
        where = f"{edition}{self.container}{number}{pages}{known}"
        return f"{', '.join(self.authors)} ({self.year}). {self.title}. {where}."

    @property
    def bibtex(self) -> str:
        """One BibTeX entry, its text in UTF-8."""
        kind, place = _BIBTEX[self.kind]
        told = {
            "author": " and ".join(_name(author) for author in self.authors),
            "year": str(self.year),
            "title": f"{{{_tex(self.title)}}}",
            place: _tex(self.container),
            "edition": _ORDINALS.get(self.edition, self.edition),
            "volume": self.volume,
            "number": self.issue.replace("–", "--"),
            "pages": self.pages.replace("–", "--"),
            "doi": self.doi,
            "isbn": self.isbn,
        }
        rows = [f"  {name} = {{{value}}}" for name, value in told.items() if value]
        return f"@{kind}{{{self.key},\n" + ",\n".join(rows) + "\n}"


def _name(author: str) -> str:
    """A person as BibTeX reads names; anything without a comma is a body, whose words stay together."""
    return _tex(author) if "," in author else f"{{{_tex(author)}}}"


def _tex(text: str) -> str:
    return "".join(f"\\{letter}" if letter in "&%$#_" else letter for letter in text)


class Bibliography(Mapping[str, Source]):
    """The sources by key, read from the file when the first is asked for."""

    @cached_property
    def _sources(self) -> dict[str, Source]:
        return read(places.data_dictionary() / "sources.toml")

    def __getitem__(self, key: str) -> Source:
        return self._sources[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._sources)

    def __len__(self) -> int:
        return len(self._sources)


SOURCES = Bibliography()


def source(key: str) -> Source:
    """Look up a key, or raise ArgumentError naming it."""
    try:
        return SOURCES[key]
    except KeyError:
        raise ArgumentError(
            f"no source {key!r} in the bibliography", remedy="Add it to data_dictionary/sources.toml."
        ) from None


def read(path: Path) -> dict[str, Source]:
    """Read a bibliography, or raise DictionaryError at the first entry that is none."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DictionaryError(f"not legal TOML: {error}", where=str(path)) from error
    return {key: _entry(key, block, f"{path}, {key}") for key, block in content.items()}


def _entry(key: str, block: Any, where: str) -> Source:
    types = {item.name: int if item.name == "year" else str for item in fields(Source)} | {"authors": list}
    known = sorted(set(types) - {"key"})
    given = block if isinstance(block, dict) else {}
    odd = sorted(set(given) - set(known)) or [name for name in _NEEDED if name not in given]
    if odd:
        raise DictionaryError(f"unknown or missing key {', '.join(odd)}", where=where, allowed=known)
    wrong = [name for name, value in given.items() if not isinstance(value, types[name]) or not value]
    if wrong or not all(isinstance(author, str) and author for author in given["authors"]):
        name = (wrong or ["authors"])[0]
        raise DictionaryError(
            f"{given[name]!r} cannot be {name}",
            where=where,
            allowed="text that is not empty; for authors a list of texts, for year a whole number",
        )
    if given["kind"] not in KINDS:
        raise DictionaryError(f"no kind {given['kind']!r}", where=where, allowed=KINDS)
    return Source(key=key, **given | {"authors": tuple(given["authors"])})
