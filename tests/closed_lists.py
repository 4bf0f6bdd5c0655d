"""What every table of a result is held to: statuses, interval methods and sources of the closed lists."""

import dataclasses

import pandas as pd

from mentorstats.declared.vocabulary import INTERVALS, STATUSES, meanings
from mentorstats.sources import SOURCES

HELD = {"status": STATUSES, "interval_method": INTERVALS, "contrast_method": INTERVALS}
_INNER = ("model", "cells", "told", "long", "rubrics", "placements", "observations", "key_ratings")


def tables(found, path=""):
    """Every table in fields and properties of a result, with its place, but for inputs and workings."""
    if isinstance(found, pd.DataFrame):
        yield path, found
    elif dataclasses.is_dataclass(found) and not isinstance(found, type):
        own = type(found)
        names = [field.name for field in dataclasses.fields(found)]
        names += [name for name in vars(own) if isinstance(getattr(own, name), property)]
        for name in names:
            if name not in _INNER and not name.startswith("_"):
                yield from tables(getattr(found, name), f"{path}.{name}")


def outside(found):
    """Values of the closed lists' columns that the lists do not have, as (place, column, value)."""
    wrong = []
    for path, table in tables(found):
        for column, name in HELD.items():
            if column in table:
                values = {part for value in table[column].dropna() for part in str(value).split("; ")}
                wrong += [(path, column, value) for value in sorted(values - set(meanings(name)))]
        if "reference" in table:
            keys = {key for value in table["reference"].dropna() for key in str(value).split("; ")}
            wrong += [(path, "reference", key) for key in sorted(keys - set(SOURCES) - {""})]
    return wrong
