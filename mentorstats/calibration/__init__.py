"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.base import Base, Step, base_fit

__all__ = ["Base", "Step", "base_fit"]
