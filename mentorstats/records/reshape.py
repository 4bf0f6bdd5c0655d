"""From a sheet in the programme's words to rows of one of our tables; wide forms become long."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.errors import MappingError
from mentorstats.records.checking import cast
from mentorstats.records.checking.batch import Batch, Origin
from mentorstats.records.mapping import Source
from mentorstats.records.problems import SET_ASIDE, Problems
from mentorstats.records.reading.column import Column, constant, replaced, stacked
from mentorstats.records.reading.sheet import Sheet

NOT_SCORED = "not_scored"


def rows_of(sheet: Sheet, source: Source, problems: Problems) -> Batch:
    """Return the rows that a sheet holds for the table of a source, cast by the dictionary.

    A wide form gives one row a criterion, all criteria of one row of the form next to each other.
    Every heading that the source names must stand in the sheet.
    """
    table = dictionary.table(source.table)
    size = len(sheet.rows)
    columns = {}
    for field in table.names:
        if field in source.columns:
            found = sheet.column(source.columns[field])
            columns[field] = replaced(found, source.values.get(field, {}))
        elif field in source.constants:
            columns[field] = constant(source.constants[field], size)
    level = columns.pop("level", None) if source.table == "ratings" else None
    batch = Batch(
        table=table,
        columns=columns,
        origins=(Origin(source, sheet.file, sheet.sheet, source.columns),),
        origin=np.zeros(size, dtype=np.int32),
        rows=sheet.rows,
        aside=np.zeros(size, dtype=bool),
    )
    _note_ragged(sheet, problems)
    cast.cast(batch, problems, typed=sheet.typed)
    if source.criteria:
        level = _widened(batch, [sheet.column(heading) for heading in source.criteria.values()])
    if level is not None:
        _split_level(batch, level, source, problems)
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
        rows, cells = np.array(sheet.ragged, dtype=np.int64).T
        count, width = pa.array(cells).cast(pa.string()), len(sheet.headings)
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


def _split_level(batch: Batch, text: Column, source: Source, problems: Problems) -> None:
    """Tell a level from the reason for having none, and translate labels, in place."""
    field = batch.table.field("level")
    reasons = {code: code or NOT_SCORED for code in field.missing} | dict(source.missing)
    reasons = {code: reason for code, reason in reasons.items() if code not in source.levels}
    place = pc.index_in(text.values, value_set=pa.array(list(reasons), pa.string()))
    none = place.is_valid()
    level = pc.if_else(none, pa.scalar(None, pa.string()), replaced(text, source.levels).values)
    reason = Column(text.codes, pa.array(list(reasons.values()), pa.string()).take(place))
    batch.columns["level"] = Column(text.codes, level)
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
