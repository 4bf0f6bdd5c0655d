"""Rows of a sheet that are no records: totals, headings said again, footers and notes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from mentorstats.records.propose import words
from mentorstats.records.reading.sheet import Sheet

Cells = npt.NDArray[np.object_]
Mask = npt.NDArray[np.bool_]

_LOOKED = 4  # cells at the left of a row in which the name of a total may stand
_SPARSE = 0.3  # of the cells that a row usually fills
_ALWAYS = 0.98  # share of records that fill a column by which notes are told from them
_FEWEST = 3  # cells that a row usually fills, below which nothing is told from it


@dataclass(frozen=True, slots=True)
class Kept:
    """Which rows are records, the rules that leave out the others, and what no rule could say."""

    cells: Cells
    records: Mask
    rules: tuple[dict[str, Any], ...]
    left: tuple[int, ...]


def kept(sheet: Sheet) -> Kept:
    """Tell records from other rows; ``cells`` has a row for each of either, ``records`` says which."""
    cells, numbers = _cells(sheet)
    if not len(cells):
        return Kept(cells, np.ones(0, dtype=bool), (), ())
    filled = cells != ""
    usual = float(np.median(filled.sum(axis=1)))
    total, rules = _totals(cells, sheet.headings)
    again = _again(cells, sheet.headings)
    rules += _said_again(cells, again, sheet.headings)
    sparse = ~total & ~again & (filled.sum(axis=1) <= max(1, _SPARSE * usual)) & (usual >= _FEWEST)
    records = ~(total | again | sparse)
    left: tuple[int, ...] = ()
    if sparse.any():
        rule = _sparse_rule(filled, sparse, records, sheet.headings)
        rules += [rule] if rule else []
        if not rule:
            left = tuple(int(row) for row in numbers[sparse])
    return Kept(cells, records, tuple(rules), left)


def _cells(sheet: Sheet) -> tuple[Cells, npt.NDArray[np.int64]]:
    width = len(sheet.headings)
    short = [(row, cells) for row, cells in sheet.ragged if len(cells) <= width]
    whole = np.full((len(sheet.rows) + len(short), width), "", dtype=object)
    for place, column in enumerate(sheet.columns):
        whole[: len(sheet.rows), place] = column.array().to_numpy(zero_copy_only=False)
    for place, (_, cells) in enumerate(short, start=len(sheet.rows)):
        whole[place, : len(cells)] = [cell.strip() for cell in cells]
    numbers = np.concatenate([sheet.rows, np.array([row for row, _ in short], dtype=np.int64)])
    order = np.argsort(numbers, kind="stable")
    return whole[order], numbers[order]


def _totals(cells: Cells, headings: tuple[str, ...]) -> tuple[Mask, list[dict[str, Any]]]:
    """Rows that bear the name of a total in one of their first cells; a rule for each such name."""
    names = set(words.vocabulary()["totals"]["words"])
    found, rules = np.zeros(len(cells), dtype=bool), []
    for place in range(min(_LOOKED, cells.shape[1])):
        if not headings[place]:
            continue
        for text in dict.fromkeys(cells[:, place]):
            prefix = _total_name(text, names)
            if not prefix:
                continue
            fits = np.array([words.plain(cell).startswith(words.plain(prefix)) for cell in cells[:, place]])
            named = np.array([bool(_total_name(cell, names)) for cell in cells[:, place]])
            rule = {"column": headings[place], "starts_with": prefix}
            if (fits & ~named).any() or len(prefix) == 1:
                fits = cells[:, place] == text
                rule = {"column": headings[place], "equals": text}
            if fits.sum() > max(3, 0.2 * len(cells)):  # a column of means, not rows of them
                continue
            if (fits & ~found).any():
                rules.append(rule)
            found |= fits
    return found, rules


def _total_name(text: str, names: set[str]) -> str:
    """The part of a cell that names a total: "Grand total (24)" gives "Grand total"."""
    plain = words.bare(text)
    if plain in names:
        return str(text).strip()
    start = plain.split()
    for length in (2, 1):
        if (
            " ".join(start[:length]) in names
            and start[0] not in ("n", "count", "mean")
            and all(
                word.isdigit() or word in ("for", "of", "all", "rows", "records", "site", "n") or length < 2
                for word in start[length:]
            )
        ):
            return " ".join(str(text).split()[:length]).rstrip(":;,-–")
    return ""


def _again(cells: Cells, headings: tuple[str, ...]) -> Mask:
    given = np.array(headings, dtype=object)
    same = np.count_nonzero((cells == given) & (given != ""), axis=1)
    return np.asarray(same >= max(2, 0.6 * np.count_nonzero(given != "")), dtype=bool)


def _said_again(cells: Cells, again: Mask, headings: tuple[str, ...]) -> list[dict[str, Any]]:
    if not again.any():
        return []
    place = next(i for i, heading in enumerate(headings) if heading and (cells[again, i] == heading).all())
    return [{"column": headings[place], "equals": headings[place]}]


def _sparse_rule(
    filled: Mask, sparse: Mask, records: Mask, headings: tuple[str, ...]
) -> dict[str, Any] | None:
    """The column that every record fills and no other row does, or the number of rows at the end."""
    for place, heading in enumerate(headings):
        if not heading or headings.count(heading) > 1 or filled[sparse, place].any():
            continue
        if records.any() and filled[records, place].mean() >= _ALWAYS:
            return {"column": heading, "empty": True}
    at = np.flatnonzero(sparse)
    if at[-1] == len(sparse) - 1 and len(at) == len(sparse) - at[0]:
        return {"last": len(at)}
    return None
