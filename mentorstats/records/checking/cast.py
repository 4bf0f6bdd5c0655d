"""From text to the type that the dictionary gives a field, each distinct value judged once.

Nothing is guessed: "3.0" is no whole number, and "31/02/2026" no day.
"""

import re
from calendar import month_name
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.dictionary import Field
from mentorstats.records.checking.batch import Batch, Positions
from mentorstats.records.mapping import ISO, Source
from mentorstats.records.mapping.recipes import UNITS
from mentorstats.records.problems import NOTICE, SET_ASIDE, Problems, quoted
from mentorstats.records.reading.column import Column
from mentorstats.records.reading.package import UNCOMPUTED

SPREADSHEET_ERRORS = (
    "#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!",
    UNCOMPUTED,
)  # fmt: skip

_KINDS = {"integer": "a whole number", "number": "a number", "boolean": "yes or no", "date": "a date"}
_WORD = re.compile(r"[^\W\d_]+\.?")
_DIGITS = 6  # of a product with a unit's factor, so that 1.1 hours are 66 minutes
_AMBIGUOUS = "Give one format under dates in mapping.toml, or write the cell as YYYY-MM-DD."
_TYPES = {
    "string": pa.string(),
    "integer": pa.int64(),
    "number": pa.float64(),
    "boolean": pa.bool_(),
    "date": pa.date32(),
}


def arrow_type(field: Field) -> pa.DataType:
    """Return the Arrow type that holds a field."""
    return _TYPES[field.type]


def cast(batch: Batch, problems: Problems, *, typed: bool) -> None:
    """Cast every column of a batch from one source in place.

    A cell that does not fit is missing afterwards, with a notice; its row is set aside only where the field
    is one that no row can be without, part of a key, or a level.

    Parameters
    ----------
    batch
        Rows of one source, all columns text.
    problems
        Where faults are noted, with the text as the file has it.
    typed
        Whether the file keeps dates as dates, which then read as YYYY-MM-DD.
    """
    source = batch.origins[0].source
    for field in batch.table.fields:
        if field.name in batch.columns:
            recipe = source.columns.get(field.name)
            unit = recipe.unit if recipe else ""
            rules = Reading(
                _formats(source, typed),
                typed,
                source.decimal,
                UNITS.get(field.unit, {}).get(unit, 1.0),
                source.months,
            )
            _cast_field(batch, field, problems, rules)


@dataclass(frozen=True, slots=True)
class Reading:
    """How a source writes dates and numbers; ``times`` turns its unit into ours, None for a clock's."""

    formats: tuple[str, ...]
    typed: bool
    decimal: str
    times: float | None = 1.0
    months: tuple[str, ...] = ()


def _formats(source: Source, typed: bool) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*source.dates, ISO) if typed else source.dates))


def _cast_field(batch: Batch, field: Field, problems: Problems, how: Reading) -> None:
    text = batch.columns[field.name]
    needed = field.required or field.name in (*batch.table.primary_key, *batch.table.levels)
    effect = SET_ASIDE if needed else NOTICE
    empty = pc.or_kleene(text.values.is_null(), pc.equal(text.values, "")).fill_null(True)
    broken = pc.is_in(text.values, value_set=pa.array(SPREADSHEET_ERRORS))
    held = pc.if_else(pc.or_(empty, broken), pa.scalar(None, pa.string()), text.values)
    made = _READERS[field.type](held, field, how)
    batch.columns[field.name] = Column(text.codes, made)
    report = partial(_report, batch, field, problems, text, effect)
    report(
        broken, " is an error of the spreadsheet", "spreadsheet_error", "Correct the cell and export again."
    )
    if field.required:
        at = np.flatnonzero(text.spread(empty))
        what = f"{field.title.lower()} is empty"
        batch.report(
            problems, at, field.name, what, rule="required", effect=SET_ASIDE, remedy="Fill the cell in."
        )
    unread = pc.and_(made.is_null(), held.is_valid())
    if field.type == "date" and len(how.formats) > 1 and unread.true_count:
        torn = pc.and_(unread, _ambiguous(held, how))
        unread = pc.and_not(unread, torn)
        report(torn, " is another day in each of the formats", "ambiguous_date", _AMBIGUOUS)
    report(unread, f" is not {_KINDS.get(field.type, 'text')}", "type", _type_remedy(field, how.formats))
    for judged, after, rule, remedy in _constraints(made, field):
        report(judged, after, rule, remedy)
        made = pc.if_else(judged, pa.scalar(None, made.type), made)
    batch.columns[field.name] = Column(text.codes, made)


def _report(
    batch: Batch,
    field: Field,
    problems: Problems,
    text: Column,
    effect: str,
    judged: pa.Array,
    after: str,
    rule: str,
    remedy: str,
) -> None:
    if not pc.any(judged).as_py():
        return
    at: Positions = np.flatnonzero(text.spread(judged))
    value = text.take(at).array()
    batch.report(
        problems,
        at,
        field.name,
        quoted(value, after),
        rule=rule,
        effect=effect,
        remedy=remedy,
        value=value,
    )


def _type_remedy(field: Field, formats: Sequence[str]) -> str:
    if field.type == "date":
        return f"Dates are read as {' or '.join(dict.fromkeys(formats))}; see dates in mapping.toml."
    if field.type == "boolean":
        return "Write yes or no, or say what stands for them under values in mapping.toml."
    return "Write digits only."


def _constraints(made: pa.Array, field: Field) -> list[tuple[pa.Array, str, str, str]]:
    """Return, for each constraint of a field, where it is broken and what to say of it."""
    found = []
    if field.categories:
        out = pc.and_(made.is_valid(), pc.invert(pc.is_in(made, value_set=pa.array(field.categories))))
        listed = ", ".join(field.categories)
        found.append(
            (out, " is not an allowed value", "allowed", f"Allowed: {listed}; see values in mapping.toml.")
        )
    if field.minimum is not None:
        out = pc.less(made, field.minimum).fill_null(False)
        found.append((out, f" is below {field.minimum}", "minimum", f"The lowest is {field.minimum}."))
    if field.maximum is not None:
        out = pc.greater(made, field.maximum).fill_null(False)
        found.append((out, f" is above {field.maximum}", "maximum", f"The highest is {field.maximum}."))
    if field.pattern:
        whole = pc.match_substring_regex(made, f"^(?:{field.pattern})$")
        out = pc.invert(whole).fill_null(False)
        found.append((out, " does not have the right form", "pattern", f"The form is {field.pattern}."))
    return found


def _string(held: pa.Array, *_: object) -> pa.Array:
    return held


def _integer(held: pa.Array, field: Field, how: Reading) -> pa.Array:
    if how.times == 1.0:
        return _unsigned(_where(held, r"^[+-]?[0-9]{1,18}$")).cast(pa.int64())
    number = pc.round(_number(held, field, how), _DIGITS)
    whole = pc.and_(pc.equal(pc.floor(number), number), pc.less(pc.abs(number), 2.0**53))
    return pc.if_else(whole, number, pa.scalar(None, pa.float64())).cast(pa.int64())


def _number(held: pa.Array, field: Field, how: Reading) -> pa.Array:
    if how.times is None:
        return _clock(held)
    if how.decimal != ".":
        pointed = pc.match_substring(held, ".")
        kept = held if how.typed else pa.scalar(None, pa.string())
        held = pc.if_else(pointed, kept, pc.replace_substring(held, how.decimal, "."))
    legal = _where(held, r"^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,2})?$")
    number = _unsigned(legal).cast(pa.float64())
    return number if how.times == 1.0 else pc.multiply(number, how.times)


def _clock(held: pa.Array) -> pa.Array:
    """Minutes of "1:30" or "1:30:00", hours and minutes as a clock shows them."""
    legal = _where(held, r"^[0-9]{1,3}:[0-5][0-9](:[0-5][0-9])?$")
    parts = pc.extract_regex(legal, r"^(?P<h>[0-9]+):(?P<m>[0-9]{2}):?(?P<s>[0-9]*)$")
    hours, minutes, seconds = (
        pc.if_else(pc.equal(parts.field(name), ""), "0", parts.field(name)).cast(pa.float64())
        for name in ("h", "m", "s")
    )
    total = pc.add(pc.add(pc.multiply(hours, 60.0), minutes), pc.divide(seconds, 60.0))
    return pc.if_else(legal.is_valid(), total, pa.scalar(None, pa.float64()))


def _unsigned(held: pa.Array) -> pa.Array:
    """Take off a plus sign, which the cast does not know."""
    return pc.replace_substring_regex(held, r"^\+", "")


def _boolean(held: pa.Array, field: Field, _: Reading) -> pa.Array:
    true = pc.is_in(held, value_set=pa.array(field.true_values))
    false = pc.is_in(held, value_set=pa.array(field.false_values))
    return pc.if_else(pc.or_(true, false), true, pa.scalar(None, pa.bool_()))


def _date(held: pa.Array, field: Field, how: Reading) -> pa.Array:
    """Days; none where no format fits, and none where two formats give two days."""
    encoded = held.dictionary_encode()
    found = [_days(text, how.formats, how.months, typed=how.typed) for text in encoded.dictionary.to_pylist()]
    only = [next(iter(days)) if len(days) == 1 else None for days in found]
    return pa.array(only, pa.date32()).take(encoded.indices)


def _ambiguous(held: pa.Array, how: Reading) -> pa.Array:
    torn = [
        text is not None and len(_days(text, how.formats, how.months, typed=how.typed)) > 1
        for text in held.to_pylist()
    ]
    return pa.array(torn, pa.bool_())


def days_as_iso(texts: pa.Array, source: Source, typed: bool) -> pa.Array:
    """Return texts in which each day, by the source's formats, is written YYYY-MM-DD, as a key needs it."""
    formats = _formats(source, typed)
    if typed:
        texts = pc.replace_substring_regex(texts, r"^([0-9]{4}-[0-9]{2}-[0-9]{2}) .*$", r"\1")
    if formats == (ISO,):
        return texts
    encoded = texts.dictionary_encode()
    dated = np.flatnonzero(pc.match_substring_regex(encoded.dictionary, r"^.{0,6}[0-9].{5,30}$"))
    known = encoded.dictionary.to_pylist()
    for at in dated:
        days = _days(known[at], formats, source.months, typed=typed)
        if len(days) == 1:
            known[at] = next(iter(days)).isoformat()
    return pa.array(known, pa.string()).take(encoded.indices)


def _days(text: str, formats: Sequence[str], months: Sequence[str], *, typed: bool) -> set[date]:
    text = in_english(text, months) if months and text else text
    found = {_day(text, form, typed=typed) for form in formats}
    return {day for day in found if day is not None}


def _day(text: str, form: str, *, typed: bool) -> date | None:
    if form == ISO:
        return _iso_day(text[:10] if typed and text[10:11] == " " else text)
    return _other_day(text, form)


def in_english(text: str, months: Sequence[str]) -> str:
    """A date with its month, one of these twelve names of another language, as the formats read it."""
    known = dict(zip((name.casefold() for name in months), month_name[1:], strict=True))
    return _WORD.sub(lambda found: known.get(found[0].casefold(), found[0]), text)


def _iso_day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == 10 and text[4] == text[7] == "-" else None
    except ValueError:
        return None


def _other_day(text: str, form: str) -> date | None:
    try:
        return datetime.strptime(text, form).date()
    except ValueError:
        return None


def _where(held: pa.Array, pattern: str) -> pa.Array:
    return pc.if_else(pc.match_substring_regex(held, pattern), held, pa.scalar(None, pa.string()))


_READERS: dict[str, Callable[..., pa.Array]] = {
    "string": _string,
    "integer": _integer,
    "number": _number,
    "boolean": _boolean,
    "date": _date,
}
