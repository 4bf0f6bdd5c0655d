"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several cohorts, sites or versions. ``base_fit`` is the
one fit that everything about severity starts from; ``survey`` asks everything in one run.
"""

from mentorstats.calibration.adjusted import Adjusted, adjusted_scores
from mentorstats.calibration.assignment import Assignment, assignment_check
from mentorstats.calibration.base import Base, base_fit
from mentorstats.calibration.calls import expected_by_chance, mark
from mentorstats.calibration.control_charts import ControlCharts, control_charts
from mentorstats.calibration.drift import Drift, drift, drift_between
from mentorstats.calibration.drift_refit import refit as refit_drift
from mentorstats.calibration.fairness import Fairness, candidate_groups, fairness
from mentorstats.calibration.halo import halo
from mentorstats.calibration.key_trend import key_trend
from mentorstats.calibration.level_use import level_use, never_used
from mentorstats.calibration.networks import Linkage, by_version, linkage
from mentorstats.calibration.overlap import in_common
from mentorstats.calibration.own_mentor import is_own_mentor, own_mentor_difference
from mentorstats.calibration.rating_fit import MeanSquares, criterion_fit, mean_squares, rating_fit
from mentorstats.calibration.redraws import Redraws, redraws
from mentorstats.calibration.same_instrument import SameInstrument, same_instrument
from mentorstats.calibration.separation import separation
from mentorstats.calibration.severity import severity
from mentorstats.calibration.spread import central_tendency, range_restriction
from mentorstats.calibration.step import Step
from mentorstats.calibration.survey import Survey, survey
from mentorstats.calibration.talks import Talks, talks
from mentorstats.calibration.weighted_means import average_run_length

__all__ = [
    "Adjusted",
    "Assignment",
    "Base",
    "ControlCharts",
    "Drift",
    "Fairness",
    "Linkage",
    "MeanSquares",
    "Redraws",
    "SameInstrument",
    "Step",
    "Survey",
    "Talks",
    "adjusted_scores",
    "assignment_check",
    "average_run_length",
    "base_fit",
    "by_version",
    "candidate_groups",
    "central_tendency",
    "control_charts",
    "criterion_fit",
    "drift",
    "drift_between",
    "expected_by_chance",
    "fairness",
    "halo",
    "in_common",
    "is_own_mentor",
    "key_trend",
    "level_use",
    "linkage",
    "mark",
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
    "talks",
]
