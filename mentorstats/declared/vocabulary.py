"""Meanings of the closed lists, from data_dictionary/vocabulary."""

import tomllib
from collections.abc import Iterable
from functools import cache

from mentorstats import places

STATUSES, RULES, INTERVALS = "statuses", "problem_rules", "interval_methods"


@cache
def meanings(name: str) -> dict[str, str]:
    """Each entry of a vocabulary and what it means, in its order."""
    text = (places.data_dictionary() / "vocabulary" / f"{name}.toml").read_text(encoding="utf-8")
    return {key: entry["meaning"] for key, entry in tomllib.loads(text).items()}


def interval_words(methods: Iterable[object]) -> list[str]:
    """In words, once each and in order, how intervals were made; where there is none nothing is named."""
    names = [name for method in methods for name in str(method).split("; ")]
    return [meanings(INTERVALS)[name] for name in dict.fromkeys(names) if name != "none"]
