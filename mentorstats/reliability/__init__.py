"""Generalizability: what a score is made of, and what plan of visits and raters makes it dependable.

``g_study`` estimates components, ``d_study`` projects them to plans, ``cheapest`` picks the plan that
reaches a target; ``change_study`` asks the same of change between two occasions; ``profile_study`` and
``composite`` are for several scores, such as criteria, at once.
"""

from importlib import import_module
from typing import Any

from mentorstats.reliability.analyse import Survey, survey
from mentorstats.reliability.components.study import GStudy, g_study
from mentorstats.reliability.criteria.composite import composite
from mentorstats.reliability.criteria.multivariate import ProfileStudy, profile_study
from mentorstats.reliability.plans.change import change_study
from mentorstats.reliability.plans.cost import cheapest
from mentorstats.reliability.plans.decision import d_study

__all__ = [
    "GStudy",
    "ProfileStudy",
    "Survey",
    "change_study",
    "cheapest",
    "composite",
    "d_study",
    "figures",
    "g_study",
    "profile_study",
    "survey",
]


def __getattr__(name: str) -> Any:
    if name == "figures":  # matplotlib is imported when a picture is asked for
        return import_module(f"{__name__}.figures")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
