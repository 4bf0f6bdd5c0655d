"""Agreement of raters: coefficients with intervals, from any long table.

``coefficients`` gives the whole family at once and ``from_codes`` the same from an array;
``by_level`` gives the agreement at each level; ``double_scored`` pairs the ratings of two roles and
``stacked`` makes a long table of the pairs. ``read_against`` puts an author's words to intervals,
``benchmark`` says which word may be claimed, and ``paradox`` lays a high percent with a low kappa open.
``precision`` and ``double_scores_needed`` plan how much to double-score.
"""

from mentorstats.agreement.coefficients import coefficients, from_codes
from mentorstats.agreement.levels import by_level
from mentorstats.agreement.pairing import double_scored, stacked
from mentorstats.agreement.planning import disagreement_correlation, double_scores_needed, precision
from mentorstats.agreement.reading import benchmark, paradox, read_against

__all__ = [
    "benchmark",
    "by_level",
    "coefficients",
    "disagreement_correlation",
    "double_scored",
    "double_scores_needed",
    "from_codes",
    "paradox",
    "precision",
    "read_against",
    "stacked",
]
