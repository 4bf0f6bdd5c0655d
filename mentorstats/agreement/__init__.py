"""Agreement of raters: coefficients with intervals, from any long table.

``coefficients`` gives the whole family at once and ``from_codes`` the same from an array;
``by_level`` gives the agreement at each level; ``double_scored`` pairs the ratings of two roles and
``stacked`` makes a long table of the pairs.

For scores: ``icc`` where every rater scored every unit and ``icc_incomplete`` where not,
``limits_of_agreement`` for totals of two raters, ``kendall_w`` for their order, ``finn`` against dice.
``marginal_homogeneity`` tests whether two raters use the levels equally often.
"""

from mentorstats.agreement.coefficients import coefficients, from_codes
from mentorstats.agreement.concordance import finn, kendall_w
from mentorstats.agreement.icc import icc
from mentorstats.agreement.icc_incomplete import icc_incomplete
from mentorstats.agreement.levels import by_level
from mentorstats.agreement.margins import marginal_homogeneity
from mentorstats.agreement.pairing import double_scored, stacked
from mentorstats.agreement.totals import limits_of_agreement

__all__ = [
    "by_level",
    "coefficients",
    "double_scored",
    "finn",
    "from_codes",
    "icc",
    "icc_incomplete",
    "kendall_w",
    "limits_of_agreement",
    "marginal_homogeneity",
    "stacked",
]
