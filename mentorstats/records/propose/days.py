"""How a column writes its days, and which of day and month comes first."""

from __future__ import annotations

import re
from calendar import month_abbr, month_name
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np
import numpy.typing as npt

from mentorstats.records.checking.cast import in_english
from mentorstats.records.propose import words

ISO = "%Y-%m-%d"
_EARLIEST, _LATEST = 1990, 2060  # years that a record of a programme may have
_ENOUGH = 0.55  # share of cells that a first format must read
_MOST = 4  # formats of one column
_WEEKDAYS = 5

_DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%m-%y", "%d %m %Y")
_MONTH_FIRST = ("%m/%d/%Y", "%m.%d.%Y", "%m-%d-%Y", "%m/%d/%y", "%m.%d.%y", "%m-%d-%y", "%m %d %Y")
_OTHER = (
    ISO, "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%d %b %Y", "%d %B %Y", "%d-%b-%Y", "%d-%b-%y", "%d %b %y",
    "%b %d, %Y", "%B %d, %Y", "%b %d %Y", "%B %d %Y", "%d. %B %Y", "%d. %b %Y", "%a %d %b %Y",
    "%a, %d %b %Y", "%A, %B %d, %Y", "%A, %d %B %Y", "%d/%b/%Y", "%d %B, %Y",
)  # fmt: skip
_CLOCKS = ("", " %H:%M:%S", " %H:%M", "T%H:%M:%S", " %I:%M %p", " %I:%M:%S %p", ", %H:%M")
TWINS = dict(zip(_DAY_FIRST, _MONTH_FIRST, strict=True)) | dict(zip(_MONTH_FIRST, _DAY_FIRST, strict=True))
_ENGLISH = {name.casefold() for name in (*month_name, *month_abbr) if name}
_WORD = re.compile(r"[^\W\d_]+\.?")
_DIGIT = re.compile(r"\d")


@dataclass(frozen=True, slots=True)
class Days:
    """Formats that read a column's texts, the share that they read, and whether day and month may change.

    ``rival`` holds the formats of the other order where these read every text as well. ``weekends`` is the
    share of days that fall on Saturday or Sunday by each of the two.
    """

    formats: tuple[str, ...] = ()
    share: float = 0.0
    rival: tuple[str, ...] = ()
    weekends: tuple[float, float] = (0.0, 0.0)
    spread: tuple[int, int] = (0, 0)
    months: tuple[str, ...] = ()

    @property
    def open(self) -> bool:
        """Whether the order of day and month cannot be told from the column alone."""
        return bool(self.rival)

    def iso(self, texts: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
        """Texts with each day as YYYY-MM-DD; what is no day stays."""
        known: dict[str, str] = {}
        for text in texts:
            if text not in known:
                found = parsed(text, self.formats, self.months)
                known[text] = found.isoformat() if found else text
        return np.array([known[text] for text in texts], dtype=object)


def parsed(text: str, formats: tuple[str, ...], months: tuple[str, ...] = ()) -> date | None:
    """The day that a text is by the first of the formats that reads it, or none."""
    text = in_english(text, months) if months else text
    for form in formats:
        try:
            found = datetime.strptime(text, form)
        except ValueError:
            continue
        if _EARLIEST <= found.year <= _LATEST:
            return found.date()
    return None


def of(values: tuple[str, ...], counts: npt.NDArray[np.int64]) -> Days:
    """Find the formats of a column from its distinct texts and their counts."""
    total = int(counts.sum())
    sample = [value for value in values if _DIGIT.search(value) and 5 < len(value) < 40]
    if not total or len(sample) < 0.5 * len(values):
        return Days()
    months = _months(sample)
    if months:
        english = tuple(in_english(value, months) for value in values)
        return replace(of(english, counts), months=months)
    weight = dict(zip(values, map(int, counts), strict=True))
    left, formats, read = dict.fromkeys(sample), list[str](), 0
    while left and len(formats) < _MOST:
        form, fits = _best(list(left), weight, formats)
        got = sum(weight[value] for value in fits)
        if not form or (not formats and got < _ENOUGH * total and len(fits) < len(left)):
            break
        formats.append(form)
        read += got
        left = {value: None for value in left if value not in fits}
    return _with_rival(tuple(formats), read / total, values)


def _months(texts: list[str]) -> tuple[str, ...]:
    """The names of the twelve months in the language of the texts, as they write them; none for English."""
    seen = {word for text in texts for word in _WORD.findall(text)}
    plain = {words.plain(word).rstrip("."): word for word in seen if len(word) > 2}
    best: tuple[str, ...] = ()
    most = sum(word in _ENGLISH for word in plain)
    for names in words.vocabulary()["months"].values():
        found = [
            next((w for short, w in plain.items() if words.plain(name).startswith(short)), "")
            for name in names
        ]
        if sum(map(bool, found)) > most:
            most = sum(map(bool, found))
            best = tuple(word or name for word, name in zip(found, names, strict=True))
    return best if len({name.casefold() for name in best}) == len(best) else ()


def _best(texts: list[str], weight: dict[str, int], taken: list[str]) -> tuple[str, set[str]]:
    """The format that reads most, in the order of day and month that those before it have."""
    best, chosen, got = -1.0, "", set[str]()
    month_first = any(form.split(" %H")[0] in _MONTH_FIRST for form in taken)
    orders = (_MONTH_FIRST, _DAY_FIRST) if month_first else (_DAY_FIRST, _MONTH_FIRST)
    for form in _candidates((*_OTHER, *orders[0], *orders[1]), texts[0]):
        fits = {text for text in texts if parsed(text, (form,))}
        worth = sum(weight[text] for text in fits)
        if worth > best and fits:
            best, chosen, got = worth, form, fits
    return chosen, got


def _candidates(forms: tuple[str, ...], text: str) -> list[str]:
    return [form + clock for clock in (_CLOCKS if ":" in text else ("",)) for form in forms]


def _with_rival(formats: tuple[str, ...], share: float, values: tuple[str, ...]) -> Days:
    """Add the other order of day and month where it reads all that this one reads."""
    if not formats:
        return Days()
    turned = tuple(_turned(form) for form in formats)
    ours = [day for value in values if (day := parsed(value, formats))]
    theirs = [day for value in values if (day := parsed(value, turned))]
    if turned == formats or len(theirs) < len(ours):
        return Days(formats, share)
    told = [(_weekends(found), len({(day.year, day.month) for day in found})) for found in (ours, theirs)]
    return Days(formats, share, turned, (told[0][0], told[1][0]), (told[0][1], told[1][1]))


def _turned(form: str) -> str:
    clock = next((clock for clock in _CLOCKS[1:] if form.endswith(clock)), "")
    day = form.removesuffix(clock)
    return TWINS.get(day, day) + clock


def _weekends(found: list[date]) -> float:
    return sum(day.weekday() >= _WEEKDAYS for day in found) / len(found) if found else 0.0


def settled(days: Days, *, prefer: str = "") -> tuple[Days, float, str]:
    """Choose an order of day and month; returns the days, how sure that is from 0 to 1, and why.

    ``prefer`` is ``day`` or ``month`` where another column of the same file tells the order.
    """
    if not days.open:
        return days, 1.0, ""
    first = "day" if any(form.split(" %H")[0] in _DAY_FIRST for form in days.formats) else "month"
    if prefer:
        return (days if first == prefer else turned(days)), 0.93, f"{prefer} first, as another column tells"
    ours, theirs = days.weekends
    if abs(ours - theirs) >= 0.08:
        chosen = days if ours < theirs else turned(days)
        order = first if ours < theirs else _other(first)
        sure = 0.9 if min(ours, theirs) == 0 and abs(ours - theirs) >= 0.15 else 0.75
        return chosen, sure, f"{order} first: read the other way, more days fall on a weekend"
    spread, turned_spread = days.spread
    if min(spread, turned_spread) * 2 <= max(spread, turned_spread):
        chosen = days if spread < turned_spread else turned(days)
        order = first if spread < turned_spread else _other(first)
        return chosen, 0.65, f"{order} first: read the other way, days are spread over far more months"
    return days, 0.4, f"{first} first is a guess: every date can be read either way"


def order_of(days: Days) -> str:
    """``day`` or ``month`` where the texts themselves tell which comes first, else nothing."""
    if days.open or not days.formats:
        return ""
    plain = {form.split(" %H")[0].split(" %I")[0] for form in days.formats}
    return "day" if plain & set(_DAY_FIRST) else "month" if plain & set(_MONTH_FIRST) else ""


def turned(days: Days) -> Days:
    """The same days with day and month the other way round."""
    return Days(days.rival, days.share, days.formats, days.weekends[::-1], days.spread[::-1])


def _other(order: str) -> str:
    return "month" if order == "day" else "day"
