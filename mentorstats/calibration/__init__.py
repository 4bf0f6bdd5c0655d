"""What identifies severity, severity, drift, spread, halo, fit, fairness to groups.

``linkage`` finds the networks of raters and says of each rater whether shared lessons or candidates,
an assumption or nothing compares it with others, ``by_version`` the same under each version of a
rubric; ``in_common`` says which raters served in several cohorts, sites or versions. ``base_fit`` is the
one fit that everything about severity starts from.
"""

from mentorstats.calibration.base import Base, Step, base_fit
from mentorstats.calibration.halo import halo
from mentorstats.calibration.level_use import level_use, never_used
from mentorstats.calibration.networks import Linkage, by_version, linkage
from mentorstats.calibration.overlap import in_common
from mentorstats.calibration.rating_fit import MeanSquares, criterion_fit, mean_squares, rating_fit
from mentorstats.calibration.redraws import Redraws, redraws
from mentorstats.calibration.spread import central_tendency, range_restriction

__all__ = [
    "Base",
    "Linkage",
    "MeanSquares",
    "Redraws",
    "Step",
    "base_fit",
    "by_version",
    "central_tendency",
    "criterion_fit",
    "halo",
    "in_common",
    "level_use",
    "linkage",
    "mean_squares",
    "never_used",
    "range_restriction",
    "rating_fit",
    "redraws",
]
