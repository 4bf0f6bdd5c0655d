"""Generalizability: what a score is made of, and what plan of visits and raters makes it dependable.

``g_study`` estimates components, ``d_study`` projects them to plans, ``cheapest`` picks the plan that
reaches a target; ``change_study`` asks the same of change between two occasions; ``profile_study`` and
``composite`` are for several scores, such as criteria, at once.
"""

from mentorstats.reliability.change import change_study
from mentorstats.reliability.composite import composite
from mentorstats.reliability.cost import cheapest
from mentorstats.reliability.decision import d_study
from mentorstats.reliability.multivariate import ProfileStudy, profile_study
from mentorstats.reliability.study import GStudy, g_study
from mentorstats.reliability.survey import Survey, survey

__all__ = [
    "GStudy",
    "ProfileStudy",
    "Survey",
    "change_study",
    "cheapest",
    "composite",
    "d_study",
    "g_study",
    "profile_study",
    "survey",
]
