"""Calibration of raters: what lets them be compared.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several
cohorts, sites or versions of a rubric.
"""

from mentorstats.calibration.networks import Linkage, by_version, linkage
from mentorstats.calibration.overlap import in_common

__all__ = ["Linkage", "by_version", "in_common", "linkage"]
