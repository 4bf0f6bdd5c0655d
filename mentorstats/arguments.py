"""Whether an argument is of the type that its signature declares, and within the range of its name."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np
import pandas as pd

from mentorstats.errors import ArgumentError

MOST_REPLICATES = 1_000_000
LARGEST = 1e15  # numbers beyond it have no place for a unit any more

_SHOWN = 60  # characters of a value that a message shows
_LISTS = (list, tuple, range, np.ndarray, pd.Index, pd.Series, pd.api.extensions.ExtensionArray)
_SETS = (set, frozenset, Mapping, Collection)
_FRACTIONS = frozenset({"confidence", "power", "probability", "share"})
_COUNTS = frozenset({"replicates", "draws"})
_WORDS: dict[Any, str] = {
    Any: "any value",
    object: "any value",
    NoneType: "None",
    bool: "True or False",
    int: "a whole number",
    float: "a number",
    str: "text",
    pd.DataFrame: "a DataFrame",
    pd.Series: "a Series",
    datetime.date: "a date",
}


def check(name: str, value: object, hint: Any, where: str, *, nan: bool = False) -> None:
    """Raise ArgumentError unless the value is of the declared type and in the range its name has.

    Fractions (confidence, power, …) lie between 0 and 1, a seed is not negative, and replicates are counted
    from 1; a function may ask for more than that. A number is finite, and is NaN only with ``nan``.
    """
    if not fits(value, hint):
        raise ArgumentError(f"{name} is {shown(value)}", where=where, allowed=words(hint))
    allowed = _range(name, value, nan)
    if allowed:
        raise ArgumentError(f"{name} is {shown(value)}", where=where, allowed=allowed)


def _range(name: str, value: Any, nan: bool) -> str:
    """What a value of this name may be, where this one is not."""
    number = isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool)
    if number and not (-LARGEST <= value <= LARGEST or (nan and value != value)):
        return f"a number between -{LARGEST:g} and {LARGEST:g}"
    if name in _FRACTIONS and number and not 0 < value < 1:
        return "a fraction between 0 and 1, such as 0.95"
    if name == "seed" and number and value < 0:
        return "a whole number from 0"
    if name in _COUNTS and number and not 1 <= value <= MOST_REPLICATES:
        return f"a whole number from 1 to {MOST_REPLICATES}"
    return ""


def fits(value: object, hint: Any) -> bool:
    """Whether a value is of a declared type; a whole number is a number, and True and False are none."""
    origin = get_origin(hint)
    if hint in (Any, object):
        return True
    if origin in (Union, UnionType):
        if "numpy._typing" in repr(hint):  # all that numpy takes for an array, text among it
            return isinstance(value, str) or _is_numeric(value)
        return any(fits(value, one) for one in get_args(hint))
    if origin is Literal:
        return isinstance(value, str) and value in get_args(hint)
    if _is_array(hint):
        return _is_numeric(value)
    if origin is not None:
        return _holds(value, origin, get_args(hint))
    if hint is None or hint is NoneType:
        return value is None
    if hint is float:
        return isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool)
    if hint is int:
        return isinstance(value, int | np.integer) and not isinstance(value, bool)
    if hint is bool:
        return isinstance(value, bool | np.bool_)
    return isinstance(value, hint)


def _is_array(hint: Any) -> bool:
    """Whether the type is an array, or one of the many that numpy takes for one."""
    return get_origin(hint) is np.ndarray


def _is_numeric(value: object) -> bool:
    """Whether the value is an array of numbers, or lists of one length that make one."""
    if not isinstance(value, (*_LISTS, pd.DataFrame)):
        return fits(value, float)
    try:
        return np.asarray(value).dtype.kind in "iufb"
    except ValueError:  # rows of different lengths
        return False


def _holds(value: Any, origin: Any, inner: tuple[Any, ...]) -> bool:
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return isinstance(value, Mapping) and all(
            fits(key, inner[0]) and fits(of_key, inner[1]) for key, of_key in value.items()
        )
    if isinstance(value, str | bytes):
        return False
    if origin is tuple and inner[-1] is not Ellipsis:
        return (
            isinstance(value, list | tuple)
            and len(value) == len(inner)
            and all(fits(one, kind) for one, kind in zip(value, inner, strict=True))
        )
    if origin in (Iterable, Collection):
        legal = isinstance(value, (*_LISTS, *_SETS)) or (origin is Iterable and isinstance(value, Iterable))
    else:
        legal = isinstance(value, _LISTS)
    if not legal or getattr(value, "ndim", 1) != 1:
        return False
    return not isinstance(value, Collection | pd.Series) or all(fits(one, inner[0]) for one in value)


def words(hint: Any) -> str:
    """Say a type in words."""
    origin, inner = get_origin(hint), get_args(hint)
    if hint in _WORDS:
        return _WORDS[hint]
    if hint is None:
        return "None"
    if origin is Literal:
        return ", ".join(repr(one) for one in inner)
    if origin in (Union, UnionType):
        return ", or ".join(dict.fromkeys(words(one) for one in inner))
    if _is_array(hint):
        return "an array of numbers"
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return f"a mapping from {words(inner[0])} to {words(inner[1])}"
    if origin is tuple and inner[-1] is not Ellipsis:
        return f"{len(inner)} values ({', '.join(words(one) for one in inner)})"
    if origin is not None:
        return f"a list (each {words(inner[0])})"
    return f"a {getattr(hint, '__name__', str(hint))}"


def shown(value: object) -> str:
    """Name a value in a message: short ones as they are, others by their type."""
    if value is None or isinstance(value, str | bool | int | float | complex | np.generic):
        text = repr(value.item()) if isinstance(value, np.generic) else repr(value)
        return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
    kind = type(value).__name__
    if isinstance(value, list | tuple | set | frozenset | dict) and len(repr(value)) <= _SHOWN:
        return f"the {kind} {value!r}"
    return f"a {kind}"
