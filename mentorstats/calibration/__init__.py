"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several cohorts, sites or versions. ``base_fit`` is the
one fit that everything about severity starts from; ``survey`` asks everything in one run.
"""

from importlib import import_module
from typing import Any

from mentorstats.calibration.analyse import Survey, survey
from mentorstats.calibration.base.base import Base, base_fit
from mentorstats.calibration.base.simulated import Redraws, redraws
from mentorstats.calibration.drift_refit import refit as refit_drift
from mentorstats.calibration.flags import expected_by_chance, flag
from mentorstats.calibration.follow_up import Flags, flags
from mentorstats.calibration.forms.halo import halo
from mentorstats.calibration.groups.fairness import Fairness, candidate_groups, fairness
from mentorstats.calibration.groups.same_instrument import SameInstrument, same_instrument
from mentorstats.calibration.networks.linkage import Linkage, by_version, linkage
from mentorstats.calibration.networks.overlap import in_common
from mentorstats.calibration.raters.adjusted import Adjusted, adjusted_scores
from mentorstats.calibration.raters.assignment import Assignment, assignment_check
from mentorstats.calibration.raters.drift import Drift, drift, drift_between
from mentorstats.calibration.raters.level_use import level_use, never_used
from mentorstats.calibration.raters.own_mentor import is_own_mentor, own_mentor_difference
from mentorstats.calibration.raters.rating_fit import MeanSquares, criterion_fit, mean_squares, rating_fit
from mentorstats.calibration.raters.separation import separation
from mentorstats.calibration.raters.severity import severity
from mentorstats.calibration.raters.spread import central_tendency, range_restriction
from mentorstats.mixed.local.score_test import Step

__all__ = [
    "Adjusted",
    "Assignment",
    "Base",
    "Drift",
    "Fairness",
    "Flags",
    "Linkage",
    "MeanSquares",
    "Redraws",
    "SameInstrument",
    "Step",
    "Survey",
    "adjusted_scores",
    "assignment_check",
    "base_fit",
    "by_version",
    "candidate_groups",
    "central_tendency",
    "criterion_fit",
    "drift",
    "drift_between",
    "expected_by_chance",
    "fairness",
    "figures",
    "flag",
    "flags",
    "halo",
    "in_common",
    "is_own_mentor",
    "level_use",
    "linkage",
    "mean_squares",
    "never_used",
    "own_mentor_difference",
    "range_restriction",
    "rating_fit",
    "redraws",
    "refit_drift",
    "same_instrument",
    "separation",
    "severity",
    "survey",
]


def __getattr__(name: str) -> Any:
    if name == "figures":  # matplotlib is imported when a picture is asked for
        return import_module(f"{__name__}.figures")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
