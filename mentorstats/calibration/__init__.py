"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups."""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.control_charts import ControlCharts, control_charts
from mentorstats.calibration.drift import Drift, drift, drift_between
from mentorstats.calibration.drift_refit import refit as refit_drift
from mentorstats.calibration.key_trend import key_trend
from mentorstats.calibration.weighted_means import average_run_length

__all__ = [
    "Base",
    "ControlCharts",
    "Drift",
    "Step",
    "average_run_length",
    "base_fit",
    "control_charts",
    "drift",
    "drift_between",
    "key_trend",
    "refit_drift",
]
