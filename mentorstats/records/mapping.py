"""``mapping.toml``: which file feeds which table, and how its words become ours.

The file is read strictly: a key that nothing would act on is an error, not a comment.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from mentorstats import dictionary, toml_file
from mentorstats.errors import MappingError, nearest
from mentorstats.records.reading.sheet import Options

FILE_NAME = "mapping.toml"
ISO = "%Y-%m-%d"

_DAY = datetime(2026, 3, 14)  # any day whose parts cannot be taken for each other

_SOURCE_KEYS = (
    "file", "sheet", "table", "header_row", "delimiter", "encoding", "dates", "decimal", "distinct",
    "columns", "constants", "criteria", "levels", "missing", "values",
)  # fmt: skip
_SCALE_KEYS = ("rubric", "version", "levels", "criteria", "labels")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One ``[[source]]`` block: how one file, or one sheet of it, feeds one table.

    ``columns`` and ``constants`` are keyed by field, ``criteria`` by criterion code; ``levels``,
    ``missing`` and the parts of ``values`` by what stands in the file.
    """

    file: str
    table: str
    where: str
    sheet: str = ""
    options: Options = field(default_factory=Options)
    dates: tuple[str, ...] = (ISO,)
    decimal: str = "."
    distinct: bool = False
    columns: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    criteria: Mapping[str, str] = field(default_factory=dict)
    levels: Mapping[str, str] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """One ``[[scale]]`` block: the levels of a rubric version, lowest first, for its criteria."""

    rubric: str
    version: str
    levels: tuple[str, ...]
    criteria: tuple[str, ...]
    labels: tuple[str, ...]
    where: str


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole mapping file; ``file`` is what messages call it."""

    file: str
    sources: tuple[Source, ...] = ()
    scales: tuple[Scale, ...] = ()


def read(path: Path) -> Plan:
    """Read a mapping file; raises MappingError naming block, key and what is allowed."""
    content = toml_file.read(path, MappingError)
    if content is None:
        raise MappingError("there is no such file", where=str(path))
    _known(content, ("source", "scale"), path.name)
    sources = _blocks(content, "source", path.name)
    scales = _blocks(content, "scale", path.name)
    return Plan(
        path.name,
        tuple(_source(block, f"{path.name}, source {n}") for n, block in enumerate(sources, start=1)),
        tuple(_scale(block, f"{path.name}, scale {n}") for n, block in enumerate(scales, start=1)),
    )


def _blocks(content: Mapping[str, Any], key: str, where: str) -> list[dict[str, Any]]:
    blocks = content.get(key, [])
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        raise MappingError(f"{key} is not a list of blocks", where=where, remedy=f"Write [[{key}]].")
    return blocks


def _source(block: dict[str, Any], where: str) -> Source:
    _known(block, _SOURCE_KEYS, where)
    _needed(block, ("file", "table"), where)
    table = _one_of(_text(block["table"], where, "table"), dictionary.tables(), where, "table")
    header = block.get("header_row", 1)
    if type(header) is not int or header < 1:
        raise MappingError(f"header_row = {header!r}", where=where, allowed="a whole number from 1")
    source = Source(
        file=_text(block["file"], where, "file"),
        table=table,
        where=where,
        sheet=_text(block.get("sheet", ""), where, "sheet"),
        options=Options(
            header_row=header,
            delimiter=_character(block.get("delimiter", ","), where, "delimiter"),
            encoding=_encoding(block.get("encoding", "utf-8"), where),
        ),
        dates=_formats(block.get("dates", [ISO]), where),
        decimal=_character(block.get("decimal", "."), where, "decimal"),
        distinct=_yes_no(block.get("distinct", False), where, "distinct"),
        columns=_pairs(block, "columns", where),
        constants=_pairs(block, "constants", where),
        criteria=_pairs(block, "criteria", where),
        levels=_pairs(block, "levels", where),
        missing=_pairs(block, "missing", where),
        values={name: _pairs(block["values"], name, where) for name in block.get("values", {})},
    )
    _fields_fit(source)
    return source


def _fields_fit(source: Source) -> None:
    """Hold a block to its table: every field exists, is given once, and none that is needed lacks."""
    table = dictionary.table(source.table)
    where = source.where
    for name in (*source.columns, *source.constants, *source.values):
        _one_of(name, table.names, where, "field")
    only_ratings = [key for key in ("criteria", "levels", "missing") if getattr(source, key)]
    if only_ratings and source.table != "ratings":
        raise MappingError(f"{only_ratings[0]} belongs to ratings, not to {source.table}", where=where)
    wide = {"criterion", "level"} if source.criteria else set()
    given = [*source.columns, *source.constants, *wide]
    twice = sorted({name for name in given if given.count(name) > 1})
    if twice:
        raise MappingError(f"{', '.join(twice)} is given twice", where=where)
    lacking = [name for name in table.required if name not in given]
    lacking += [name for name in table.levels if name not in given and name not in lacking]
    if lacking:
        raise MappingError(
            f"nothing is said of {', '.join(lacking)}, which {source.table} cannot be without",
            where=where,
            remedy="Name its heading under columns, or one value for all rows under constants.",
        )
    reasons = table.field("missing_reason").categories if source.missing else ()
    for reason in source.missing.values():
        _one_of(reason, reasons, where, "reason")
    both = sorted(set(source.levels) & set(source.missing))
    if both:
        raise MappingError(f"{', '.join(both)} stands under levels and under missing", where=where)
    idle = sorted(set(source.values) & {"level"} | set(source.values) - set(source.columns))
    if idle:
        raise MappingError(
            f"values.{idle[0]} acts on nothing",
            where=where,
            remedy="Levels have [source.levels]; any other field needs its heading under columns.",
        )


def _scale(block: dict[str, Any], where: str) -> Scale:
    _known(block, _SCALE_KEYS, where)
    _needed(block, ("rubric", "version", "levels", "criteria"), where)
    levels = _texts(block["levels"], where, "levels")
    labels = _texts(block["labels"], where, "labels") if "labels" in block else levels
    if len(labels) != len(levels):
        raise MappingError(f"{len(labels)} labels for {len(levels)} levels", where=where)
    criteria = _texts(block["criteria"], where, "criteria")
    for key, names in (("levels", levels), ("criteria", criteria)):
        if len(set(names)) < len(names):
            raise MappingError(f"{key} names one twice", where=where)
    return Scale(
        rubric=_text(block["rubric"], where, "rubric"),
        version=_text(block["version"], where, "version"),
        levels=levels,
        criteria=criteria,
        labels=labels,
        where=where,
    )


def _known(block: Mapping[str, Any], allowed: Iterable[str], where: str) -> None:
    for key in block:
        _one_of(key, allowed, where, "key")


def _needed(block: Mapping[str, Any], keys: Iterable[str], where: str) -> None:
    lacking = [key for key in keys if key not in block]
    if lacking:
        raise MappingError(f"lacks {', '.join(lacking)}", where=where)


def _one_of(value: str, allowed: Iterable[str], where: str, kind: str) -> str:
    choices = list(allowed)
    if value not in choices:
        near = nearest(value, choices)
        remedy = f"Did you mean {near!r}?" if near else None
        raise MappingError(f"unknown {kind} {value!r}", where=where, allowed=choices, remedy=remedy)
    return value


def _text(value: object, where: str, key: str) -> str:
    """Take a text, or a whole number as it is written; anything else would have to be guessed at."""
    if isinstance(value, str) or type(value) is int:
        return str(value)
    raise MappingError(f"{key} = {value!r} is not text", where=where, remedy="Put it in quotation marks.")


def _texts(value: object, where: str, key: str) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise MappingError(f"{key} = {value!r}", where=where, allowed="a list with at least one text")
    return tuple(_text(item, where, key) for item in value)


def _formats(value: object, where: str) -> tuple[str, ...]:
    formats = _texts(value, where, "dates")
    for form in formats:
        written = _DAY.strftime(form)
        try:
            has_year = written != _DAY.replace(year=_DAY.year + 1).strftime(form)
            sound = has_year and datetime.strptime(written, form) == _DAY
        except ValueError:
            sound = False
        if not sound:
            raise MappingError(
                f"dates: {form!r} does not give year, month and day",
                where=where,
                allowed="%d, %m, %Y and the like, for example %d/%m/%Y",
            )
    return formats


def _pairs(block: Mapping[str, Any], key: str, where: str) -> dict[str, str]:
    pairs = block.get(key, {})
    if not isinstance(pairs, dict):
        raise MappingError(f"{key} = {pairs!r}", where=where, remedy=f"Write it as [source.{key}].")
    return {name.strip(): _text(value, where, f"{key}.{name}").strip() for name, value in pairs.items()}


def _yes_no(value: object, where: str, key: str) -> bool:
    if not isinstance(value, bool):
        raise MappingError(f"{key} = {value!r}", where=where, allowed="true, false")
    return value


def _character(value: object, where: str, key: str) -> str:
    if not isinstance(value, str) or len(value) != 1 or not value.isascii():
        raise MappingError(f"{key} = {value!r}", where=where, allowed="one character")
    return value


def _encoding(value: object, where: str) -> str:
    name = _text(value, where, "encoding")
    try:
        "".encode(name)
    except LookupError as error:
        raise MappingError(
            f"unknown encoding {name!r}", where=where, remedy='Common ones are "utf-8" and "cp1252".'
        ) from error
    return name
