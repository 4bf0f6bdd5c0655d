"""Note: how to read the numbers."""

from __future__ import annotations

from functools import partial

from mentorstats.policy import Policy
from mentorstats.report.model import Section
from mentorstats.report.numbers import number

ABOUT = partial(
    Section, key="reading", name="how to read the numbers", question="How should the numbers be read?"
)


def section(policy: Policy) -> Section:
    """Build the note."""
    percent = number(policy.value("confidence"), "share")
    return ABOUT(
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
