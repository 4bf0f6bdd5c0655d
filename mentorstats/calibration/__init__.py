"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several cohorts, sites or versions. ``base_fit`` is the
one fit that everything about severity starts from.
"""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.networks import Linkage, by_version, linkage
from mentorstats.calibration.overlap import in_common

__all__ = ["Base", "Linkage", "Step", "base_fit", "by_version", "in_common", "linkage"]
