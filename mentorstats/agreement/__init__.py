"""Agreement of raters: coefficients with intervals, from any long table.

``coefficients`` gives the whole family at once and ``from_codes`` the same from an array;
``by_level`` gives the agreement at each level; ``double_scored`` pairs the ratings of two roles and
``stacked`` makes a long table of the pairs.
"""

from mentorstats.agreement.coefficients import coefficients, from_codes
from mentorstats.agreement.levels import by_level
from mentorstats.agreement.pairing import double_scored, stacked

__all__ = ["by_level", "coefficients", "double_scored", "from_codes", "stacked"]
