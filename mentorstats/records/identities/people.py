"""Which cells of a folder's sheets are people: fields the dictionary says so of, and keys made of them."""

from collections.abc import Iterable
from dataclasses import dataclass

from mentorstats import dictionary
from mentorstats.records.identities.codes import Codes
from mentorstats.records.mapping import Recipe, Source
from mentorstats.records.reading.column import Column
from mentorstats.records.reading.sheet import folded_headings

Part = tuple[str, int, int]  # a field, of how many parts its key is made, and which of these
Unit = tuple[str, ...]  # the headings of one part: one, or those of a name in several columns

_OF_RUBRICS = {"rubric", "rubric_version", "version", "criterion", "level"}


@dataclass(frozen=True, slots=True)
class People:
    """Replaces people in the columns of one folder.

    ``parts`` are the parts of keys that hold people. A candidate's name may be the key of a placement, or a
    part of it: it is then replaced wherever that key is used, under whatever heading.
    """

    codes: Codes
    parts: frozenset[Part]

    def person(self, table: str, field: str, column: Column) -> Column:
        """Return the column of a field, with codes where the field is a person."""
        return self.codes.coded(column) if dictionary.table(table).field(field).person else column

    def part(self, field: str, of: int, number: int, column: Column) -> Column:
        """Return one of the parts a field is made of, with codes where it holds people."""
        return self.codes.coded(column) if (field, of, number) in self.parts else column


def of_folder(sources: Iterable[Source], codes: Codes) -> People:
    """Return who replaces people in sheets that are read by these blocks of a mapping.

    What a block reads as a person is one also where the block makes a key of it; what fills such a key in
    another block is a person there, and so on until nothing is added.
    """
    blocks = list(sources)
    headed = [_of_people(source) for source in blocks]
    keys = [_keys(source) for source in blocks]
    parts: set[Part] = set()
    size = -1
    while size < len(parts):
        size = len(parts)
        for units, people in zip(keys, headed, strict=True):
            parts |= {part for part, unit in units.items() if unit in people}
        for units, people in zip(keys, headed, strict=True):
            people |= {unit for part, unit in units.items() if part in parts}
    return People(codes, frozenset(parts))


def _of_people(source: Source) -> set[Unit]:
    table = dictionary.table(source.table)
    found: set[Unit] = set()
    for name, recipe in source.columns.items():
        if table.field(name).person:
            headings = _plain(recipe, source)
            found |= {headings, *((heading,) for heading in headings)}
    return found


def _keys(source: Source) -> dict[Part, Unit]:
    """The parts of which a block makes fields that are text and no people."""
    found: dict[Part, Unit] = {}
    for name, recipe in source.columns.items():
        if _may_hold_people(source, name):
            headings = _plain(recipe, source)
            several = recipe.whole and len(headings) > 1
            units = [(heading,) for heading in headings] if several else [headings]
            found |= {(name, len(units), number): unit for number, unit in enumerate(units)}
    return found


def _plain(recipe: Recipe, source: Source) -> Unit:
    return folded_headings(recipe.headings, source.fold_accents)


def _may_hold_people(source: Source, name: str) -> bool:
    field = dictionary.table(source.table).field(name)
    return field.type == "string" and not field.person and not field.categories and name not in _OF_RUBRICS
