"""Levels are declared, never inferred: what the rubrics say, and whether ratings keep to it."""

from collections.abc import Iterable

import numpy as np
import pandas as pd
import pyarrow as pa

from mentorstats import dictionary
from mentorstats.errors import MappingError, SourceFileError, nearest
from mentorstats.records.checking.batch import Batch, Origin
from mentorstats.records.mapping import Plan, Scale, Source
from mentorstats.records.problems import SET_ASIDE, Problems, quoted
from mentorstats.records.reading.column import Column, folded

Criterion = tuple[str, str, str]  # rubric, version, criterion
Declared = dict[Criterion, tuple[str, ...]]  # levels, lowest first

_KEY = ("rubric", "rubric_version", "criterion")
_HINTS = 200  # distinct undeclared values for which a nearest one is looked up


def declared(rubrics: Batch | None) -> Declared:
    """Return the levels of every criterion, lowest first, from a batch of rubrics without faults.

    Raises SourceFileError where ranks leave a gap or a level bears the name of a missing one.
    """
    if rubrics is None:
        return {}
    names = ("rubric", "version", "criterion", "level", "rank")
    columns = [rubrics.columns[name].take(~rubrics.aside).array().to_pylist() for name in names]
    found: dict[Criterion, list[tuple[int, str]]] = {}
    for rubric, version, criterion, level, rank in zip(*columns, strict=True):
        found.setdefault((rubric, version, criterion), []).append((rank, level))
    for key, levels in found.items():
        _whole(key, sorted(levels))
    return {key: tuple(level for _, level in sorted(levels)) for key, levels in found.items()}


def _whole(key: Criterion, levels: list[tuple[int, str]]) -> None:
    """Raise where ranks leave a gap, for a scale with a level missing is another scale."""
    where = f"rubric {key[0]!r} version {key[1]!r}, criterion {key[2]!r}"
    ranks = [rank for rank, _ in levels]
    if ranks != list(range(1, len(ranks) + 1)):
        raise SourceFileError(
            f"the ranks are {', '.join(map(str, ranks))}",
            where=where,
            remedy="Declare every level of the scale, and number them from 1 without a gap.",
        )
    reserved = dictionary.table("ratings").field("level").missing
    for _, level in levels:
        if level in reserved:
            raise SourceFileError(
                f"{level!r} is a reason for having no level, and cannot be a level",
                where=where,
                remedy="Give the level another code.",
            )


def from_scales(plan: Plan) -> Batch | None:
    """Return the rubrics that the mapping itself declares, or None."""
    if not plan.scales:
        return None
    rows = [row for scale in plan.scales for row in _scale_rows(scale)]
    names = ("rubric", "version", "criterion", "level", "label", "title", "rank", "weight")
    kinds = dict.fromkeys(names, pa.string()) | {"rank": pa.int64(), "weight": pa.float64()}
    each = np.arange(len(rows), dtype=np.int32)
    columns = {
        name: Column(each, pa.array(column, kinds[name]))
        for name, column in zip(names, zip(*rows, strict=True), strict=True)
    }
    source = Source(file=plan.file, table="rubrics", where=plan.file)
    return Batch(
        table=dictionary.table("rubrics"),
        columns=columns,
        origins=(Origin(source, plan.file, "", {}),),
        origin=np.zeros(len(rows), dtype=np.int32),
        rows=np.arange(1, len(rows) + 1),
        aside=np.zeros(len(rows), dtype=bool),
    )


def _scale_rows(scale: Scale) -> Iterable[tuple[str | int | float | None, ...]]:
    for criterion in scale.criteria:
        title, weight = scale.titles.get(criterion), scale.weights.get(criterion)
        for rank, (level, label) in enumerate(zip(scale.levels, scale.labels, strict=True), start=1):
            yield scale.rubric, scale.version, criterion, level, label, title, rank, weight


def in_order(scales: Declared) -> tuple[str, ...]:
    """Merge all declared scales into one order; raises where two of them contradict each other."""
    after: dict[str, list[str]] = {}
    for levels in scales.values():
        for position, level in enumerate(levels):
            after.setdefault(level, []).extend(levels[position + 1 : position + 2])
    ordered: list[str] = []
    seen: set[str] = set()
    for level in reversed(after):
        _visit(level, after, seen, ordered)
    merged = ordered[::-1]
    rank = {level: position for position, level in enumerate(merged)}
    for (rubric, version, criterion), levels in scales.items():
        if [rank[level] for level in levels] != sorted(rank[level] for level in levels):
            raise SourceFileError(
                f"rubric {rubric!r} version {version!r} orders the levels of {criterion!r} otherwise than "
                "another scale orders the same codes",
                allowed=f"{', '.join(merged)}, lowest first, by the other scale",
                remedy="Give the levels of one of them codes of their own.",
            )
    return tuple(merged)


def _visit(level: str, after: dict[str, list[str]], seen: set[str], ordered: list[str]) -> None:
    """Append a level once all that stand above it are there."""
    if level in seen:
        return
    seen.add(level)
    for higher in after[level]:
        _visit(higher, after, seen, ordered)
    ordered.append(level)


def mapping_fits(source: Source, scales: Declared) -> None:
    """Raise MappingError where a source names a criterion or a level that no rubric declares."""
    rubric, version = source.constants.get("rubric"), source.constants.get("rubric_version")
    own = {
        key: levels
        for key, levels in scales.items()
        if rubric in (None, key[0]) and version in (None, key[1])
    }
    named = f"rubric {rubric!r} version {version!r}"
    if not own:
        known = sorted({f"{key[0]} {key[1]}" for key in scales})
        raise MappingError(f"no rubrics declare {named}", where=source.where, allowed=known)
    levels = sorted({level for scale in own.values() for level in scale})
    for kind, given, allowed in (
        ("criterion", source.criteria, sorted({key[2] for key in own})),
        ("level", source.levels.values(), levels),
    ):
        for name in given:
            if name not in allowed:
                near = nearest(name, allowed)
                raise MappingError(
                    f"{kind} {name!r} is not declared",
                    where=source.where,
                    allowed=allowed,
                    remedy=f"Did you mean {near!r}?" if near else "Declare it in the rubrics.",
                )


def check(ratings: Batch, scales: Declared, problems: Problems, *, field: str = "level") -> None:
    """Set ratings aside whose rubric, version, criterion or level is not declared.

    ``field`` holds the level; a second such field of a row is judged for its level only. Each distinct
    combination is judged once, whatever the number of ratings.
    """
    triple, _ = folded([ratings.columns[name] for name in _KEY])
    level, size = ratings.columns[field].keys()
    labelled = np.array([bool(origin.source.levels) for origin in ratings.origins])[ratings.origin]
    inverse, distinct = pd.factorize((triple * (size + 1) + level + 1) * 2 + labelled)
    first = np.empty(len(distinct), dtype=np.int64)
    first[inverse[::-1]] = np.arange(len(ratings))[::-1]
    parts = [ratings.columns[name].take(first).array().to_pylist() for name in (*_KEY, field)]
    rules = [
        _broken(*values, by_label=by_label, scales=scales) if whole else ""
        for *values, by_label, whole in zip(*parts, labelled[first], triple[first] >= 0, strict=True)
    ]
    for rule, (named, after) in _RULES.items():
        wrong = np.array([broken == rule for broken in rules], dtype=bool)
        at = np.flatnonzero(wrong[inverse])
        if not len(at) or (named != "level" and field != ratings.table.levels[0]):
            continue
        hints: list[str | None] = [None] * len(rules)
        for number, place in enumerate(np.flatnonzero(wrong)):
            rubric, version, criterion, name = (part[place] for part in parts)
            hints[place] = _hint(rule, rubric, version, criterion, name, scales, near=number < _HINTS)
        column = field if named == "level" else named
        value = ratings.columns[column].take(at).array()
        remedy = pa.array(hints, pa.string()).take(pa.array(inverse[at]))
        ratings.report(
            problems,
            at,
            column,
            quoted(value, after),
            rule=rule,
            effect=SET_ASIDE,
            remedy=remedy,
            value=value,
        )


_RULES = {
    "declared_rubric": ("rubric", " is not a declared rubric"),
    "declared_version": ("rubric_version", " is not a declared version of the rubric"),
    "declared_criterion": ("criterion", " is not a criterion of this rubric version"),
    "declared_level": ("level", " is not a level of this criterion"),
    "known_label": ("level", " is neither a label of the mapping nor a declared level"),
}


def _broken(
    rubric: str, version: str, criterion: str, level: str | None, *, by_label: bool, scales: Declared
) -> str:
    """Name the first rule that a combination breaks, or ""."""
    levels = scales.get((rubric, version, criterion))
    if levels is not None:
        fits = level is None or level in levels
        return "" if fits else "known_label" if by_label else "declared_level"
    if all(key[0] != rubric for key in scales):
        return "declared_rubric"
    if all(key[:2] != (rubric, version) for key in scales):
        return "declared_version"
    return "declared_criterion"


def _hint(
    rule: str, rubric: str, version: str, criterion: str, level: str, scales: Declared, *, near: bool
) -> str:
    given, allowed = {
        "declared_rubric": (rubric, {key[0] for key in scales}),
        "declared_version": (version, {key[1] for key in scales if key[0] == rubric}),
        "declared_criterion": (criterion, {key[2] for key in scales if key[:2] == (rubric, version)}),
    }.get(rule, (level, scales.get((rubric, version, criterion), ())))
    listed = allowed if isinstance(allowed, tuple) else sorted(allowed)
    like = nearest(given, listed) if near else ""
    return f"Declared: {', '.join(listed)}." + (f" Did you mean {like!r}?" if like else "")
