"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several cohorts, sites or versions. ``base_fit`` is the
one fit that everything about severity starts from: ``severity`` gives each rater's shift, ``separation``
how far raters differ, ``mark`` whom to talk with and ``expected_by_chance`` how many chance would mark.
"""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.calls import expected_by_chance, mark
from mentorstats.calibration.networks import Linkage, by_version, linkage
from mentorstats.calibration.overlap import in_common
from mentorstats.calibration.separation import separation
from mentorstats.calibration.severity import severity

__all__ = [
    "Base",
    "Linkage",
    "Step",
    "base_fit",
    "by_version",
    "expected_by_chance",
    "in_common",
    "linkage",
    "mark",
    "separation",
    "severity",
]
