"""Note: how the numbers were computed, for a methodologist."""

from __future__ import annotations

from functools import partial

from mentorstats.policy import Policy
from mentorstats.report.model import Section
from mentorstats.report.numbers import number

ABOUT = partial(
    Section, key="methods", name="how the numbers were computed", question="How were the numbers computed?"
)


def section(policy: Policy) -> Section:
    """Build the note."""
    percent = number(policy.value("confidence"), "share")
    return ABOUT(
        method=(
            "Levels and their order are those that the rubric declares, used or not. Versions of a rubric "
            "are shown separately and never pooled. Two ratings are paired where lesson, rubric, version and "
            "criterion are the same and one rater is a mentor and the other a supervisor; a lesson rated by "
            "two supervisors gives two pairs.",
            "Every coefficient is (observed agreement − chance agreement) / (1 − chance agreement), with "
            "quadratic weights; they differ in how chance agreement is computed. Weighted kappa uses the two "
            "roles' own use of the levels, AC2 how evenly the levels are used by both together.",
            f"Intervals ({percent}\N{NO-BREAK SPACE}%) use the linearised variance between candidates and "
            "Student's t with one degree of freedom fewer than candidates, on Fisher's z, which keeps the "
            "bounds inside the range. Where no pair disagreed the lower bound is exact. With few candidates "
            "the interval is marked, and with very few there is none.",
        ),
        references=("cohen_1968", "gwet_2008", "gwet_2014", "liang_zeger_1986", "kottner_2011"),
        caution=(
            "Except in the table that treats supervisors as clusters too, ratings that one supervisor gave "
            "to different candidates count as independent of each other. Where few supervisors rated many "
            "candidates, and each has habits, those intervals are too narrow.",
        ),
    )
