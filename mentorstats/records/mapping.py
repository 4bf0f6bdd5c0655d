"""mapping.toml: which file feeds which table, under which headings, labels and codes."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records.read import Form

FILE_NAME = "mapping.toml"
ISO_DATE = "%Y-%m-%d"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One block: a file, a sheet of it, and the table it feeds."""

    file: str
    table: str
    sheet: str | None = None
    form: Form = field(default_factory=Form)
    dates: tuple[str, ...] = (ISO_DATE,)
    decimal: str = "."
    columns: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    criteria: Mapping[str, str] = field(default_factory=dict)
    levels: Mapping[str, str] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    where: str = ""

    def matches(self, name: str) -> bool:
        """Whether a file of that name is meant."""
        return self.file == name or fnmatchcase(name, self.file)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Levels of a rubric version that no export declares, lowest first."""

    rubric: str
    version: str
    levels: tuple[str, ...]
    criteria: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Mapped:
    """The whole file."""

    sources: tuple[Source, ...]
    scales: tuple[Scale, ...] = ()


_SOURCE_KEYS = {
    "file": str,
    "table": str,
    "sheet": str,
    "header_row": int,
    "delimiter": str,
    "encoding": str,
    "dates": list,
    "decimal": str,
    "columns": dict,
    "constants": dict,
    "criteria": dict,
    "levels": dict,
    "missing": dict,
    "values": dict,
}
_SCALE_KEYS = {"rubric": str, "version": str, "levels": list, "criteria": list}


def read(path: Path) -> Mapped:
    """Read and check a mapping.

    Raises
    ------
    MappingError
        The file is missing or not TOML; a key, table, field or reason is unknown; a value has the
        wrong type; a field is mapped twice.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise MappingError("no such file", where=str(path)) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MappingError(f"not legal TOML: {error}", where=str(path)) from error
    _known(content, ("source", "scale"), str(path))
    sources = tuple(
        _source(block, f"{path.name}, source {n}") for n, block in _blocks(content, "source", path)
    )
    if not sources:
        raise MappingError("names no file", where=str(path), remedy="Give at least one [[source]].")
    scales = tuple(_scale(block, f"{path.name}, scale {n}") for n, block in _blocks(content, "scale", path))
    return Mapped(sources, scales)


def _blocks(content: dict[str, Any], key: str, path: Path) -> Iterable[tuple[int, dict[str, Any]]]:
    blocks = content.get(key, [])
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        raise MappingError(f"{key} is not a list of blocks", where=str(path), remedy=f"Write [[{key}]].")
    return enumerate(blocks, start=1)


def _source(block: dict[str, Any], where: str) -> Source:
    _typed(block, _SOURCE_KEYS, ("file", "table"), where)
    where = f"{where} ({block['file']})"
    if block["table"] not in dictionary.tables():
        raise MappingError(f"unknown table {block['table']!r}", where=where, allowed=dictionary.tables())
    table = dictionary.table(block["table"])
    fields = [*block.get("columns", {}), *block.get("constants", {})]
    for name in [*fields, *block.get("values", {})]:
        if name not in table.names:
            raise MappingError(
                f"table {table.name} has no field {name!r}{nearest(name, table.names)}",
                where=where,
                allowed=table.names,
            )
    wide = ["criterion", "level"] if block.get("criteria") else []
    twice = sorted({name for name in [*fields, *wide] if [*fields, *wide].count(name) > 1})
    if twice:
        raise MappingError(f"field {twice[0]!r} is filled twice", where=where)
    if (block.get("criteria") or block.get("levels")) and table.name not in ("ratings", "key_ratings"):
        raise MappingError(f"table {table.name} has no levels", where=where)
    _reasons(block.get("missing", {}), where)
    return Source(
        file=block["file"],
        table=table.name,
        sheet=block.get("sheet"),
        form=Form(block.get("header_row", 1), block.get("delimiter", ""), block.get("encoding", "utf-8")),
        dates=tuple(block.get("dates", (ISO_DATE,))),
        decimal=block.get("decimal", "."),
        columns=block.get("columns", {}),
        constants=_texts(block.get("constants", {})),
        criteria=block.get("criteria", {}),
        levels=_texts(block.get("levels", {})),
        missing=block.get("missing", {}),
        values={name: _texts(values) for name, values in block.get("values", {}).items()},
        where=where,
    )


def _reasons(missing: Mapping[str, str], where: str) -> None:
    reasons = dictionary.table("ratings").field("missing_reason").categories
    for code, reason in missing.items():
        if reason not in reasons:
            raise MappingError(f"missing code {code!r} has reason {reason!r}", where=where, allowed=reasons)


def _scale(block: dict[str, Any], where: str) -> Scale:
    _typed(block, _SCALE_KEYS, tuple(_SCALE_KEYS), where)
    levels = tuple(str(level) for level in block["levels"])
    if len(levels) < 2 or len(set(levels)) != len(levels):
        raise MappingError("levels are fewer than two, or one stands twice", where=where)
    return Scale(
        rubric=block["rubric"],
        version=block["version"],
        levels=levels,
        criteria=tuple(str(code) for code in block["criteria"]),
    )


def _typed(block: dict[str, Any], keys: Mapping[str, type], needed: tuple[str, ...], where: str) -> None:
    _known(block, keys, where)
    for key in needed:
        if key not in block:
            raise MappingError(f"no {key}", where=where, remedy=f"Say {key} = ….")
    for key, value in block.items():
        if not isinstance(value, keys[key]) or isinstance(value, bool):
            raise MappingError(f"{key} = {value!r} is not a {keys[key].__name__}", where=where)


def _known(block: Mapping[str, Any], allowed: Iterable[str], where: str) -> None:
    choices = tuple(allowed)
    for key in block:
        if key not in choices:
            raise MappingError(f"unknown key {key!r}{nearest(key, choices)}", where=where, allowed=choices)


def _texts(values: Mapping[str, Any]) -> dict[str, str]:
    return {str(key): str(value) for key, value in values.items()}


def nearest(name: str, choices: Iterable[str]) -> str:
    """Return a hint at the nearest name present, or nothing."""
    close = get_close_matches(name, [str(choice) for choice in choices], n=1, cutoff=0.6)
    return f" (did you mean {close[0]!r}?)" if close else ""
