"""Sections without numbers of their own: how to read, how numbers were made, what to beware of."""

from __future__ import annotations

from mentorstats.policy import Policy
from mentorstats.report.model import Section
from mentorstats.report.numbers import number


def how_to_read(policy: Policy) -> Section:
    """How a director reads the numbers."""
    percent = number(policy.value("confidence"), "share")
    return Section(
        key="reading",
        question="How is this to be read?",
        answer="Read the interval first: what it leaves open, the records leave open.",
        method=(
            f"A number such as 0.52 [0.41, 0.62] is the best estimate with its {percent}\N{NO-BREAK SPACE}% "
            f"interval. Intervals made this way contain the true value in about {percent} of 100 programmes "
            "like this one. A wide interval means few lessons or candidates, not poor raters.",
            "“Same level” and “at most one level apart” are what raters did. “By chance” is what raters "
            "would do who had not seen the lesson. Weighted kappa and AC2 are what is left when chance is "
            "taken out. High percentages with a kappa near zero mean that the lessons hardly differed, so "
            "agreement was not put to the test.",
            "Rings: a filled ring stands beside “yes” and “met”, an open ring beside “no” and “not met”, a "
            "half ring beside “not clear”, “undecided” and “too few to say”. A small letter points to the "
            "reason under the table. Raters and candidates appear by code only.",
        ),
    )


def how_made(policy: Policy) -> Section:
    """How the numbers were made, for a methodologist."""
    percent = number(policy.value("confidence"), "share")
    return Section(
        key="methods",
        question="How were the numbers made?",
        answer="By published formulas, with intervals that allow for several ratings of one candidate.",
        method=(
            "Levels and their order are those that the rubric declares, used or not. Versions of a rubric "
            "stand side by side and are never pooled. Two ratings are paired where lesson, rubric, version "
            "and criterion are the same and one rater is a mentor and the other a supervisor; a lesson "
            "rated by two supervisors gives two pairs.",
            "Every coefficient is (observed agreement minus chance agreement) over (1 minus chance "
            "agreement), with quadratic weights; they differ in how chance is reckoned. Weighted kappa "
            "takes chance from the two roles' own use of the levels, AC2 from how evenly the levels are "
            "used by both together.",
            f"Intervals ({percent}\N{NO-BREAK SPACE}%) rest on the linearised variance between candidates, "
            "Student's t with one degree of freedom fewer than candidates, on Fisher's z, which keeps the "
            "bounds inside the range. Where no pair disagreed the lower bound is exact. With few "
            "candidates the interval is marked, and with very few there is none.",
        ),
        references=("cohen_1968", "gwet_2008", "gwet_2014", "liang_zeger_1986", "kottner_2011"),
        caution=(
            "Outside the table that counts supervisors as clusters too, ratings that one supervisor gave to "
            "different candidates count as independent of each other. Where few supervisors rated many "
            "candidates, and each has habits of their own, those intervals are too narrow.",
        ),
    )


def cautions() -> Section:
    """What the report is not."""
    return Section(
        key="cautions",
        question="What must this report not be used for?",
        answer="It is made for monitoring and for training raters; it is not a sole basis for a decision "
        "about a person.",
        method=(
            "The programme's own policy, local law and the judgement of licensed practitioners come before "
            "anything printed here. It is not a league table: criteria, sites and raters are not ranked, "
            "and differences between them may come from which lessons were rated by both.",
            "Agreement is not accuracy: two raters can agree and both be wrong. It is also not "
            "dependability: how far a score would hold on another day, in another lesson, needs more than "
            "two raters of one lesson.",
            "Lessons rated twice are seldom a random sample. Where they were chosen for a reason, "
            "agreement on the other lessons may be better or worse.",
        ),
        references=("aera_2014", "white_2018"),
    )
