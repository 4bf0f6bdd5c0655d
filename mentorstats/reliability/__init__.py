"""Generalizability: what a score is made of, and what plan of visits and raters makes it dependable."""

from mentorstats.reliability.cost import cheapest
from mentorstats.reliability.decision import d_study
from mentorstats.reliability.study import GStudy, g_study

__all__ = ["GStudy", "cheapest", "d_study", "g_study"]
