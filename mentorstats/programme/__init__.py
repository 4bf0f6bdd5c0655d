"""The programme's questions, one module a question, each giving estimates with intervals and a status."""

from importlib import import_module
from typing import Any

_HOME = {
    "Change": "change",
    "Comparison": "cohorts",
    "Conferences": "conferences",
    "Coverage": "coverage",
    "Modelled": "modelled",
    "RatingModel": "rating_model",
    "compare_groups": "cohorts",
    "expected_and_present": "coverage",
    "fit_ratings": "rating_model",
    "modelled_lessons": "modelled",
    "rated_change": "change",
    "visits_within_rules": "conferences",
    "what_next": "next_records",
}

__all__ = [
    "Change",
    "Comparison",
    "Conferences",
    "Coverage",
    "Modelled",
    "RatingModel",
    "compare_groups",
    "expected_and_present",
    "fit_ratings",
    "modelled_lessons",
    "rated_change",
    "visits_within_rules",
    "what_next",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
