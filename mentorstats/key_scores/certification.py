"""Which raters score recordings as the key does, by which rules, and how long does it hold?

How a set of rules treats raters of known accuracy, and blind ones, is in `operating_characteristic`.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients.members import Asked
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.coding import Columns
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, DuplicateRatingError, need_columns
from mentorstats.estimate import Estimate, to_frame
from mentorstats.key_scores import accuracy, verdicts
from mentorstats.key_scores.accuracy import Scored
from mentorstats.key_scores.verdicts import Rules
from mentorstats.policy import Rule
from mentorstats.printed import Shown
from mentorstats.tables import days

Codes: TypeAlias = npt.NDArray[np.intp]

REPEATS = ("refuse", "leave_out")

_WHERE = "key ratings"
_SHOWN = 5  # recordings that a message names


@dataclass(frozen=True, eq=False, repr=False)
class Certification(Shown):
    """What certification found.

    Attributes
    ----------
    verdicts
        Indexed by rater: verdict (pass, fail, too_few), reason, n_recordings, n_ratings, n_left_out
        (rows without a level), n_refused (rows of recordings that were scored before).
    measures
        Indexed by rater and measure, with the columns of `coefficients`: exact, adjacent,
        weighted_kappa (quadratic weights), largest_discrepancy, criterion_floor (least exact agreement
        of a criterion, named in the note), bias, mean_absolute_error, mean_squared_error, elevation,
        differential_elevation, stereotype_accuracy, differential_accuracy. ``n_units`` counts ratings,
        ``n_clusters`` recordings; ``p_expected`` is what a blind rater with the same use of the levels
        would reach.
    by_criterion
        Indexed by rater and criterion: exact agreement, the same columns.
    rules
        The rules that were applied.
    """

    about_people = True

    verdicts: pd.DataFrame
    measures: pd.DataFrame
    by_criterion: pd.DataFrame
    rules: tuple[Rule, ...]


@entry(named=True)
def certify(
    key_ratings: pd.DataFrame,
    *,
    rater: str = "rater",
    recording: str = "recording",
    criterion: Columns = "criterion",
    level: str = "level",
    key_level: str = "key_level",
    levels: Sequence[object] | None = None,
    date: str | None = None,
    repeats: str = "refuse",
    rules: Rules = None,
    confidence: float = 0.95,
) -> Certification:
    """Hold each rater's levels of key-scored recordings to the key.

    Parameters
    ----------
    key_ratings
        One row a rater, recording and criterion.
    rater, recording, criterion, level, key_level
        Columns; several columns for ``criterion`` where versions of a rubric have criteria of one name.
        A row without a level is left out and counted.
    levels
        Every declared level, lowest first; required unless both level columns are ordered categoricals.
        Distances count levels.
    date
        Column of the day of scoring. A recording that the rater had scored on an earlier day is refused.
    repeats
        ``refuse`` raises where a recording comes again; ``leave_out`` keeps the first scoring, and counts
        the rows of later ones as ``n_refused``.
    rules
        Rows of a policy (`certification_rules`), or a policy, of which the usual rows are taken; the
        shipped policy unless given.
    confidence
        Of the two-sided intervals by which verdicts are given.

    Returns
    -------
    Certification

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        A column is missing; levels are undeclared; rules are none; a recording was scored before; a
        criterion of a recording comes twice on one day.
    """
    columns = [rater, recording, *coding.keys(criterion, "criterion"), level, key_level]
    need_columns(key_ratings.columns, [*columns, *([] if date is None else [date])], where=_WHERE)
    if repeats not in REPEATS:
        raise ArgumentError(f"unknown repeats {repeats!r}", allowed=REPEATS)
    held = verdicts.resolved(rules)
    declared, given = coding.code_levels(key_ratings[level], levels)
    own, key = coding.code_levels(key_ratings[key_level], levels)
    if declared != own:
        raise ArgumentError("level and key level have different scales", where=_WHERE, allowed=declared)
    asked = Asked(declared, "quadratic", "auto", 2000, confidence, 0)
    again = _scored_before(key_ratings, rater, recording, date)
    if again.any() and repeats == "refuse":
        raise ArgumentError(
            f"a rater had scored a recording before: {_named(key_ratings, again, [rater, recording])}",
            where=_WHERE,
            remedy="Certify on recordings that are new to the rater, or leave later scorings out.",
        )
    _refuse_twice(key_ratings[~again], columns[:-2])
    coded = (given, key, coding.ordered_codes(key_ratings, [recording]))
    parts = _by_rater(key_ratings, rater, coding.names(criterion), coded, again)
    rated = [part for part in parts if part.scored.n_recordings]
    each = [accuracy.by_criterion(part.scored, asked) for part in rated]
    measured = [_measures(part, asked, theirs) for part, theirs in zip(rated, each, strict=True)]
    return Certification(
        _verdicts(parts, held, asked, rater),
        _framed(rated, [[one.name for one in rows] for rows in measured], measured, [rater, "measure"]),
        _framed(rated, [part.criteria for part in rated], each, [rater, "criterion"]),
        tuple(held.values()),
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """One rater: what enters, the names of its criteria, and how many rows do not enter."""

    rater: object
    scored: Scored
    criteria: list[str]
    n_left_out: int
    n_refused: int


def _by_rater(
    frame: pd.DataFrame,
    rater: str,
    criterion: list[str],
    coded: tuple[Codes, Codes, Codes],
    again: npt.NDArray[np.bool_],
) -> list[_Part]:
    """Part the rows, coded as level, key level and recording, by rater."""
    codes = coding.group_codes(frame, [rater])
    of_criterion, names = _criteria(frame, criterion)
    known = (np.stack([*coded, of_criterion]) >= 0).all(axis=0)
    in_order = np.lexsort((of_criterion, coded[2]))  # sums and ties must not depend on the order of rows
    parts = []
    for number, name in _members(frame[rater], codes):
        rows = (codes == number) & ~again
        enter = in_order[(rows & known)[in_order]]
        numbers = [np.unique(part[enter], return_inverse=True)[1] for part in (coded[2], of_criterion)]
        scored = Scored(coded[0][enter], coded[1][enter], *(part.astype(np.intp) for part in numbers))
        theirs = [names[place] for place in np.unique(of_criterion[enter])]
        refused = int(((codes == number) & again).sum())
        parts.append(_Part(name, scored, theirs, int((rows & ~known).sum()), refused))
    return parts


def _verdicts(parts: list[_Part], held: dict[str, Rule], asked: Asked, rater: str) -> pd.DataFrame:
    judged = [verdicts.judge(part.scored, held, asked) for part in parts]
    return pd.DataFrame(
        {
            "verdict": pd.array([str(one.verdict) for one in judged], dtype="str"),
            "reason": pd.array([one.reason for one in judged], dtype="str"),
            "n_recordings": [part.scored.n_recordings for part in parts],
            "n_ratings": [len(part.scored.level) for part in parts],
            "n_left_out": [part.n_left_out for part in parts],
            "n_refused": [part.n_refused for part in parts],
        },
        index=pd.Index([part.rater for part in parts], name=rater),
    )


def _measures(part: _Part, asked: Asked, each: list[Estimate]) -> list[Estimate]:
    scored = part.scored
    return [
        *accuracy.of_family(scored, asked).values(),
        accuracy.largest_discrepancy(scored),
        accuracy.lowest(each, part.criteria),
        *accuracy.distances(scored, asked.confidence),
        *accuracy.components(scored),
    ]


def _framed(
    parts: list[_Part], labels: list[list[str]], rows: list[list[Estimate]], names: list[str]
) -> pd.DataFrame:
    frame = to_frame([one for of_part in rows for one in of_part])
    keys = [(part.rater, label) for part, own in zip(parts, labels, strict=True) for label in own]
    frame.index = pd.MultiIndex.from_arrays([[key[place] for key in keys] for place in (0, 1)], names=names)
    return frame


def _members(column: pd.Series, codes: Codes) -> list[tuple[int, object]]:
    """Code and name of each rater, in the order of the names as texts."""
    first = pd.Series(np.arange(len(codes)))[codes >= 0].groupby(codes[codes >= 0]).first()
    named = [(int(str(code)), column.iloc[place]) for code, place in first.items()]
    return sorted(named, key=lambda member: str(member[1]))


def _criteria(frame: pd.DataFrame, columns: list[str]) -> tuple[Codes, list[str]]:
    """Code of each row's criterion, and the name of each code."""
    codes = coding.ordered_codes(frame, columns)
    names = [""] * (int(codes.max(initial=-1)) + 1)
    for code, place in zip(*np.unique(codes, return_index=True), strict=True):
        if code >= 0:
            names[code] = ", ".join(str(frame[column].iloc[place]) for column in columns)
    return codes, names


def _scored_before(
    frame: pd.DataFrame, rater: str, recording: str, date: str | None
) -> npt.NDArray[np.bool_]:
    """Which rows belong to a recording that the rater had scored on an earlier day."""
    if date is None:
        return np.zeros(len(frame), dtype=bool)
    of_rows = days(frame[date], _WHERE)
    if of_rows.isna().any():
        raise ArgumentError(
            f"no day in {int(of_rows.isna().sum())} rows, first at {frame.index[of_rows.isna()][0]}",
            where=f"{_WHERE}, column {date!r}",
            remedy="Every scoring needs its day, or what was seen before cannot be told.",
        )
    first = of_rows.groupby([frame[rater], frame[recording]], observed=True, dropna=False).transform("min")
    return np.asarray(of_rows > first, dtype=bool)


def _refuse_twice(frame: pd.DataFrame, keys: list[str]) -> None:
    twice = np.asarray(frame.duplicated(keys, keep=False))
    if twice.any():
        raise DuplicateRatingError(
            f"a criterion of a recording comes more than once: {_named(frame, twice, keys)}",
            where=_WHERE,
            remedy="Keep one row a rater, recording and criterion, or name the column of the day in date.",
        )


def _named(frame: pd.DataFrame, chosen: npt.NDArray[np.bool_], columns: list[str]) -> str:
    shown = frame.loc[chosen, columns].drop_duplicates()
    texts = [", ".join(map(str, row)) for row in shown.head(_SHOWN).itertuples(index=False)]
    return "; ".join(texts) + (" …" if len(shown) > _SHOWN else "")


@entry(named=True)
def certificates(
    register: pd.DataFrame,
    *,
    on: datetime.date,
    raters: Sequence[object] | None = None,
    rater: str = "rater",
    certified_on: str = "certified_on",
    expires_on: str = "expires_on",
) -> pd.DataFrame:
    """Say how each rater's certificate stands on a day.

    Parameters
    ----------
    register
        One row a rater (the table ``raters``).
    on
        The day.
    raters
        Who is asked about, also when the register does not know them; all of it unless given.
    rater, certified_on, expires_on
        Columns. The certificate holds on its last day; one without a last day does not expire.

    Returns
    -------
    DataFrame
        Indexed by rater: certified_on, expires_on, standing (valid, expired, not_yet, never), days_left.
    """
    need_columns(register.columns, [rater, certified_on, expires_on], where="register of raters")
    if register[rater].duplicated().any():
        twice = register.loc[register[rater].duplicated(), rater].iloc[0]
        raise ArgumentError(
            f"{twice!r} stands in it twice", where="register of raters", remedy="Keep one row a rater."
        )
    day = pd.Timestamp(on)
    known = register.set_index(rater)[[certified_on, expires_on]]
    known = known.rename(columns={certified_on: "certified_on", expires_on: "expires_on"})
    for name in known.columns:
        known[name] = days(known[name], "register of raters")
    if raters is not None:
        known = known.reindex(pd.Index(list(dict.fromkeys(raters)), name=rater))
    standing = np.select(
        [known["certified_on"].isna(), known["certified_on"] > day, known["expires_on"] < day],
        ["never", "not_yet", "expired"],
        "valid",
    )
    left = (known["expires_on"] - day).dt.days.astype("Int64")
    known["standing"] = standing
    known["days_left"] = left.where(known["certified_on"].notna())
    return known
