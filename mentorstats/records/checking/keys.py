"""Keys: a thing is recorded once, and a code points to something that is there."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.dictionary import ForeignKey
from mentorstats.records.checking.batch import Batch, Positions
from mentorstats.records.problems import NOTICE, SET_ASIDE, Problems, quoted
from mentorstats.records.reading.column import Codes, Mask, folded

_TELLS_APART = ("placement", "date")  # by these two lessons differ that bear one code
_KEEP_ONE = "Keep the record that is right and take out the others."


def once(batch: Batch, problems: Problems) -> Batch:
    """Hold a batch to its primary key and its other unique keys; returns it without agreed repeats.

    Rows that are alike in every field keep the first; rows that share the key and differ are all
    set aside, for nothing tells which is meant. A source that says ``distinct`` repeats rows by
    design, so its repeats leave with one notice for the whole source.
    """
    table = batch.table
    batch = _primary(batch, problems)
    others = [*table.unique_keys, *((field.name,) for field in table.fields if field.unique)]
    for fields in others:
        if all(name in batch.columns for name in fields):
            _unique(batch, fields, problems)
    return batch


def _primary(batch: Batch, problems: Problems) -> Batch:
    fields = batch.table.primary_key
    key, size = folded([batch.columns[name] for name in fields])
    twice = _twice(key, size)
    if not len(twice):
        return batch
    groups = pd.Series(key[twice])
    whole = _whole(batch, twice)
    alike = (whole == pd.Series(whole).groupby(groups.to_numpy()).transform("first")).to_numpy()
    agreed = pd.Series(alike).groupby(groups.to_numpy()).transform("all").to_numpy()
    again = groups.duplicated().to_numpy()
    distinct = np.array([origin.source.distinct for origin in batch.origins])[batch.origin[twice]]
    value = _key_text(batch, fields, twice)
    place = _first_place(batch, twice, groups)

    def report(chosen: Mask, after: str, rule: str, remedy: str) -> None:
        batch.aside[twice[chosen]] = True
        first, more = _one_a_row(batch, twice, np.flatnonzero(chosen))
        pick = pa.array(first)
        text = pc.binary_join_element_wise(quoted(value.take(pick), after), place.take(pick), more, " ")
        batch.report(
            problems,
            twice[first],
            fields[-1],
            pc.utf8_rtrim_whitespace(text),
            rule=rule,
            effect=SET_ASIDE,
            remedy=remedy,
            value=value.take(pick),
        )

    report(~agreed, " is recorded more than once, and differently; see also", "primary_key", _KEEP_ONE)
    report(agreed & again & ~distinct, " is an exact duplicate; the first is", "repeated_row", _KEEP_ONE)
    return _without(batch, twice[agreed & again & distinct], problems)


def _one_a_row(batch: Batch, twice: Positions, chosen: Positions) -> tuple[Positions, pa.Array]:
    """Return the first chosen position of each row in its file, and how many criteria of a form are meant."""
    at = twice[chosen]
    row = pd.Series(batch.rows[at] * len(batch.origins) + batch.origin[at])
    first = ~row.duplicated().to_numpy()
    size = row.groupby(row).transform("size").to_numpy()[first]
    more = [f"({n} criteria of the form)" if n > 1 else "" for n in size]
    return chosen[first], pa.array(more, pa.string())


def _unique(batch: Batch, fields: tuple[str, ...], problems: Problems) -> None:
    key, size = folded([batch.columns[name].take(~batch.aside) for name in fields])
    at = np.flatnonzero(~batch.aside)[_twice(key, size)]
    value = _key_text(batch, fields, at)
    batch.report(
        problems,
        at,
        fields[-1],
        quoted(value, f" occurs more than once as {', '.join(fields)}"),
        rule="unique_key",
        effect=SET_ASIDE,
        remedy=_KEEP_ONE,
        value=value,
    )


def _twice(key: Codes, size: int) -> Positions:
    """Return positions whose key, -1 for none, occurs more than once."""
    if size <= 4 * len(key) + 1024:
        counts = np.bincount(key[key >= 0], minlength=1)
        return np.flatnonzero((key >= 0) & (counts[key] > 1))
    return np.flatnonzero((key >= 0) & pd.Series(key).duplicated(keep=False).to_numpy())


def _whole(batch: Batch, at: Positions) -> Codes:
    """Return one code for all fields together; a missing value is a value here."""
    whole = np.zeros(len(at), dtype=np.int64)
    for column in batch.columns.values():
        code, size = column.take(at).keys()
        whole = pd.factorize(whole * (size + 1) + code + 1)[0]
    return whole


def _key_text(batch: Batch, fields: tuple[str, ...], at: Positions) -> pa.Array:
    parts = [batch.columns[name].take(at).array().cast(pa.string()) for name in fields]
    return pc.binary_join_element_wise(*parts, ", ", null_handling="replace")


def _first_place(batch: Batch, twice: Positions, groups: pd.Series) -> pa.Array:
    """Say for each repeated row where the first of its kind stands, and for the first, the last."""
    position = pd.Series(np.arange(len(twice))).groupby(groups.to_numpy())
    first = position.transform("first").to_numpy()
    other = np.where(first == np.arange(len(twice)), position.transform("last").to_numpy(), first)
    at = twice[other]
    files = pa.array([_called(batch, number) for number in range(len(batch.origins))])
    rows = pa.array(batch.rows[at]).cast(pa.string())
    return pc.binary_join_element_wise(files.take(pa.array(batch.origin[at])), rows, " row ")


def _called(batch: Batch, number: int) -> str:
    origin = batch.origins[number]
    return f"{origin.file} {origin.sheet}".strip()


def _without(batch: Batch, at: Positions, problems: Problems) -> Batch:
    if not len(at):
        return batch
    for number, count in zip(*np.unique(batch.origin[at], return_counts=True), strict=True):
        origin = batch.origins[number]
        problems.add(
            f"{count} rows repeat a row of {batch.table.name} that is there already; each is read once",
            file=origin.file,
            sheet=origin.sheet,
            rule="repeated_row",
            effect=NOTICE,
            remedy="Nothing need be done: the mapping says distinct.",
        )
    stays = np.ones(len(batch), dtype=bool)
    stays[at] = False
    return batch.only(stays)


def found(batch: Batch, key: ForeignKey, parent: Batch | None, problems: Problems) -> None:
    """Hold a batch to a foreign key of one field."""
    (field,), (reference,) = key.fields, key.references
    if field not in batch.columns:
        return
    if parent is None:
        problems.add(
            f"there is no table {key.table}, so {field} was not checked",
            file=batch.origins[0].file,
            rule="no_table",
            effect=NOTICE,
            remedy=f"Export {key.table} too: some sections of a report need it.",
        )
        return
    held = parent.columns[reference].array()
    kept = held.filter(pa.array(~parent.aside))
    child = batch.columns[field]
    sound = pc.or_(child.values.is_null(), pc.is_in(child.values, value_set=kept))
    if pc.all(sound).as_py():
        return
    known = pc.is_in(child.values, value_set=held)
    pointing = ~child.spread(sound)
    if key.effect == SET_ASIDE:
        # What points to a row that was set aside stays, without what that row would have said.
        doubtful = _doubtful(parent, reference)
        _report_pointing(
            batch,
            np.flatnonzero(pointing & child.spread(pc.is_in(child.values, value_set=doubtful))),
            field,
            f" stands for several rows of {key.table} that differ",
            problems,
            effect=SET_ASIDE,
            table=key.table,
        )
    at = np.flatnonzero(pointing & ~child.spread(known))
    after = f" is not in {key.table}"
    _report_pointing(batch, at, field, after, problems, effect=key.effect, table=key.table)


def _report_pointing(
    batch: Batch, at: Positions, field: str, after: str, problems: Problems, *, effect: str, table: str
) -> None:
    """Report codes that lead nowhere: each row that is set aside; those only noted once a code and file."""
    more: pa.Array | str = ""
    if effect == NOTICE:
        at, more = batch.first_of_each(at, field)
    text = quoted(batch.columns[field].take(at).array(), after)
    batch.report(
        problems,
        at,
        field,
        pc.binary_join_element_wise(text, more, ""),
        rule="foreign_key",
        effect=effect,
        remedy=f"Correct the code here, or the row in {table}.",
    )


def _doubtful(parent: Batch, reference: str) -> pa.Array:
    """Codes under which several things were recorded that are not one: another placement, another day."""
    own = [name for name in _TELLS_APART if name in parent.columns and name != reference]
    if not own or not parent.aside.any():
        return pa.array([], pa.string())
    columns = {
        name: parent.columns[name].take(parent.aside).array().to_pandas() for name in (reference, *own)
    }
    distinct = pd.DataFrame(columns).dropna(subset=[reference]).drop_duplicates()
    codes = distinct[reference]
    return pa.array(codes[codes.duplicated()].unique().tolist(), pa.string())
