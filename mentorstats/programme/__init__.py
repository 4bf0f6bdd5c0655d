"""The programme's questions, one module a question, each giving estimates with intervals and a status."""

from importlib import import_module
from typing import Any

_MODULES = {
    "Conferences": "conferences",
    "Modelled": "modelled",
    "modelled_lessons": "modelled",
    "visits_within_rules": "conferences",
}

__all__ = ["Conferences", "Modelled", "modelled_lessons", "visits_within_rules"]


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
