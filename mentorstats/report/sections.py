"""Every section that an analysis can call, under the name of what it tells."""

from mentorstats.report.alike import section as alike
from mentorstats.report.certificates import section as certificates
from mentorstats.report.claims import section as claims
from mentorstats.report.differences import section as differences
from mentorstats.report.double_scoring import section as double_scoring
from mentorstats.report.key_scores import section as key_scores
from mentorstats.report.levels_used import levels as levels_used
from mentorstats.report.levels_used import totals as lesson_scores
from mentorstats.report.next_round import section as next_round
from mentorstats.report.reading import cautions, how_made, how_to_read
from mentorstats.report.records_used import section as records_used
from mentorstats.report.role_agreement import by_criterion, independence
from mentorstats.report.single_scores import section as single_scores
from mentorstats.report.study_items import section as study_items

__all__ = [
    "alike",
    "by_criterion",
    "cautions",
    "certificates",
    "claims",
    "differences",
    "double_scoring",
    "how_made",
    "how_to_read",
    "independence",
    "key_scores",
    "lesson_scores",
    "levels_used",
    "next_round",
    "records_used",
    "single_scores",
    "study_items",
]
