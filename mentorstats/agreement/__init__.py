"""Agreement of raters: coefficients with intervals, from any long table.

``coefficients`` gives the whole family at once and ``from_codes`` the same from an array;
``by_level`` gives the agreement at each level, ``paired_counts`` who gave which beside whom;
``double_scored`` pairs the ratings of two raters and
``stacked`` makes a long table of the pairs. ``lesson_table``, ``by_rater`` and ``partners`` say what was
scored twice and by whom, ``likeness`` whether those lessons are like the rest, and
``inverse_probability_weights`` makes them so.
"""

from mentorstats.agreement.coefficients import coefficients, from_codes
from mentorstats.agreement.double_scores import by_rater, lesson_table, partners
from mentorstats.agreement.levels import by_level, paired_counts
from mentorstats.agreement.likeness import LessonWeights, inverse_probability_weights, likeness
from mentorstats.agreement.pairing import double_scored, stacked

__all__ = [
    "LessonWeights",
    "by_level",
    "by_rater",
    "coefficients",
    "double_scored",
    "from_codes",
    "inverse_probability_weights",
    "lesson_table",
    "likeness",
    "paired_counts",
    "partners",
    "stacked",
]
