"""Rows that the mapping says are no records: left out, counted and told."""

from dataclasses import replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.records.mapping import FILE_NAME, Skip, Source
from mentorstats.records.problems import NOTICE, Problems
from mentorstats.records.reading.column import Column, Mask, folded_texts
from mentorstats.records.reading.sheet import Sheet

Rows: TypeAlias = "npt.NDArray[np.int64]"

_SHOWN = 5  # rows that a notice names


def records_of(sheet: Sheet, source: Source, problems: Problems) -> Sheet:
    """Return the sheet without the rows that the rules of a source leave out; each rule gives one notice."""
    if not source.skip and not source.beside:
        return sheet
    ragged = np.array([row for row, _ in sheet.ragged], dtype=np.int64)
    every = np.sort(np.concatenate([sheet.rows, ragged]))
    out = np.zeros(len(sheet.rows), dtype=bool)
    out_ragged = np.zeros(len(ragged), dtype=bool)
    for rule in source.skip:
        fits, bent = _fits(rule, sheet, source, every, ragged)
        rows = np.sort(np.concatenate([sheet.rows[fits], ragged[bent]]))
        _tell(rule, rows, sheet, problems)
        out |= fits
        out_ragged |= bent
    if source.beside:
        none = _without_levels(sheet, source) & ~out
        _tell_beside(int(none.sum()), sheet, source, problems)
        out |= none
    return replace(
        sheet,
        columns=tuple(column.take(~out) for column in sheet.columns),
        rows=sheet.rows[~out],
        ragged=tuple(one for one, gone in zip(sheet.ragged, out_ragged, strict=True) if not gone),
    )


def _fits(rule: Skip, sheet: Sheet, source: Source, every: Rows, ragged: Rows) -> tuple[Mask, Mask]:
    """Which rows a rule leaves out, and which of the rows that do not fit the headings."""
    if rule.what in ("first", "last"):
        chosen = every[: rule.number] if rule.what == "first" else every[-rule.number :]
        return np.isin(sheet.rows, chosen), np.isin(ragged, chosen)
    place = sheet.need(rule.column, fold_accents=source.fold_accents)
    texts = [cells[place].strip() if place < len(cells) else "" for _, cells in sheet.ragged]
    whole, bent = sheet.columns[place], Column(np.arange(len(texts)), pa.array(texts, pa.string()))
    judged = [column.spread(_judged(rule, column.values, source)) for column in (whole, bent)]
    return judged[0], judged[1]


def _judged(rule: Skip, texts: pa.Array, source: Source) -> pa.Array:
    if rule.what == "empty":
        return pc.equal(texts, "")
    like = folded_texts(texts, accents=source.fold_accents)
    sought = folded_texts(pa.array([rule.text], pa.string()), accents=source.fold_accents)[0].as_py()
    if rule.what == "equals":
        return pc.equal(like, sought)
    return (pc.starts_with if rule.what == "starts_with" else pc.match_substring)(like, sought)


def _without_levels(sheet: Sheet, source: Source) -> Mask:
    recipes = [*source.criteria.values(), *(r for name, r in source.columns.items() if name == "level")]
    none = np.full(len(sheet.rows), bool(recipes))
    for recipe in recipes:
        for heading in recipe.headings:
            column = sheet.column(heading, fold_accents=source.fold_accents)
            none &= column.spread(pc.equal(column.values, ""))
    return none


def _tell(rule: Skip, rows: Rows, sheet: Sheet, problems: Problems) -> None:
    """Say how many rows a rule left out, also where it left out none, for it is then of no use."""
    number = f"{len(rows)} row was" if len(rows) == 1 else f"{len(rows)} rows were"
    shown = ", ".join(map(str, rows[:_SHOWN])) + (" …" if len(rows) > _SHOWN else "")
    which = f" ({'row' if len(rows) == 1 else 'rows'} {shown})" if len(rows) else ""
    problems.add(
        f"{number} skipped{which}, because the mapping says: skip {rule.rule}",
        file=sheet.file,
        sheet=sheet.sheet,
        column=rule.column,
        value=rule.text,
        rule="skipped_rows",
        effect=NOTICE,
        remedy=f"Nothing need be done if that is right; else correct skip in {FILE_NAME}.",
    )


def _tell_beside(number: int, sheet: Sheet, source: Source, problems: Problems) -> None:
    if number:
        problems.add(
            f"{number} {'row has' if number == 1 else 'rows have'} no level from this rater and "
            f"{'is' if number == 1 else 'are'} no form of theirs ({source.where})",
            file=sheet.file,
            sheet=sheet.sheet,
            rule="skipped_rows",
            effect=NOTICE,
            remedy="Nothing need be done if the other rater came alone.",
        )
