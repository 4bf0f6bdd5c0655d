"""From a sheet in the programme's words to rows of one of our tables; wide forms become long."""

from collections.abc import Collection, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records import cells, skipping
from mentorstats.records.checking import cast
from mentorstats.records.checking.batch import Batch, Origin
from mentorstats.records.identities.people import People
from mentorstats.records.mapping import Source
from mentorstats.records.problems import SET_ASIDE, Problems
from mentorstats.records.reading.column import Column, alike, constant, replaced, stacked
from mentorstats.records.reading.sheet import Sheet

NOT_SCORED = "not_scored"


def rows_of(
    sheet: Sheet,
    source: Source,
    problems: Problems,
    *,
    levels: Collection[str] = (),
    people: People | None = None,
) -> Batch:
    """Return the rows that a sheet holds for the table of a source, cast by the dictionary.

    A wide form gives one row a criterion, all criteria of one row of the form next to each other.
    Every heading that the source names must stand in the sheet. ``levels`` are the declared ones, which no
    label of the mapping replaces unless it is the same. ``people`` replaces people by codes before anything
    is judged, so that no fault and no store names one.
    """
    table = dictionary.table(source.table)
    sheet = skipping.records_of(sheet, source, problems)
    size = len(sheet.rows)
    columns = {}
    for field in table.fields:
        name = field.name
        if name in source.columns:
            found = cells.made(sheet, source.columns[name], source, field=name, people=people)
            words, kept = source.values.get(name, {}), tuple(field.categories)
            columns[name] = replaced(found, words, fold_accents=source.fold_accents, kept=kept)
        elif name in source.constants:
            columns[name] = constant(source.constants[name], size)
        if people is not None and name in columns:
            columns[name] = people.person(source.table, name, columns[name])
    level = columns.pop("level", None) if source.table == "ratings" else None
    batch = Batch(
        table=table,
        columns=columns,
        origins=(Origin(source, sheet.file, sheet.sheet, source.headings),),
        origin=np.zeros(size, dtype=np.int32),
        rows=sheet.rows,
        aside=np.zeros(size, dtype=bool),
    )
    _note_ragged(sheet, problems)
    cast.cast(batch, problems, typed=sheet.typed)
    if source.criteria:
        level = _widened(batch, [cells.made(sheet, recipe, source) for recipe in source.criteria.values()])
    if level is not None:
        _split_level(batch, level, source, problems, levels)
    return batch


def constants_fit(source: Source) -> None:
    """Raise MappingError where a constant of a source is not a value that its field may have."""
    table, faults = dictionary.table(source.table), Problems()
    columns = {name: constant(value, 1) for name, value in source.constants.items()}
    origin = Origin(source, source.file, source.sheet, {})
    one = np.ones(1, dtype=np.int64)
    none = np.zeros(1, dtype=bool)
    cast.cast(Batch(table, columns, (origin,), one.astype(np.int32) - 1, one, none), faults, typed=False)
    for fault in faults.frame().itertuples():
        raise MappingError(
            f"constants.{fault.column}: {fault.problem}", where=source.where, remedy=str(fault.remedy)
        )


def _note_ragged(sheet: Sheet, problems: Problems) -> None:
    if sheet.ragged:
        rows = np.array([row for row, _ in sheet.ragged], dtype=np.int64)
        sizes = pa.array([len(held) for _, held in sheet.ragged])
        count, width = sizes.cast(pa.string()), len(sheet.headings)
        problems.add(
            pc.binary_join_element_wise(
                "the row has",
                count,
                f"cells, and there are {width} headings",
                " ",
            ),
            file=sheet.file,
            sheet=sheet.sheet,
            rows=rows,
            rule="ragged_row",
            effect=SET_ASIDE,
            remedy="Look for a separator that is missing, or one too many within a text without quotes.",
        )


def _widened(batch: Batch, forms: Sequence[Column]) -> Column:
    """Make one row a criterion, in place; returns the levels, row by row of the form."""
    source = batch.origins[0].source
    size, width = len(batch), len(forms)
    codes = np.tile(np.arange(width, dtype=np.int32), size)
    batch.columns = {name: column.repeat(width) for name, column in batch.columns.items()}
    batch.columns["criterion"] = Column(codes, pa.array(list(source.criteria), pa.string()))
    batch.origin = np.repeat(batch.origin, width)
    batch.rows = np.repeat(batch.rows, width)
    batch.aside = np.repeat(batch.aside, width)
    below = stacked(forms)
    return Column(below.codes.reshape(width, size).T.ravel(), below.values)


def _split_level(
    batch: Batch, text: Column, source: Source, problems: Problems, declared: Collection[str]
) -> None:
    """Tell a level from the reason for having none, and translate labels, in place."""
    field = batch.table.field("level")
    reasons = {code: code or NOT_SCORED for code in field.missing} | dict(source.missing)
    reasons = {code: reason for code, reason in reasons.items() if code not in source.levels}
    own = [code for code in declared if code not in reasons and code not in source.levels]
    words = [*reasons, *source.levels, *own]
    fold = bool(source.levels or source.missing)
    place = (
        alike(text.values, words, fold_accents=source.fold_accents)
        if fold
        else pc.index_in(text.values, value_set=pa.array(words, pa.string()))
    )
    why = pa.array([*reasons.values(), *(None for _ in source.levels), *(None for _ in own)], pa.string())
    level = pa.array([*(None for _ in reasons), *source.levels.values(), *own], pa.string())
    known = pc.if_else(place.is_valid(), level.take(place), text.values)
    batch.columns["level"] = Column(text.codes, known)
    reason = Column(text.codes, why.take(place))
    given = batch.columns.get("missing_reason")
    batch.columns["missing_reason"] = reason if given is None else _either(batch, given, reason, problems)


def _either(batch: Batch, given: Column, found: Column, problems: Problems) -> Column:
    """Take a reason given in its own column; with a level beside it, it is a contradiction."""
    level = batch.columns["level"]
    both = np.flatnonzero(~level.null() & ~given.null())
    batch.report(
        problems,
        both,
        "level",
        "there is a level, and a reason for having none",
        rule="level_or_reason",
        effect=SET_ASIDE,
        remedy="Keep the one that is true.",
    )
    chosen = pc.coalesce(given.array(), found.array())
    return Column(np.arange(len(batch), dtype=np.int32), chosen)
