"""What was read, in a few lines: files, rows, people, lessons, span, cycles, versions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from mentorstats.records.mapping import FILE_NAME

_FEW = 8  # names that are listed


def overview(tables: Mapping[str, pd.DataFrame], sources: pd.DataFrame) -> pd.Series:
    """Return what was read, as text by name; what there is none of is left out.

    Parameters
    ----------
    tables
        The tables of the records.
    sources
        ``Records.sources``.
    """
    placements, lessons, ratings = (tables[name] for name in ("placements", "observations", "ratings"))
    days = lessons["date"].dropna()
    exports = sources[sources["file"].ne(FILE_NAME)]  # a mapping may declare the rubrics
    sheets = exports.loc[exports["sheet"].ne(""), ["file", "sheet"]].drop_duplicates()
    of_sheets = f"{len(sheets):,} {'sheet' if len(sheets) == 1 else 'sheets'} of workbooks"
    read, aside = int(sources["rows_read"].sum()), int(sources["rows_set_aside"].sum())
    told = {
        "files": _with(exports["file"].nunique(), of_sheets if len(sheets) else ""),
        "records": _with(read, f"{aside:,} set aside" if aside else ""),
        **{name: _number(len(table)) for name, table in tables.items() if name in _OWN},
        "candidates": _number(placements["candidate"].nunique()),
        "raters": _with(ratings["rater"].nunique(), _roles(ratings)),
        "lessons": _number(len(lessons)),
        "ratings": _number(len(ratings)),
        "lessons from": f"{days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}" if len(days) else "",
        "cycles": _names(placements["cohort"]),
        "rubrics": _names(ratings["rubric"].astype("str") + " " + ratings["rubric_version"].astype("str")),
    }
    return pd.Series({name: text for name, text in told.items() if text and text != "0"}, dtype="str")


_OWN = ("placements", "key_ratings", "teaching_load", "questions", "coteaching", "tutoring", "orientation")


def _roles(ratings: pd.DataFrame) -> str:
    by_role = ratings.groupby("rater_role", observed=True)["rater"].nunique()
    return ", ".join(f"{n:,} as {role}" for role, n in by_role.items())


def _names(values: pd.Series) -> str:
    names: Iterable[str] = sorted(values.dropna().astype("str").unique())
    listed = list(names)
    return ", ".join(listed[:_FEW]) + (f" and {len(listed) - _FEW} more" if len(listed) > _FEW else "")


def _number(n: int) -> str:
    return f"{n:,}"


def _with(n: int, more: str) -> str:
    return f"{n:,} ({more})" if more and n else _number(n)
