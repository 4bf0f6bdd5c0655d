"""What waits for a fault to be corrected: lessons and ratings that hang on a faulty row."""

import re
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from mentorstats.records.checking.batch import Batch
from mentorstats.records.problems import SET_ASIDE

# Besides a row that is set aside: what lessons need of a placement, and ratings of a lesson, to have a week.
_NEEDED = {"placements": "start", "observations": "date"}
_WAITS = re.compile(r": (?:([\d,]+) lessons? and )?([\d,]+) ratings? waits? for it$")
_PLACE = ["file", "sheet", "row"]


def with_what_waits(problems: pd.DataFrame, batches: Mapping[str, Batch | None]) -> pd.DataFrame:
    """Say at the first fault of a placement or a lesson how many lessons and ratings wait for it.

    A lesson whose placement was set aside stays, without candidate and cohort, and so do the ratings of a
    lesson that was set aside; where the start of a placement or the day of a lesson cannot be read, they
    have no week.
    """
    ratings, lessons = batches.get("ratings"), batches.get("observations")
    if problems.empty or ratings is None:
        return problems
    of_lesson = _counts(ratings, "observation")
    waiting = {"observations": pd.DataFrame({"n_lessons": 0, "n_ratings": of_lesson})}
    if lessons is not None:
        waiting["placements"] = _of_placements(lessons, of_lesson)
    text = problems["problem"].copy()
    for table, counts in waiting.items():
        batch = batches.get(table)
        if batch is not None:
            found = _at_faults(problems, table, batch, counts)
            text.loc[found.index] += found
    return problems.assign(problem=text)


def waiting(problems: pd.DataFrame) -> pd.Series:
    """Return how many ratings wait for each fault, 0 for most."""
    found = problems["problem"].str.extract(_WAITS.pattern)[1]
    return found.str.replace(",", "").fillna("0").astype("int64")


def _counts(batch: Batch, field: str) -> pd.Series:
    """Rows that are not set aside, by the code in a field."""
    column = batch.columns[field].take(~batch.aside)
    code, _ = column.keys()
    values = column.values.dictionary_encode().dictionary.to_pylist()
    counted = np.bincount(code[code >= 0], minlength=len(values))
    return pd.Series(counted, index=pd.Index(values, dtype="str"))


def _of_placements(lessons: Batch, of_lesson: pd.Series) -> pd.DataFrame:
    names = ("placement", "observation")
    told = pd.DataFrame({name: lessons.columns[name].array().to_pandas() for name in names}).dropna()
    told = told.drop_duplicates()
    told["n_ratings"] = told["observation"].map(of_lesson).fillna(0).astype("int64")
    by = told.groupby("placement")["n_ratings"]
    return pd.DataFrame({"n_lessons": by.size(), "n_ratings": by.sum()})


def _at_faults(problems: pd.DataFrame, table: str, batch: Batch, counts: pd.DataFrame) -> pd.Series:
    """Return what is to be added to which problems: to the first of each row on which anything hangs."""
    code, need = batch.columns[batch.table.primary_key[0]], _NEEDED[table]
    told = np.isin(batch.rows, problems["row"].dropna().to_numpy(dtype=np.int64))
    kept = code.take(~batch.aside).array().unique()
    elsewhere = code.spread(pc.is_in(code.values, value_set=kept))  # a copy is set aside, and nothing waits
    faulty = np.flatnonzero(told & ~(batch.aside & elsewhere))
    at = batch.origin[faulty]
    rows = pd.DataFrame(
        {
            "file": pd.Series([one.file for one in batch.origins], dtype="str").take(at).to_numpy(),
            "sheet": pd.Series([one.sheet for one in batch.origins], dtype="str").take(at).to_numpy(),
            "row": pd.array(batch.rows[faulty], dtype="Int64"),
            "code": code.take(faulty).array().to_pandas().to_numpy(),
            "needed": [batch.origins[n].headings.get(need, "") for n in at],
            "unread": batch.columns[need].null()[faulty] if need in batch.columns else False,
        }
    ).drop_duplicates()
    met = problems.reset_index(names="place").merge(rows, on=_PLACE)
    met = met[(met["effect"] == SET_ASIDE) | ((met["column"] == met["needed"]) & met["unread"])]
    met = met.drop_duplicates("place").drop_duplicates("code").join(counts, on="code", how="inner")
    met = met[met["n_ratings"] > 0]
    said = [_words(int(n), int(m)) for n, m in zip(met["n_lessons"], met["n_ratings"], strict=True)]
    return pd.Series(said, index=met["place"], dtype="str")


def _words(lessons: int, ratings: int) -> str:
    wait = "waits" if lessons == 0 and ratings == 1 else "wait"
    rated = f"{ratings:,} rating{'' if ratings == 1 else 's'} {wait} for it"
    return f": {lessons:,} lesson{'' if lessons == 1 else 's'} and {rated}" if lessons else f": {rated}"
