"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.halo import halo
from mentorstats.calibration.level_use import level_use, never_used
from mentorstats.calibration.rating_fit import MeanSquares, criterion_fit, mean_squares, rating_fit
from mentorstats.calibration.redraws import Redraws, redraws
from mentorstats.calibration.spread import central_tendency, range_restriction

__all__ = [
    "Base",
    "MeanSquares",
    "Redraws",
    "Step",
    "base_fit",
    "central_tendency",
    "criterion_fit",
    "halo",
    "level_use",
    "mean_squares",
    "never_used",
    "range_restriction",
    "rating_fit",
    "redraws",
]
