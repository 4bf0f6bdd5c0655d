"""Every section that an analysis can call, under the name of what it tells."""

from mentorstats.report.adjusted_scores import section as adjusted_scores
from mentorstats.report.alike import section as alike
from mentorstats.report.assignment import section as assignment
from mentorstats.report.certificates import section as certificates
from mentorstats.report.claims import section as claims
from mentorstats.report.components_and_plan import section as components_and_plan
from mentorstats.report.control_charts import section as key_drift
from mentorstats.report.differences import section as differences
from mentorstats.report.double_scoring import section as double_scoring
from mentorstats.report.drift import section as drift
from mentorstats.report.fairness import section as fairness
from mentorstats.report.key_scores import section as key_scores
from mentorstats.report.levels_used import levels as levels_used
from mentorstats.report.levels_used import totals as lesson_scores
from mentorstats.report.networks import section as networks
from mentorstats.report.next_round import section as next_round
from mentorstats.report.own_mentor import section as own_mentor
from mentorstats.report.rating_fit import section as rating_fit
from mentorstats.report.reading import cautions, how_made, how_to_read
from mentorstats.report.records_used import section as records_used
from mentorstats.report.role_agreement import by_criterion, independence
from mentorstats.report.same_instrument import section as same_instrument
from mentorstats.report.severity import section as severity
from mentorstats.report.single_scores import section as single_scores
from mentorstats.report.spread_and_halo import section as spread_and_halo
from mentorstats.report.study_items import section as study_items
from mentorstats.report.talks import section as talks

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
