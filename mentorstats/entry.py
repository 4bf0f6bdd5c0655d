"""What happens at the door of every public function of the statistics, in one place.

Arguments are held to the types of the signature, tables to what `tables.table` says, and linear algebra
runs on one thread until the function is left.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache, wraps
from typing import Any, ParamSpec, TypeVar, get_type_hints

import pandas as pd

from mentorstats import arguments
from mentorstats.tables import table
from mentorstats.threads import one_thread

P = ParamSpec("P")
R = TypeVar("R")


def entry(*, named: bool = False, keep_index: bool = False) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Make a function public: check what it is given, and compute on one thread.

    Parameters
    ----------
    named
        Whether the caller names the columns; only those are looked at then, whatever else the table holds.
        Otherwise the table is one of the package's own, with columns of fixed names.
    keep_index
        Whether results are indexed as the table is.
    """

    def public(function: Callable[P, R]) -> Callable[P, R]:
        signature = inspect.signature(function)
        hints = cache(lambda: get_type_hints(function))

        @wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> R:
            bound = signature.bind(*args, **kwargs)
            where = f"{function.__name__}()"
            for name, value in bound.arguments.items():
                if name in hints():
                    nan = signature.parameters[name].default
                    hint = _element(signature, name, hints()[name])
                    arguments.check(name, value, hint, where, nan=nan != nan)
            tables = {name for name, value in bound.arguments.items() if isinstance(value, pd.DataFrame)}
            if tables:
                used = set(_texts(_others(bound, tables))) if named else None
                for name in tables:
                    bound.arguments[name] = table(
                        bound.arguments[name], name, used=used, keep_index=keep_index
                    )
            with one_thread():
                return function(*bound.args, **bound.kwargs)

        return checked

    return public


def _element(signature: inspect.Signature, name: str, hint: Any) -> Any:
    """Type of an argument: that of each for ``*several``."""
    return tuple[hint, ...] if signature.parameters[name].kind is inspect.Parameter.VAR_POSITIONAL else hint


def _others(bound: inspect.BoundArguments, tables: set[str]) -> list[object]:
    """Every argument but the tables, those left to their defaults included."""
    every = {name: one.default for name, one in bound.signature.parameters.items()} | bound.arguments
    return [value for name, value in every.items() if name not in tables]


def _texts(value: object) -> Iterable[str]:
    """All texts in an argument, in lists, mappings and terms too: names of columns are among them."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        yield from _texts([*value.keys(), *value.values()])
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _texts(one)
    elif is_dataclass(value) and not isinstance(value, type):
        yield from _texts([getattr(value, field.name) for field in fields(value)])
