"""Keys: what stands twice, and what points to nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from mentorstats.records.check import Checked, Codes, Mask
from mentorstats.records.problems import NOTICE, SET_ASIDE, Fault


def combined(state: Checked, names: Sequence[str]) -> Codes:
    """One code a distinct combination of fields, an empty field counting as a value of its own."""
    together = state.codes[names[0]] + 1
    for name in names[1:]:
        size = len(state.texts[name]) + 1
        together, _ = pd.factorize(together * np.int64(size) + state.codes[name] + 1)
    return np.asarray(together, dtype=np.int64)


def refuse_twice(state: Checked) -> None:
    """Set aside what stands twice under one key: the copies of a record, or all that contradict."""
    key_fields = state.table.primary_key
    keys, _ = pd.factorize(combined(state, key_fields))
    complete = np.all([state.has(name) for name in key_fields], axis=0) & ~state.aside
    times = np.bincount(keys[complete], minlength=int(keys.max(initial=0)) + 1)
    again = complete & (times[keys] > 1)
    if not again.any():
        return
    rest = [name for name in state.table.names if name not in key_fields]
    content = combined(state, rest) if rest else np.zeros(len(keys), dtype=np.int64)
    places = np.flatnonzero(again)
    low, high = np.full(len(times), np.iinfo(np.int64).max), np.full(len(times), -1)
    np.minimum.at(low, keys[places], content[places])
    np.maximum.at(high, keys[places], content[places])
    contradict = again & (low[keys] != high[keys])
    first = np.zeros(len(keys), dtype=bool)
    first[places[np.unique(keys[places], return_index=True)[1]]] = True
    named = ", ".join(key_fields)
    column = key_fields[0]
    state.report(
        Fault("contradicting records", f"one record for each {named}", "Keep the right one in the export."),
        contradict,
        column,
    )
    state.report(
        Fault("record entered twice", f"one record for each {named}", "Nothing; the first one is kept."),
        again & ~contradict & ~first,
        column,
    )


def notice_order(state: Checked) -> None:
    """Note dates of one record that stand in the wrong order."""
    for first, last in state.table.date_order:
        early = _days(state, last) < _days(state, first)
        rule = f"{last} is not before {first}"
        state.report(
            Fault("dates out of order", rule, "Check both dates.", NOTICE), early & ~state.aside, last
        )


def _days(state: Checked, name: str) -> npt.NDArray[np.datetime64]:
    """Dates of a field, not-a-time where there is none (n,)."""
    codes = state.codes[name]
    distinct = np.append(np.asarray(state.typed[name], dtype="datetime64[us]"), np.datetime64("NaT"))
    return distinct[codes]


def refuse_dangling(state: Checked, others: dict[str, Checked]) -> None:
    """Report rows that point to a record which is not there, or was itself set aside."""
    for key in state.table.foreign_keys:
        target = others.get(key.table)
        if target is None or "level" in key.fields:
            continue  # levels have words of their own in `refuse_undeclared_levels`
        filled = np.all([state.has(name) for name in key.fields], axis=0)
        everything = np.ones(len(target.aside), dtype=bool)
        read = _present(state, key.fields, target, key.references, everything)
        kept = _present(state, key.fields, target, key.references, ~target.aside)
        column, named = key.fields[-1], " with ".join(key.fields)
        unknown = Fault(
            f"unknown {column}",
            f"{named} stands in the table {key.table}",
            f"Correct the code, or add it to {key.table}.",
            key.effect,
        )
        gone = Fault(
            f"{column} set aside",
            f"the record of {key.table} it points to was set aside",
            f"Mend that record of {key.table}.",
            key.effect,
        )
        for fault, rows in ((unknown, filled & ~read), (gone, filled & read & ~kept)):
            state.report(
                fault, rows if key.effect == SET_ASIDE else _first_of_each(state, column, rows), column
            )


def _first_of_each(state: Checked, name: str, rows: Mask) -> Mask:
    """Of the marked rows, the first with each value: a notice is said once."""
    places = np.flatnonzero(rows)
    first = np.zeros(len(rows), dtype=bool)
    first[places[np.unique(state.codes[name][places], return_index=True)[1]]] = True
    return first


def _present(
    state: Checked, fields: Sequence[str], target: Checked, to: Sequence[str], counted: Mask
) -> Mask:
    """Rows whose key is among the counted rows of the target (n,)."""
    mine, theirs = np.zeros(len(state.aside), dtype=np.int64), np.zeros(len(target.aside), dtype=np.int64)
    for name, other in zip(fields, to, strict=True):
        labels = state.texts[name].to_pylist()
        place = {text: number for number, text in enumerate(labels)}
        into = np.array(
            [place.get(text, -1) for text in target.texts[other].to_pylist()] or [-1], dtype=np.int64
        )
        code = np.where(target.codes[other] >= 0, into[np.maximum(target.codes[other], 0)], -1)
        size = len(labels) + 1
        mine = mine * size + state.codes[name]
        theirs = np.where((theirs < 0) | (code < 0), -1, theirs * size + code)
    return np.isin(mine, theirs[counted & (theirs >= 0)])


def refuse_undeclared_levels(ratings: Checked, rubrics: Checked) -> None:
    """Set aside ratings whose criterion or level the rubric does not declare in that version."""
    mine, theirs = ("rubric", "rubric_version", "criterion"), ("rubric", "version", "criterion")
    kept = ~rubrics.aside
    known = _present(ratings, mine, rubrics, theirs, kept)
    filled = np.all([ratings.has(name) for name in mine], axis=0)
    ratings.report(
        Fault(
            "unknown criterion",
            "the rubric declares the criterion in that version",
            "Correct rubric, version or criterion, or add it to the rubric.",
        ),
        filled & ~known,
        "criterion",
    )
    declared = _present(ratings, (*mine, "level"), rubrics, (*theirs, "level"), kept)
    ratings.report(
        Fault(
            "undeclared level",
            f"level is one that the rubric declares: {_declared(rubrics)}",
            "Correct it, map it under [source.levels], or name its code under [source.missing].",
        ),
        ratings.has("level") & known & ~declared,
        "level",
    )
    ratings.report(
        Fault("level and reason", "a rating has a level or a reason why not", "Empty one of the two."),
        ratings.has("level") & ratings.has("missing_reason"),
        "missing_reason",
    )


def _declared(rubrics: Checked) -> str:
    seen = np.unique(rubrics.codes["level"][~rubrics.aside])
    return ", ".join(rubrics.texts["level"].take(pa.array(seen[seen >= 0])).to_pylist())
