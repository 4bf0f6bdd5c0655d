"""Every section that an analysis can call, under the name of what it tells."""

from mentorstats.report.agreement.balance import section as alike
from mentorstats.report.agreement.by_criterion import by_criterion, independence
from mentorstats.report.agreement.differences import section as differences
from mentorstats.report.agreement.double_scoring import section as double_scoring
from mentorstats.report.agreement.in_words import section as claims
from mentorstats.report.agreement.levels_used import levels as levels_used
from mentorstats.report.agreement.levels_used import totals as lesson_scores
from mentorstats.report.agreement.next_round import section as next_round
from mentorstats.report.agreement.reporting_items import section as study_items
from mentorstats.report.agreement.single_scores import section as single_scores
from mentorstats.report.calibration.adjusted import section as adjusted_scores
from mentorstats.report.calibration.assignment import section as assignment
from mentorstats.report.calibration.drift import section as drift
from mentorstats.report.calibration.fairness import section as fairness
from mentorstats.report.calibration.follow_up import section as talks
from mentorstats.report.calibration.linkage import section as networks
from mentorstats.report.calibration.own_mentor import section as own_mentor
from mentorstats.report.calibration.rating_fit import section as rating_fit
from mentorstats.report.calibration.same_instrument import section as same_instrument
from mentorstats.report.calibration.severity import section as severity
from mentorstats.report.calibration.spread_and_halo import section as spread_and_halo
from mentorstats.report.key_scores.accuracy import section as key_scores
from mentorstats.report.key_scores.certification import section as certificates
from mentorstats.report.key_scores.control_charts import section as key_drift
from mentorstats.report.reading import cautions, how_made, how_to_read
from mentorstats.report.records.used import section as records_used
from mentorstats.report.reliability.components_and_plan import section as components_and_plan

__all__ = [
    "adjusted_scores",
    "alike",
    "assignment",
    "by_criterion",
    "cautions",
    "certificates",
    "claims",
    "components_and_plan",
    "differences",
    "double_scoring",
    "drift",
    "fairness",
    "how_made",
    "how_to_read",
    "independence",
    "key_drift",
    "key_scores",
    "lesson_scores",
    "levels_used",
    "networks",
    "next_round",
    "own_mentor",
    "rating_fit",
    "records_used",
    "same_instrument",
    "severity",
    "single_scores",
    "spread_and_halo",
    "study_items",
    "talks",
]
