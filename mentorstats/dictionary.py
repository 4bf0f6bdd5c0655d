"""The data dictionary as the code reads it: Table Schema descriptors, one a table.

The loader, the store, the invented data and the documentation all derive from these files.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from mentorstats import places
from mentorstats.errors import ArgumentError, DictionaryError

TYPES = ("string", "date", "integer", "number", "boolean")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column of a table."""

    name: str
    type: str
    title: str = ""
    description: str = ""
    unit: str = ""
    synonyms: tuple[str, ...] = ()
    required: bool = False
    unique: bool = False
    enum: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    pattern: str = ""
    format: str = ""
    missing: tuple[str, ...] = ("",)
    true_values: tuple[str, ...] = ()
    false_values: tuple[str, ...] = ()
    categories: tuple[str, ...] = ()
    ordered: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignKey:
    """Columns that point into another table."""

    fields: tuple[str, ...]
    table: str
    to: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table: its fields in order, and its keys."""

    name: str
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...] = ()
    descriptor: Mapping[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fields, in order."""
        return tuple(item.name for item in self.fields)

    def field(self, name: str) -> Field:
        """Return the field of that name, or raise ArgumentError."""
        for item in self.fields:
            if item.name == name:
                return item
        raise ArgumentError(f"no field {name!r}", where=f"table {self.name}", allowed=self.names)


@cache
def tables() -> tuple[str, ...]:
    """Names of the tables, in alphabetical order."""
    return tuple(sorted(path.stem for path in places.data_dictionary().glob("*.json")))


@cache
def table(name: str) -> Table:
    """Read the descriptor of a table.

    Raises
    ------
    ArgumentError
        There is no such table.
    DictionaryError
        The descriptor is not a legal one.
    """
    if name not in tables():
        raise ArgumentError(f"no table {name!r}", where="data dictionary", allowed=tables())
    path = places.data_dictionary() / f"{name}.json"
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise DictionaryError(f"not legal JSON: {error}", where=str(path)) from error
    return _table(content, path)


def _table(content: dict[str, Any], path: Path) -> Table:
    missing = tuple(_values(content.get("missingValues", [""])))
    fields = tuple(_field(item, missing, path) for item in content["fields"])
    keys = tuple(
        ForeignKey(
            fields=tuple(key["fields"]),
            table=key["reference"]["resource"],
            to=tuple(key["reference"]["fields"]),
        )
        for key in content.get("foreignKeys", [])
    )
    made = Table(
        name=content["name"],
        title=content["title"],
        description=content["description"],
        fields=fields,
        primary_key=tuple(content["primaryKey"]),
        foreign_keys=keys,
        descriptor=content,
    )
    pointed = {*made.primary_key, *(name for key in keys for name in key.fields)}
    if made.name != path.stem or pointed - set(made.names):
        odd = sorted(pointed - set(made.names)) or [made.name]
        raise DictionaryError(f"names {', '.join(odd)}, which it does not hold", where=str(path))
    return made


def _field(content: dict[str, Any], missing: tuple[str, ...], path: Path) -> Field:
    name, kind = content["name"], content["type"]
    if kind not in TYPES:
        raise DictionaryError(f"field {name} has type {kind!r}", where=str(path), allowed=TYPES)
    limits = content.get("constraints", {})
    return Field(
        name=name,
        type=kind,
        title=content.get("title", name),
        description=content.get("description", ""),
        unit=content.get("unit", ""),
        synonyms=tuple(content.get("synonyms", ())),
        required=limits.get("required", False),
        unique=limits.get("unique", False),
        enum=tuple(limits.get("enum", ())),
        minimum=limits.get("minimum"),
        maximum=limits.get("maximum"),
        pattern=limits.get("pattern", ""),
        format=content.get("format", ""),
        missing=tuple(_values(content["missingValues"])) if "missingValues" in content else missing,
        true_values=tuple(content.get("trueValues", ())),
        false_values=tuple(content.get("falseValues", ())),
        categories=tuple(_values(content.get("categories", ()))),
        ordered=content.get("categoriesOrdered", False),
    )


def _values(items: Any) -> list[str]:
    """Values of a list that may label them: ``"x"`` or ``{"value": "x", "label": …}``."""
    return [item["value"] if isinstance(item, dict) else item for item in items]
