"""Raters against expert scores of the same recordings.

``certify`` compares raters with experts by ``certification_rules``, ``operating_characteristic`` says what
such rules do to raters of known accuracy, ``certificates`` whose certification is current on a day;
``control_charts`` follows each rater over time and ``key_trend`` the mean of all. ``survey`` asks everything.

For monitoring and rater training. Not a sole basis for any decision about a rater or a candidate; the
programme's policy, local rules and licensed practice come first.
"""

from mentorstats.key_scores.analyse import Survey, survey
from mentorstats.key_scores.certification import Certification, certificates, certify
from mentorstats.key_scores.control_charts import ControlCharts, control_charts
from mentorstats.key_scores.operating import operating_characteristic
from mentorstats.key_scores.trend import key_trend
from mentorstats.key_scores.verdicts import certification_rules
from mentorstats.key_scores.weighted_means import average_run_length

__all__ = [
    "Certification",
    "ControlCharts",
    "Survey",
    "average_run_length",
    "certificates",
    "certification_rules",
    "certify",
    "control_charts",
    "key_trend",
    "operating_characteristic",
    "survey",
]
