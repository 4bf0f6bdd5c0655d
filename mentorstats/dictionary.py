"""The tables of a programme, as data_dictionary/*.json (Table Schema) declares them.

The loader, the templates, the documentation and the invented programme all derive from here, so
a field is added, renamed or constrained in a descriptor and nowhere else.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

from mentorstats import places
from mentorstats.errors import DictionaryError

PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
TYPES = ("string", "integer", "number", "boolean", "date")
EFFECTS = ("set_aside", "notice")

_FIELD_KEYS = {
    "name", "type", "person", "format", "title", "description", "unit", "synonyms", "constraints",
    "categories", "categoriesOrdered", "missingValues", "trueValues", "falseValues",
}  # fmt: skip
_CONSTRAINTS = {"required", "unique", "minimum", "maximum", "pattern"}
_TABLE_KEYS = {
    "$schema", "name", "title", "description", "fields", "missingValues",
    "primaryKey", "uniqueKeys", "foreignKeys", "dateOrder",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column of a table.

    ``categories`` maps each allowed value to its words, lowest first where ``ordered``;
    ``missing`` maps each code for a missing value to what it stands for; ``person`` says that the values are
    codes of people, never names.
    """

    name: str
    type: str
    title: str
    description: str
    synonyms: tuple[str, ...] = ()
    unit: str = ""
    required: bool = False
    unique: bool = False
    person: bool = False
    categories: Mapping[str, str]
    ordered: bool = False
    minimum: float | None = None
    maximum: float | None = None
    pattern: str = ""
    missing: Mapping[str, str]
    true_values: tuple[str, ...] = ()
    false_values: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ForeignKey:
    """Fields whose values must stand in another table, and what happens to a row where they do not."""

    fields: tuple[str, ...]
    table: str
    references: tuple[str, ...]
    effect: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table: what a row is, its fields and its keys."""

    name: str
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    unique_keys: tuple[tuple[str, ...], ...]
    foreign_keys: tuple[ForeignKey, ...]
    missing_values: Mapping[str, str]
    date_order: tuple[tuple[str, str], ...]
    descriptor: Mapping[str, Any]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fields, in order."""
        return tuple(field.name for field in self.fields)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the fields that no row can be without."""
        return tuple(field.name for field in self.fields if field.required)

    @property
    def levels(self) -> tuple[str, ...]:
        """Names of the fields that hold a level which the rubrics must declare."""
        return tuple(
            key.fields[key.references.index("level")]
            for key in self.foreign_keys
            if "level" in key.references
        )

    def field(self, name: str) -> Field:
        """Return the field of that name; raises DictionaryError where there is none."""
        for field in self.fields:
            if field.name == name:
                return field
        raise DictionaryError(f"no field {name!r}", where=f"table {self.name}", allowed=self.names)


@cache
def tables() -> tuple[str, ...]:
    """Names of the tables, each after the tables that its foreign keys point to."""
    found = sorted(path.stem for path in places.data_dictionary().glob("*.json"))
    order = {name: sorted({key.table for key in table(name).foreign_keys}) for name in found}
    unknown = sorted(set().union(*order.values()) - set(found)) if order else []
    if unknown:
        raise DictionaryError(f"a foreign key points to {', '.join(unknown)}", allowed=found)
    try:
        return tuple(TopologicalSorter(order).static_order())
    except CycleError as error:
        raise DictionaryError(f"foreign keys run in a circle: {error.args[1]}") from error


@cache
def table(name: str) -> Table:
    """Return one table by name; raises DictionaryError where there is none, or it is not legal."""
    path = places.data_dictionary() / f"{name}.json"
    if not path.is_file():
        known = sorted(found.stem for found in path.parent.glob("*.json"))
        raise DictionaryError(f"no table {name!r}", allowed=known)
    return read(path)


def read(path: Path) -> Table:
    """Read one descriptor, refusing any key that this package would not act on."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise DictionaryError(f"not legal JSON: {error}", where=str(path)) from error
    _known(content, _TABLE_KEYS, str(path))
    if content.get("$schema") != PROFILE or content.get("name") != path.stem:
        raise DictionaryError(
            "$schema or name is wrong", where=str(path), allowed=f"{PROFILE} and the name {path.stem}"
        )
    missing = _missing(content)
    fields = tuple(_field(item, missing, str(path)) for item in content["fields"])
    made = Table(
        name=content["name"],
        title=content["title"],
        description=content["description"],
        fields=fields,
        primary_key=tuple(content["primaryKey"]),
        unique_keys=tuple(tuple(key) for key in content.get("uniqueKeys", ())),
        foreign_keys=tuple(_foreign_key(item, str(path)) for item in content.get("foreignKeys", ())),
        missing_values=missing,
        date_order=tuple((first, last) for first, last in content.get("dateOrder", ())),
        descriptor=content,
    )
    _keys_are_fields(made, str(path))
    return made


def _known(content: Mapping[str, Any], allowed: set[str], where: str) -> None:
    odd = sorted(set(content) - allowed)
    if odd:
        raise DictionaryError(f"unknown key {', '.join(odd)}", where=where, allowed=sorted(allowed))


def _missing(content: Mapping[str, Any]) -> dict[str, str]:
    return {item["value"]: item["label"] for item in content.get("missingValues", ())}


def _field(item: Mapping[str, Any], missing: Mapping[str, str], where: str) -> Field:
    where = f"{where}, field {item.get('name')}"
    _known(item, _FIELD_KEYS, where)
    rules = item.get("constraints", {})
    _known(rules, _CONSTRAINTS, where)
    if item["type"] not in TYPES:
        raise DictionaryError(f"type {item['type']!r} is not read", where=where, allowed=TYPES)
    if item.get("categoriesOrdered") and not item.get("categories"):
        raise DictionaryError("categoriesOrdered without categories", where=where)
    return Field(
        name=item["name"],
        type=item["type"],
        title=item["title"],
        description=item["description"],
        synonyms=tuple(item.get("synonyms", ())),
        unit=item.get("unit", ""),
        required=rules.get("required", False),
        unique=rules.get("unique", False),
        person=item.get("person", False),
        categories={part["value"]: part["label"] for part in item.get("categories", ())},
        ordered=item.get("categoriesOrdered", False),
        minimum=rules.get("minimum"),
        maximum=rules.get("maximum"),
        pattern=rules.get("pattern", ""),
        missing=_missing(item) or missing,
        true_values=tuple(item.get("trueValues", ("true", "1"))),
        false_values=tuple(item.get("falseValues", ("false", "0"))),
    )


def _foreign_key(item: Mapping[str, Any], where: str) -> ForeignKey:
    effect = item["effect"]
    if effect not in EFFECTS:
        raise DictionaryError(f"effect {effect!r} is not known", where=where, allowed=EFFECTS)
    target = item["reference"]
    return ForeignKey(tuple(item["fields"]), target["resource"], tuple(target["fields"]), effect)


def _keys_are_fields(made: Table, where: str) -> None:
    named = [made.primary_key, *made.unique_keys, *made.date_order, *(k.fields for k in made.foreign_keys)]
    odd = sorted({name for key in named for name in key} - set(made.names))
    if odd:
        raise DictionaryError(f"a key names {', '.join(odd)}", where=where, allowed=made.names)
