"""Agreement of raters: coefficients with intervals, from any long table.

``coefficients`` gives the whole family at once and ``from_codes`` the same from an array; ``by_level``
gives the agreement at each level, ``paired_counts`` who gave which beside whom.

Pairs: ``double_scored`` pairs the ratings of two raters and ``stacked`` makes a long table of the pairs;
``lesson_table``, ``by_rater`` and ``partners`` say what was scored twice and by whom, ``likeness`` whether
those lessons are like the rest, and ``inverse_probability_weights`` makes them so.

Reading: ``read_against`` puts an author's words to intervals, ``benchmark`` says which word is supported,
and ``paradox`` lays a high percent with a low kappa open. ``precision`` and ``double_scores_needed`` plan
how much to double-score. ``reporting_items`` fills in what a report of an agreement study should tell.

Scores: ``icc`` where every rater scored every unit and ``icc_incomplete`` where not,
``limits_of_agreement`` for totals of two raters, ``kendall_w`` for their order, ``finn`` against dice.
``marginal_homogeneity`` tests whether two raters use the levels equally often.
"""

from importlib import import_module
from typing import Any

from mentorstats.agreement.analyse import Survey, survey
from mentorstats.agreement.coefficients.by_level import by_level, paired_counts
from mentorstats.agreement.coefficients.coefficients import coefficients, from_codes
from mentorstats.agreement.counts.double_scores import by_rater, lesson_table, partners
from mentorstats.agreement.counts.pairing import double_scored, stacked
from mentorstats.agreement.reading.balance import LessonWeights, inverse_probability_weights, likeness
from mentorstats.agreement.reading.planning import disagreement_correlation, double_scores_needed, precision
from mentorstats.agreement.reading.reporting_items import reporting_items
from mentorstats.agreement.reading.words import benchmark, paradox, read_against
from mentorstats.agreement.scores.concordance import finn, kendall_w
from mentorstats.agreement.scores.icc import icc
from mentorstats.agreement.scores.icc_incomplete import icc_incomplete
from mentorstats.agreement.scores.limits_of_agreement import limits_of_agreement
from mentorstats.agreement.scores.marginal_homogeneity import marginal_homogeneity

__all__ = [
    "LessonWeights",
    "Survey",
    "benchmark",
    "by_level",
    "by_rater",
    "coefficients",
    "disagreement_correlation",
    "double_scored",
    "double_scores_needed",
    "figures",
    "finn",
    "from_codes",
    "icc",
    "icc_incomplete",
    "inverse_probability_weights",
    "kendall_w",
    "lesson_table",
    "likeness",
    "limits_of_agreement",
    "marginal_homogeneity",
    "paired_counts",
    "paradox",
    "partners",
    "precision",
    "read_against",
    "reporting_items",
    "stacked",
    "survey",
]


def __getattr__(name: str) -> Any:
    if name == "figures":  # matplotlib is imported when a picture is asked for
        return import_module(f"{__name__}.figures")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
