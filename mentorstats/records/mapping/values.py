"""Single values of a mapping, read strictly: what would have to be guessed at is refused."""

import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from mentorstats.errors import MappingError, nearest

ISO = "%Y-%m-%d"

_DAY = datetime(2026, 3, 14)  # any day whose parts cannot be taken for each other


def known(block: Mapping[str, Any], allowed: Iterable[str], where: str) -> None:
    """Raise MappingError where a block has a key that nothing would act on."""
    for key in block:
        one_of(key, allowed, where, "key")


def needed(block: Mapping[str, Any], keys: Iterable[str], where: str) -> None:
    """Raise MappingError where a block lacks one of these keys."""
    lacking = [key for key in keys if key not in block]
    if lacking:
        raise MappingError(f"lacks {', '.join(lacking)}", where=where)


def one_of(value: str, allowed: Iterable[str], where: str, kind: str) -> str:
    """Return the value, or raise MappingError that names the nearest allowed one."""
    choices = list(allowed)
    if value not in choices:
        near = nearest(value, choices)
        remedy = f"Did you mean {near!r}?" if near else None
        raise MappingError(f"unknown {kind} {value!r}", where=where, allowed=choices, remedy=remedy)
    return value


def text(value: object, where: str, key: str) -> str:
    """Take a text, or a whole number as it is written; anything else would have to be guessed at."""
    if isinstance(value, str) or type(value) is int:
        return str(value)
    raise MappingError(f"{key} = {value!r} is not text", where=where, remedy="Put it in quotation marks.")


def filled(value: object, where: str, key: str) -> str:
    """Take a text that is not blank."""
    found = text(value, where, key)
    if not found.strip():
        raise MappingError(f"{key} = {value!r}", where=where, allowed="a text that is not blank")
    return found


def texts(value: object, where: str, key: str) -> tuple[str, ...]:
    """Take a list of texts that is not empty."""
    if not isinstance(value, list) or not value:
        raise MappingError(f"{key} = {value!r}", where=where, allowed="a list with at least one text")
    return tuple(text(item, where, key) for item in value)


def table(block: Mapping[str, Any], key: str, where: str, *, written: str = "source") -> dict[str, Any]:
    """Take a table of values by name, an empty one where there is none."""
    found = block.get(key, {})
    if not isinstance(found, dict):
        raise MappingError(f"{key} = {found!r}", where=where, remedy=f"Write it as [{written}.{key}].")
    return found


def pairs(block: Mapping[str, Any], key: str, where: str, *, written: str = "source") -> dict[str, str]:
    """Take a table of texts by name, without white space around either."""
    found = table(block, key, where, written=written)
    return {name.strip(): text(value, where, f"{key}.{name}").strip() for name, value in found.items()}


def yes_no(value: object, where: str, key: str) -> bool:
    """Take true or false."""
    if not isinstance(value, bool):
        raise MappingError(f"{key} = {value!r}", where=where, allowed="true, false")
    return value


def count(value: object, where: str, key: str) -> int:
    """Take a whole number from 1."""
    if type(value) is not int or value < 1:
        raise MappingError(f"{key} = {value!r}", where=where, allowed="a whole number from 1")
    return value


def number(value: object, where: str, key: str) -> float:
    """Take a number of 0 or more."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e9:
        raise MappingError(f"{key} = {value!r}", where=where, allowed="a number from 0")
    return float(value)


def character(value: object, where: str, key: str) -> str:
    """Take one character."""
    if not isinstance(value, str) or len(value) != 1 or not value.isascii():
        raise MappingError(f"{key} = {value!r}", where=where, allowed="one character")
    return value


def encoding(value: object, where: str) -> str:
    """Take the name of an encoding."""
    name = text(value, where, "encoding")
    try:
        "".encode(name)
    except LookupError as error:
        raise MappingError(
            f"unknown encoding {name!r}", where=where, remedy='Common ones are "utf-8" and "cp1252".'
        ) from error
    return name


def dates(value: object, where: str) -> tuple[str, ...]:
    """Take formats of dates, each of which must give year, month and day."""
    formats = texts(value, where, "dates")
    for form in formats:
        written = _DAY.strftime(form)
        try:
            has_year = written != _DAY.replace(year=_DAY.year + 1).strftime(form)
            sound = has_year and datetime.strptime(written, form) == _DAY
        except (ValueError, re.error):  # a part given twice is a group of one name to strptime
            sound = False
        if not sound:
            raise MappingError(
                f"dates: {form!r} does not give year, month and day",
                where=where,
                allowed="%d, %m, %Y and the like, for example %d/%m/%Y",
            )
    return formats


def months(value: object, where: str) -> tuple[str, ...]:
    """Take the names of the twelve months in another language, January first."""
    names = texts(value, where, "months")
    if len({name.casefold() for name in names}) != 12:
        raise MappingError(
            f"months has {len(names)} names", where=where, allowed="twelve different ones, January first"
        )
    return names


def pattern(value: object, where: str, key: str) -> str:
    """Take a regular expression with one group, or none; returns it with one."""
    found = filled(value, where, key)
    try:
        groups = re.compile(found).groups
    except (re.error, OverflowError, RecursionError) as error:
        raise MappingError(f"{key} = {found!r} is no regular expression: {error}", where=where) from error
    if groups > 1:
        raise MappingError(
            f"{key} = {found!r} has {groups} groups",
            where=where,
            allowed="one group in brackets, or none",
            remedy="Write (?:…) for brackets that only hold together.",
        )
    return found if groups else f"({found})"
