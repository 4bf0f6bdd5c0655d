"""The blocks of a mapping file: sources and scales.

The file is read strictly: a key that nothing would act on is an error, not a comment.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.declared import toml_file
from mentorstats.errors import MappingError
from mentorstats.records.mapping import identity_block, recipes, skips, values
from mentorstats.records.mapping.identity_block import Identities
from mentorstats.records.mapping.recipes import Recipe
from mentorstats.records.mapping.skips import Skip
from mentorstats.records.mapping.values import ISO
from mentorstats.records.reading.sheet import Options

FILE_NAME = "mapping.toml"

_SOURCE_KEYS = (
    "file", "sheet", "table", "heading_row", "heading_rows", "header_row", "delimiter", "encoding", "dates",
    "decimal", "distinct", "fold_accents", "skip", "columns", "constants", "criteria", "levels", "missing",
    "values", "raters", "months", "look_up",
)  # fmt: skip
_RATERS_KEYS = ("columns", "constants", "criteria")
_LOOK_UP_KEYS = ("file", "sheet", "column", "its")
_SCALE_KEYS = ("rubric", "version", "levels", "criteria", "labels", "titles", "weights")


@dataclass(frozen=True, slots=True, kw_only=True)
class LookUp:
    """Where another sheet tells more of a row: the row whose ``its`` is what stands under ``column`` here."""

    file: str
    sheet: str
    column: str
    its: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One ``[[source]]`` block: how one file, or one sheet of it, feeds one table.

    ``columns`` and ``constants`` are keyed by field, as is ``of_name``, whose patterns find a constant in
    the file's name; ``criteria`` by criterion code; ``levels``, ``missing`` and the parts of ``values`` by
    what stands in the file. ``beside`` says that a row holds forms of other raters too, so that one without
    any level is no form of this rater.
    """

    file: str
    table: str
    where: str
    sheet: str = ""
    options: Options = field(default_factory=Options)
    dates: tuple[str, ...] = (ISO,)
    months: tuple[str, ...] = ()
    decimal: str = "."
    distinct: bool = False
    fold_accents: bool = False
    skip: tuple[Skip, ...] = ()
    columns: Mapping[str, Recipe] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    of_name: Mapping[str, str] = field(default_factory=dict)
    criteria: Mapping[str, Recipe] = field(default_factory=dict)
    levels: Mapping[str, str] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    beside: bool = False
    look_up: LookUp | None = None

    @property
    def recipes(self) -> tuple[Recipe, ...]:
        """All that is made of cells."""
        return (*self.columns.values(), *self.criteria.values())

    @property
    def headings(self) -> dict[str, str]:
        """What messages call each field's place in the file."""
        return {name: recipe.named for name, recipe in self.columns.items()}

    @property
    def named(self) -> tuple[str, ...]:
        """All headings that the block names, each once."""
        of_skips = (rule.column for rule in self.skip if rule.column)
        pointer = [self.look_up.column] if self.look_up else []
        of_cells = (heading for recipe in self.recipes for heading in recipe.headings)
        return tuple(dict.fromkeys([*of_cells, *of_skips, *pointer]))

    def of_file(self, name: str) -> "Source":
        """Return the block with the constants that a file's name gives, or raise MappingError."""
        if not self.of_name:
            return self
        found = {key: _part_of_name(name, pattern, self.where, key) for key, pattern in self.of_name.items()}
        return replace(self, constants={**self.constants, **found}, of_name={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """One ``[[scale]]`` block: the levels of a rubric version, lowest first, for its criteria.

    ``titles`` and ``weights`` are keyed by criterion, and may lack some.
    """

    rubric: str
    version: str
    levels: tuple[str, ...]
    criteria: tuple[str, ...]
    labels: tuple[str, ...]
    where: str
    titles: Mapping[str, str] = field(default_factory=dict)
    weights: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole mapping file; ``file`` is what messages call it."""

    file: str
    sources: tuple[Source, ...] = ()
    scales: tuple[Scale, ...] = ()
    identities: Identities | None = None


def read(path: Path) -> Plan:
    """Read a mapping file; raises MappingError naming block, key and what is allowed."""
    content = toml_file.read(path, MappingError)
    if content is None:
        raise MappingError("there is no such file", where=str(path))
    values.known(content, ("source", "scale", identity_block.BLOCK), path.name)
    sources = _blocks(content, "source", path.name)
    scales = _blocks(content, "scale", path.name)
    return Plan(
        path.name,
        tuple(
            part
            for n, block in enumerate(sources, start=1)
            for part in _sources(block, f"{path.name}, source {n}")
        ),
        tuple(_scale(block, f"{path.name}, scale {n}") for n, block in enumerate(scales, start=1)),
        identity_block.read(content, path.name),
    )


def _blocks(content: Mapping[str, Any], key: str, where: str, *, within: str = "") -> list[dict[str, Any]]:
    blocks = content.get(key, [])
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        raise MappingError(f"{key} is not a list of blocks", where=where, remedy=f"Write [[{within}{key}]].")
    return blocks


def _sources(block: dict[str, Any], where: str) -> list[Source]:
    """Read a block; raters side by side in one form give a source each."""
    values.known(block, _SOURCE_KEYS, where)
    raters = _blocks(block, "raters", where, within="source.")
    if not raters:
        return [_source(block, where)]
    if block.get("table") != "ratings":
        raise MappingError("raters belongs to ratings", where=where)
    parts = []
    for number, own in enumerate(raters, start=1):
        here = f"{where}, raters {number}"
        values.known(own, _RATERS_KEYS, here)
        merged = {key: both for key in _RATERS_KEYS if (both := _merged(block, own, key, here))}
        parts.append(replace(_source({**block, **merged}, here), beside=True))
    return parts


def _merged(block: dict[str, Any], own: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    shared, more = values.table(block, key, where), values.table(own, key, where, written="source.raters")
    twice = sorted(set(shared) & set(more))
    if twice:
        raise MappingError(f"{', '.join(twice)} is given twice", where=where)
    return {**shared, **more}


def _source(block: dict[str, Any], where: str) -> Source:
    values.needed(block, ("file", "table"), where)
    table = values.one_of(values.text(block["table"], where, "table"), dictionary.tables(), where, "table")
    constants, of_name = _constants(block, where)
    source = Source(
        file=values.text(block["file"], where, "file"),
        table=table,
        where=where,
        sheet=values.text(block.get("sheet", ""), where, "sheet"),
        options=Options(
            heading_rows=_heading_rows(block, where),
            delimiter=values.character(block.get("delimiter", ","), where, "delimiter"),
            encoding=values.encoding(block.get("encoding", "utf-8"), where),
        ),
        dates=values.dates(block.get("dates", [ISO]), where),
        months=values.months(block["months"], where) if "months" in block else (),
        decimal=values.character(block.get("decimal", "."), where, "decimal"),
        distinct=values.yes_no(block.get("distinct", False), where, "distinct"),
        fold_accents=values.yes_no(block.get("fold_accents", False), where, "fold_accents"),
        skip=skips.read(block["skip"], where) if "skip" in block else (),
        look_up=_look_up(block["look_up"], where) if "look_up" in block else None,
        columns=_recipes(block, "columns", where),
        constants=constants,
        of_name=of_name,
        criteria=_recipes(block, "criteria", where),
        levels=values.pairs(block, "levels", where),
        missing=values.pairs(block, "missing", where),
        values={
            name: values.pairs(block["values"], name, where, written="source.values")
            for name in values.table(block, "values", where)
        },
    )
    _fields_fit(source)
    return source


def _look_up(value: object, where: str) -> LookUp:
    where = f"{where}, look_up"
    if not isinstance(value, dict):
        raise MappingError(f"{value!r}", where=where, remedy='Write { file = "…", column = "your heading" }.')
    values.known(value, _LOOK_UP_KEYS, where)
    values.needed(value, ("file", "column"), where)
    column = values.filled(value["column"], where, "column").strip()
    return LookUp(
        file=values.filled(value["file"], where, "file"),
        sheet=values.text(value.get("sheet", ""), where, "sheet"),
        column=column,
        its=values.filled(value.get("its", column), where, "its").strip(),
    )


def _heading_rows(block: Mapping[str, Any], where: str) -> tuple[int, ...]:
    given = [key for key in ("heading_row", "heading_rows", "header_row") if key in block]
    if len(given) > 1:
        raise MappingError(f"{' and '.join(given)} say the same thing", where=where, remedy="Keep one.")
    if not given:
        return (1,)
    (key,) = given
    if key != "heading_rows":
        return (values.count(block[key], where, key),)
    rows = block[key]
    found = [values.count(row, where, key) for row in rows] if isinstance(rows, list) else []
    if not found or found != sorted(set(found)):
        raise MappingError(
            f"heading_rows = {rows!r}", where=where, allowed="rows from the top down, for example [3, 4]"
        )
    return tuple(found)


def _recipes(block: Mapping[str, Any], key: str, where: str) -> dict[str, Recipe]:
    found = values.table(block, key, where)
    return {name.strip(): recipes.read(value, where, f"{key}.{name}") for name, value in found.items()}


def _constants(block: Mapping[str, Any], where: str) -> tuple[dict[str, str], dict[str, str]]:
    """Return constants as they are, and those that a file's name gives."""
    given = values.table(block, "constants", where)
    of_name = {}
    for name, value in given.items():
        if isinstance(value, dict):
            here = f"{where}, constants.{name}"
            values.known(value, ("from_file_name",), here)
            values.needed(value, ("from_file_name",), here)
            of_name[name.strip()] = values.pattern(value["from_file_name"], here, "from_file_name")
    plain = {name: value for name, value in given.items() if name.strip() not in of_name}
    return values.pairs({"constants": plain}, "constants", where), of_name


def _part_of_name(name: str, pattern: str, where: str, key: str) -> str:
    """The group of a pattern in a name, by an engine that is never slow, whatever the pattern."""
    texts = pa.array([name], pa.string())
    try:
        there = pc.match_substring_regex(texts, pattern)[0].as_py()
        found = pc.replace_substring_regex(texts, f"^.*?(?:{pattern}).*$", r"\1")[0].as_py() if there else ""
    except pa.ArrowInvalid as error:
        raise MappingError(f"constants.{key}: {pattern!r} is not read: {error}", where=where) from error
    if not found:
        raise MappingError(
            f"constants.{key}: from_file_name = {pattern!r} finds nothing in {name!r}",
            where=where,
            remedy="Correct the pattern, or give the file another name.",
        )
    return str(found)


def _fields_fit(source: Source) -> None:
    """Hold a block to its table: every field exists, is given once, and none that is needed lacks."""
    table = dictionary.table(source.table)
    where = source.where
    for name in (*source.columns, *source.constants, *source.of_name, *source.values):
        values.one_of(name, table.names, where, "field")
    for name, recipe in source.columns.items():
        recipes.unit_fits(recipe, table.field(name), where)
    of_levels = {f"criteria.{name}": recipe for name, recipe in source.criteria.items()}
    of_levels |= {name: recipe for name, recipe in source.columns.items() if name in table.levels}
    for name, recipe in of_levels.items():
        if recipe.unit or len(recipe.headings) > 1:
            what = "has no unit" if recipe.unit else "stands in one column"
            raise MappingError(f"{name}: a level {what}", where=where)
    only_ratings = [key for key in ("criteria", "levels", "missing") if getattr(source, key)]
    if only_ratings and source.table != "ratings":
        raise MappingError(f"{only_ratings[0]} belongs to ratings, not to {source.table}", where=where)
    wide = {"criterion", "level"} if source.criteria else set()
    given = [*source.columns, *source.constants, *source.of_name, *wide]
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
        values.one_of(reason, reasons, where, "reason")
    both = sorted(set(source.levels) & set(source.missing))
    if both:
        raise MappingError(f"{', '.join(both)} is under levels and also under missing", where=where)
    idle = sorted(set(source.values) & {"level"} | set(source.values) - set(source.columns))
    if idle:
        raise MappingError(
            f"values.{idle[0]} acts on nothing",
            where=where,
            remedy="Levels have [source.levels]; any other field needs its heading under columns.",
        )


def _scale(block: dict[str, Any], where: str) -> Scale:
    values.known(block, _SCALE_KEYS, where)
    values.needed(block, ("rubric", "version", "levels", "criteria"), where)
    levels = values.texts(block["levels"], where, "levels")
    criteria = values.texts(block["criteria"], where, "criteria")
    labels = values.texts(block["labels"], where, "labels") if "labels" in block else levels
    if len(labels) != len(levels):
        raise MappingError(f"{len(labels)} labels for {len(levels)} levels", where=where)
    for key, found in (("levels", levels), ("criteria", criteria)):
        if len(set(found)) < len(found):
            raise MappingError(f"{key} names one twice", where=where)
    titles = values.pairs(block, "titles", where, written="scale")
    weights = {
        name: values.number(value, where, f"weights.{name}")
        for name, value in values.table(block, "weights", where, written="scale").items()
    }
    for key, named in (("titles", titles), ("weights", weights)):
        for name in named:
            values.one_of(name, criteria, where, f"criterion under {key}")
    return Scale(
        rubric=values.text(block["rubric"], where, "rubric"),
        version=values.text(block["version"], where, "version"),
        levels=levels,
        criteria=criteria,
        labels=labels,
        where=where,
        titles=titles,
        weights=weights,
    )
