"""What rows of different tables, or of one table together, cannot both be: noted, never decided."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.records.checking.batch import Batch, Positions
from mentorstats.records.problems import NOTICE, Problems, quoted
from mentorstats.records.reading.column import Column, Mask

Batches = Mapping[str, Batch | None]


def check(name: str, batches: Batches, problems: Problems) -> None:
    """Note what is odd between the rows of a table and those of the tables that were checked before."""
    batch = batches[name]
    if batch is None:
        return
    if name == "placements":
        _at_once(batch, problems)
    if name == "tutoring":
        _one_score_only(batch, problems)
    if name == "ratings":
        _of_oneself(batch, batches, problems)
        _after_expiry(batch, batches, problems)


def _at_once(placements: Batch, problems: Problems) -> None:
    """Note placements that begin before another one of the same candidate has ended."""
    if not {"start", "end"} <= set(placements.columns):
        return
    at = np.flatnonzero(~placements.aside)
    told = pd.DataFrame(
        {
            "candidate": placements.columns["candidate"].keys()[0][at],
            "start": _days(placements, "start")[at],
            "end": _days(placements, "end")[at],
            "at": at,
        }
    )
    several = told["candidate"].duplicated(keep=False) & (told["candidate"] >= 0) & told["start"].notna()
    told = told[several].sort_values(["candidate", "start"])
    told["latest"] = told.groupby("candidate")["end"].cummax()
    told["latest"] = told.groupby("candidate")["latest"].ffill()
    until = told.groupby("candidate")["latest"].shift()
    wrong = told.loc[(told["start"] <= until).fillna(False), "at"].to_numpy()
    _note(
        placements,
        np.sort(wrong),
        "start",
        "is before the candidate's other placement ends",
        "two_placements_at_once",
        "Correct the dates, or the candidate's code.",
        problems,
    )


def _one_score_only(tutoring: Batch, problems: Problems) -> None:
    """Note pupils with a score before the sessions and none after, and the reverse."""
    if not {"before", "after"} <= set(tutoring.columns):
        return
    none = {name: tutoring.columns[name].null() for name in ("before", "after")}
    for given, lacking in (("before", "after"), ("after", "before")):
        at = np.flatnonzero(none[lacking] & ~none[given] & ~tutoring.aside)
        _note(
            tutoring,
            at,
            given,
            f"is a score {given} the sessions without one {lacking}",
            "one_score_only",
            "Fill in the other score; without it the pupil counts in no gain.",
            problems,
            by_value=False,
        )


def _of_oneself(ratings: Batch, batches: Batches, problems: Problems) -> None:
    """Note ratings whose rater is the candidate who was rated."""
    lessons, placements = batches["observations"], batches["placements"]
    if lessons is None or placements is None:
        return
    people = placements.columns["candidate"]
    raters = ratings.columns["rater"]
    if not pc.any(pc.is_in(raters.values, value_set=people.values)).as_py():
        return
    place = _looked_up(lessons.columns["placement"], placements, "placement")
    candidate = _taken(people, place)
    lesson = _looked_up(ratings.columns["observation"], lessons, "observation")
    rated = candidate.take(pa.array(lesson, mask=lesson < 0))
    at = np.flatnonzero(_true(pc.equal(rated, raters.array())) & ~ratings.aside)
    _note(
        ratings, at, "rater", "is the candidate who was rated", "rates_oneself",
        "Correct the code; a self-rating does not belong here.", problems,
    )  # fmt: skip


def _after_expiry(ratings: Batch, batches: Batches, problems: Problems) -> None:
    """Note raters who rated a lesson after their certificate had expired."""
    lessons, register = batches["observations"], batches["raters"]
    if lessons is None or register is None or not {"expires_on"} <= set(register.columns):
        return
    if "date" not in lessons.columns or register.columns["expires_on"].null().all():
        return
    days, expiry = _days(lessons, "date"), _days(register, "expires_on")
    if "certified_on" in register.columns:  # an expiry before the certificate is a fault of its own
        expiry = np.where(expiry < _days(register, "certified_on"), np.datetime64("NaT"), expiry)
    day = _at(days, _looked_up(ratings.columns["observation"], lessons, "observation"))
    last = _at(expiry, _looked_up(ratings.columns["rater"], register, "rater"))
    at = np.flatnonzero((day > last) & ~ratings.aside)
    _note(
        ratings, at, "rater", "rated after the certificate had expired", "expired_certificate",
        "Correct the date of expiry, or certify the rater again.", problems,
    )  # fmt: skip


def _note(
    batch: Batch,
    at: Positions,
    field: str,
    after: str,
    rule: str,
    remedy: str,
    problems: Problems,
    *,
    by_value: bool = True,
) -> None:
    """Note a value, or the fault whatever the value, once a file with the number of rows."""
    at, more = batch.first_of_each(at, field if by_value else "")
    value = batch.columns[field].take(at).array().cast(pa.string())
    text = pc.binary_join_element_wise(quoted(value, f" {after}"), more, "")
    batch.report(problems, at, field, text, rule=rule, effect=NOTICE, remedy=remedy, value=value)


def _looked_up(code: Column, parent: Batch, key: str) -> npt.NDArray[np.int64]:
    """Row in the parent of each code, -1 where it has none that stands."""
    column = parent.columns[key].take(~parent.aside)
    rows = np.flatnonzero(~parent.aside)
    found = pc.index_in(code.values, value_set=column.array())
    place = found.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
    where = np.append(rows, -1)[place]
    return np.asarray(where[code.codes])


def _days(batch: Batch, field: str) -> npt.NDArray[np.datetime64]:
    """The days of a field, one a row."""
    column = batch.columns[field]
    values = column.values.cast(pa.timestamp("s")).to_numpy(zero_copy_only=False)
    return np.asarray(values, dtype="datetime64[s]")[column.codes]


def _at(days: npt.NDArray[np.datetime64], rows: npt.NDArray[np.int64]) -> npt.NDArray[np.datetime64]:
    return np.append(days, np.datetime64("NaT"))[rows]


def _taken(column: Column, rows: npt.NDArray[np.int64]) -> pa.Array:
    return column.array().take(pa.array(rows, mask=rows < 0))


def _true(judged: pa.Array) -> Mask:
    return np.asarray(judged.fill_null(False).to_numpy(zero_copy_only=False), dtype=bool)
