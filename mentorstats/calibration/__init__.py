"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.fairness import Fairness, candidate_groups, fairness
from mentorstats.calibration.same_instrument import SameInstrument, same_instrument

__all__ = [
    "Base",
    "Fairness",
    "SameInstrument",
    "Step",
    "base_fit",
    "candidate_groups",
    "fairness",
    "same_instrument",
]
