"""Meanings of the closed lists, from data_dictionary/vocabulary."""

import tomllib
from functools import cache

from mentorstats import places

STATUSES, RULES = "statuses", "problem_rules"


@cache
def meanings(name: str) -> dict[str, str]:
    """Each entry of a vocabulary and what it means, in its order."""
    text = (places.data_dictionary() / "vocabulary" / f"{name}.toml").read_text(encoding="utf-8")
    return {key: entry["meaning"] for key, entry in tomllib.loads(text).items()}
