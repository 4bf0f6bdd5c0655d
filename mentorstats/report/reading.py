"""Notes for the appendix: how to read the numbers, how they were computed, and what to beware of."""

from __future__ import annotations

from mentorstats.policy import Policy
from mentorstats.report.model import Section
from mentorstats.report.numbers import number


def how_to_read(policy: Policy) -> Section:
    """How to read the numbers."""
    percent = number(policy.value("confidence"), "share")
    return Section(
        key="reading",
        name="how to read the numbers",
        question="How should the numbers be read?",
        detail=(
            f"A number such as 0.52 [0.41, 0.62] is the estimate with its {percent}\N{NO-BREAK SPACE}% "
            f"interval. Intervals computed this way contain the true value in about {percent} of 100 "
            "programmes like this one. A wide interval means few lessons or candidates, not poor raters.",
            "Exact and adjacent agreement are what raters did. Agreement expected by chance is what raters "
            "would reach who had not seen the lesson. Weighted kappa and AC2 are agreement beyond chance. "
            "High agreement with a kappa near zero means that the lessons hardly differed, so agreement was "
            "not put to the test.",
            "Rings: filled for “yes” and “met”, open for “no” and “not met”, half filled for “not clear”, "
            "“undecided” and “not assessed”.",
        ),
    )


def how_made(policy: Policy) -> Section:
    """How the numbers were computed, for a methodologist."""
    percent = number(policy.value("confidence"), "share")
    return Section(
        key="methods",
        name="how the numbers were computed",
        question="How were the numbers computed?",
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


def cautions() -> Section:
    """What the report is not."""
    return Section(
        key="cautions",
        name="limits of use",
        question="What must this report not be used for?",
        detail=(
            "It is not a ranking: differences between criteria, sites and raters may come from which lessons "
            "were rated by both.",
            "Agreement is not accuracy: two raters can agree and both be wrong. It is not dependability "
            "either: whether a score would be the same on another day, in another lesson, takes more than "
            "two raters of one lesson.",
            "Double-scored lessons are seldom a random sample. Where they were chosen for a reason, "
            "agreement on other lessons may be better or worse.",
        ),
        references=("aera_2014", "white_2018"),
    )
