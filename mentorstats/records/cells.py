"""From the cells of a sheet to the text of a field, as its recipe says."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.errors import MappingError
from mentorstats.records.checking import cast
from mentorstats.records.identities.people import People
from mentorstats.records.mapping import Recipe, Source
from mentorstats.records.reading.column import Column, folded
from mentorstats.records.reading.sheet import Sheet


def made(
    sheet: Sheet, recipe: Recipe, source: Source, *, field: str = "", people: People | None = None
) -> Column:
    """Return the texts of one field; every heading of the recipe must stand in the sheet.

    ``people`` replaces those who are a part of the field, before its parts are joined.
    """
    parts = [sheet.column(heading, fold_accents=source.fold_accents) for heading in recipe.headings]
    if len(parts) == 1 or not recipe.whole:
        text = _part(parts[0], recipe) if len(parts) == 1 else _joined(parts, recipe, sheet, source)
        return text if people is None else people.part(field, 1, 0, text)
    if people is not None:
        parts = [people.part(field, len(parts), number, part) for number, part in enumerate(parts)]
    parts = [Column(part.codes, cast.days_as_iso(part.values, source, sheet.typed)) for part in parts]
    return _joined(parts, recipe, sheet, source)


def _part(column: Column, recipe: Recipe) -> Column:
    """Take what stands before or after a mark; a cell without the mark stays whole."""
    if not recipe.take:
        return column
    pieces = pc.split_pattern(column.values, recipe.at, max_splits=1)
    side = 0 if recipe.take == "before" else -1
    ends = np.asarray(pieces.offsets)[1:] - 1
    starts = np.asarray(pieces.offsets)[:-1]
    chosen = pieces.values.take(pa.array(starts if side == 0 else ends))
    return Column(column.codes, pc.utf8_trim_whitespace(chosen))


def _joined(parts: list[Column], recipe: Recipe, sheet: Sheet, source: Source) -> Column:
    """Join the parts of each row; each distinct combination once.

    Raises MappingError where two combinations give one key, for nothing would tell them apart.
    """
    key, _ = folded(parts)
    codes, distinct = pd.factorize(key)
    first = np.empty(len(distinct), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes))[::-1]
    texts = [part.take(first).array() for part in parts]
    blank = [pc.equal(text, "") for text in texts]
    if recipe.whole:
        lacking = np.any(
            [np.asarray(one.to_numpy(zero_copy_only=False), dtype=bool) for one in blank], axis=0
        )
        whole = pc.if_else(pa.array(lacking), "", pc.binary_join_element_wise(*texts, recipe.join))
        _told_apart(whole, lacking, recipe, sheet, source)
        return Column(codes, whole)
    given = [
        pc.if_else(none, pa.scalar(None, pa.string()), text) for none, text in zip(blank, texts, strict=True)
    ]
    return Column(codes, pc.binary_join_element_wise(*given, recipe.join, null_handling="skip"))


def _told_apart(keys: pa.Array, lacking: np.ndarray, recipe: Recipe, sheet: Sheet, source: Source) -> None:
    counted = pc.value_counts(keys.filter(pa.array(~lacking)))
    twice = counted.field("values").filter(pc.greater(counted.field("counts"), 1))
    if len(twice):
        raise MappingError(
            f"{recipe.named}: different cells give the same key {twice[0].as_py()!r}",
            where=f"{source.where}, {sheet.where}",
            remedy=f"Take {recipe.join!r} out of the cells.",
        )
