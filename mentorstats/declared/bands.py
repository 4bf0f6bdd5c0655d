"""Scales of words for a coefficient, as data_dictionary/bands/*.toml gives them, each with its author."""

import tomllib
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from mentorstats import places
from mentorstats.errors import ArgumentError, DictionaryError
from mentorstats.sources import SOURCES

SIDES = ("below", "above")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """One author's bands.

    Attributes
    ----------
    edges
        From the lowest to the highest value of the coefficient, one more than labels.
    labels
        Words, lowest band first.
    edge_goes
        For each inner edge, whether a value on it belongs to the band ``below`` or ``above``.
    proposed_for
        Coefficients that the author had in mind.
    """

    id: str
    author: str
    reference: str
    edges: tuple[float, ...]
    labels: tuple[str, ...]
    edge_goes: tuple[str, ...]
    proposed_for: tuple[str, ...]
    note: str = ""

    def place(self, value: float) -> int:
        """Position of the band that holds a value; beyond an end it is the band at that end."""
        inner = self.edges[1:-1]
        at = bisect_left(inner, value)
        on_edge = at < len(inner) and inner[at] == value
        return at + 1 if on_edge and self.edge_goes[at] == "above" else at

    def label(self, value: float) -> str:
        """Word for a value."""
        return self.labels[self.place(value)]


def scale(name: str) -> Scale:
    """Return the scale of that name, or raise ArgumentError naming those that are there."""
    known = scales()
    if name not in known:
        raise ArgumentError(f"no scale {name!r}", allowed=known, remedy="Name one of the scales of bands.")
    return known[name]


@cache
def scales() -> Mapping[str, Scale]:
    """All shipped scales by name."""
    found: dict[str, Scale] = {}
    for path in sorted((places.data_dictionary() / "bands").glob("*.toml")):
        found |= {one.id: one for one in read(path)}
    return found


def read(path: Path) -> list[Scale]:
    """Read the scales of one file, refusing whatever is no scale."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DictionaryError(f"not legal TOML: {error}", where=str(path)) from error
    return [_scale(name, block, f"{path}, {name}") for name, block in content.items()]


def _scale(name: str, block: dict[str, Any], where: str) -> Scale:
    known = {item.name for item in fields(Scale)} - {"id"}
    odd = sorted(set(block) - known) or sorted(known - {"note"} - set(block))
    if odd:
        raise DictionaryError(f"unknown or missing key {', '.join(odd)}", where=where, allowed=sorted(known))
    edges = tuple(float(edge) for edge in block["edges"])
    labels, sides = tuple(block["labels"]), tuple(block["edge_goes"])
    if list(edges) != sorted(set(edges)) or len(edges) != len(labels) + 1:
        raise DictionaryError(
            f"{len(edges)} edges and {len(labels)} labels",
            where=where,
            allowed="rising edges, one more than labels",
        )
    if len(sides) != len(edges) - 2:
        raise DictionaryError(f"{len(sides)} sides for {len(edges) - 2} inner edges", where=where)
    _among(sides, SIDES, where)
    _among((block["reference"],), SOURCES, where)
    given = {**block, "edges": edges, "labels": labels, "edge_goes": sides}
    return Scale(id=name, **{**given, "proposed_for": tuple(block["proposed_for"])})


def _among(values: Iterable[str], allowed: Iterable[str], where: str) -> None:
    choices = list(allowed)
    for value in values:
        if value not in choices:
            raise DictionaryError(f"{value!r} is not known", where=where, allowed=choices)
