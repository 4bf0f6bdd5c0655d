"""Crossed random-effects models, linear and ordinal."""

from importlib import import_module
from typing import Any

from mentorstats.mixed.design.terms import by, product, spline
from mentorstats.mixed.fitting import fit
from mentorstats.mixed.result import Fit, likelihood_ratio
from mentorstats.mixed.tables.compare import Comparison

__all__ = [
    "Comparison",
    "Fit",
    "by",
    "figures",
    "fit",
    "likelihood_ratio",
    "product",
    "spline",
]


def __getattr__(name: str) -> Any:
    if name == "figures":  # matplotlib is imported when a picture is asked for
        return import_module(f"{__name__}.figures")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
