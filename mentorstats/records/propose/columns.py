"""What a column holds: dates, numbers, yes or no, codes, names or remarks."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.records.propose import days, words

_NEARLY = 0.9  # share of filled cells from which a column counts as of a kind
_NUMBER = re.compile(r"[-+]?\d+(?:([.,])\d+)?")
_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?")
_CODE = re.compile(r"[A-Za-z]{0,6}[-_ /.]?\d[\w\-/.]*|[A-Z]{1,4}\d*[A-Z]?")
_PERSON = re.compile(r"(?:(?:Dr|Mr|Mrs|Ms|Prof)\.?\s+)?[^\W\d_][\w'’.\-]*,?(?:\s+[^\W\d_][\w'’.\-]*){1,3}")
_SURNAME = ("last name", "surname", "family name")
_FIRST_NAME = ("first name", "given name", "forename", "christian name")
_MAIL = re.compile(r"[^\s@]+@[^\s@]+\.\w+")


@dataclass(eq=False)
class Column:
    """One column of a sheet: its distinct texts, their counts, and a code a record (-1 where empty)."""

    place: int
    heading: str
    codes: npt.NDArray[np.int64]
    values: tuple[str, ...]
    counts: npt.NDArray[np.int64]
    typed: bool = False
    parts: tuple[int, ...] = ()
    written: Any = ""

    @property
    def rows(self) -> int:
        """Number of records."""
        return len(self.codes)

    @cached_property
    def n(self) -> int:
        """Number of filled cells."""
        return int(self.counts.sum())

    @property
    def filled(self) -> float:
        """Share of cells that are filled."""
        return self.n / max(self.rows, 1)

    @property
    def distinct(self) -> float:
        """Distinct texts for each filled cell."""
        return len(self.values) / max(self.n, 1)

    def share(self, judged: list[bool]) -> float:
        """Share of filled cells whose text is judged true."""
        return float((np.array(judged, dtype=bool) * self.counts).sum() / self.n) if self.n else 0.0

    @cached_property
    def dates(self) -> days.Days:
        """How its dates are written."""
        return days.of(self.values, self.counts)

    @cached_property
    def is_date(self) -> bool:
        """Whether it holds dates."""
        return self.dates.share >= _NEARLY

    @cached_property
    def number(self) -> float:
        """Share of cells that are numbers, with a point or a comma."""
        return self.share([bool(_NUMBER.fullmatch(value)) for value in self.values])

    @cached_property
    def decimal(self) -> str:
        """The mark before decimals, empty where there are none."""
        marks = {found[1] for value in self.values if (found := _NUMBER.fullmatch(value)) and found[1]}
        return "," if marks == {","} else "." if marks else ""

    @cached_property
    def numbers(self) -> npt.NDArray[np.float64]:
        """The numbers among the distinct texts."""
        found = [value.replace(",", ".") for value in self.values if _NUMBER.fullmatch(value)]
        return np.array(found, dtype=np.float64)

    @cached_property
    def clock(self) -> float:
        """Share of cells that look like h:mm."""
        return self.share([bool(_CLOCK.fullmatch(value)) for value in self.values])

    @cached_property
    def yes_no(self) -> float:
        """Share of cells that say yes or no."""
        return self.share([words.bare(v) in self._yes_no or v.strip() in "✓✔" for v in self.values])

    @property
    def _yes_no(self) -> set[str]:
        known = words.vocabulary()
        return {*known["yes"]["words"], *known["no"]["words"]}

    @cached_property
    def code(self) -> float:
        """Share of cells that look like a code."""
        return self.share([len(v) <= 16 and bool(_CODE.fullmatch(v)) for v in self.values])

    @cached_property
    def person(self) -> float:
        """Share of cells that look like the name of a person."""
        return self.share([len(v) <= 40 and bool(_PERSON.fullmatch(v)) for v in self.values])

    @cached_property
    def remarks(self) -> float:
        """Share of cells of more than six words or very long ones."""
        return self.share([len(v.split()) > 6 or len(v) > 60 for v in self.values])

    @cached_property
    def mail(self) -> float:
        """Share of cells that are an e-mail address."""
        return self.share([bool(_MAIL.fullmatch(v)) for v in self.values])

    def texts(self) -> npt.NDArray[np.object_]:
        """The text of each record."""
        known = np.array([*self.values, ""], dtype=object)
        return known[self.codes]


def columns(headings: tuple[str, ...], cells: npt.NDArray[np.object_], *, typed: bool) -> list[Column]:
    """Return the columns of records; ``cells`` has a row a record and a column a heading."""
    found = []
    for place, heading in enumerate(headings):
        found.append(Column(place, heading, *_coded(cells[:, place]), typed, written=heading))
    return found


def _coded(
    texts: npt.NDArray[np.object_],
) -> tuple[npt.NDArray[np.int64], tuple[str, ...], npt.NDArray[np.int64]]:
    codes, values = pd.factorize(pd.Series(texts).replace("", None))
    counts = np.bincount(codes[codes >= 0], minlength=len(values)).astype(np.int64)
    return codes.astype(np.int64), tuple(str(value) for value in values), counts


def whole_names(found: list[Column], cells: npt.NDArray[np.object_]) -> list[Column]:
    """Columns that are not there but can be made: surname and first name as one, in either way of writing."""
    made = []
    named: dict[str, dict[str, Column]] = {}
    for column in found:
        heading = words.bare(" ".join(words.tokens(column.heading)))
        for part, endings in (("last", _SURNAME), ("first", _FIRST_NAME)):
            ending = next((e for e in endings if heading.endswith(e) or heading.startswith(e)), None)
            if ending is not None and column.n:
                named.setdefault(heading.replace(ending, "").strip(), {}).setdefault(part, column)
    for whose, parts in named.items():
        if len(parts) < 2:
            continue
        last, first = parts["last"], parts["first"]
        for order, join in (((last, first), ", "), ((first, last), " ")):
            texts = np.array(
                [join.join(filter(None, row)) for row in cells[:, [c.place for c in order]]], dtype=object
            )
            written = {"columns": [c.heading for c in order], "join": join}
            places = tuple(c.place for c in order)
            heading = f"{whose or 'candidate'} name"
            made.append(Column(last.place, heading, *_coded(texts), parts=places, written=written))
    return made


def determines(keys: list[Column], other: Column) -> bool:
    """Whether records that are alike in all key columns are alike in the other one, empty cells aside."""
    frame = pd.DataFrame({str(i): column.codes for i, column in enumerate(keys)})
    frame["other"] = other.codes
    frame = frame[(frame >= 0).all(axis=1)]
    if frame.empty:
        return True
    by = [name for name in frame.columns if name != "other"]
    return int(frame.groupby(by)["other"].nunique().max()) <= 1


def conflicts(keys: list[Column], other: Column) -> float:
    """Share of keys under which the other column holds more than one text, an empty cell counting as one."""
    frame = pd.DataFrame({str(i): column.codes for i, column in enumerate(keys)})
    by = list(frame.columns)
    frame["other"] = other.codes
    frame = frame[(frame[by] >= 0).all(axis=1)]
    return float((frame.groupby(by)["other"].nunique() > 1).mean()) if len(frame) else 0.0


def unique(keys: list[Column]) -> float:
    """Distinct combinations for each record that has all parts."""
    frame = pd.DataFrame({str(i): column.codes for i, column in enumerate(keys)})
    frame = frame[(frame >= 0).all(axis=1)]
    return len(frame.drop_duplicates()) / len(frame) if len(frame) else 0.0


def combined(keys: list[Column]) -> set[tuple[str, ...]]:
    """The combinations of texts that stand in these columns, days written alike."""
    texts = [column.dates.iso(column.texts()) if column.is_date else column.texts() for column in keys]
    return {cells for cells in zip(*texts, strict=True) if all(cells)}
