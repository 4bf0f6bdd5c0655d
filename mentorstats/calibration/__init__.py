"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.adjusted import Adjusted, adjusted_scores
from mentorstats.calibration.assignment import Assignment, assignment_check
from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.own_mentor import is_own_mentor, own_mentor_difference

__all__ = [
    "Adjusted",
    "Assignment",
    "Base",
    "Step",
    "adjusted_scores",
    "assignment_check",
    "base_fit",
    "is_own_mentor",
    "own_mentor_difference",
]
