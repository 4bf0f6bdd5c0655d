"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.calls import expected_by_chance, mark
from mentorstats.calibration.separation import separation
from mentorstats.calibration.severity import severity

__all__ = ["Base", "Step", "base_fit", "expected_by_chance", "mark", "separation", "severity"]
