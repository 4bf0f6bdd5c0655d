"""Note: what a report on cohorts, sites and change is not."""

from __future__ import annotations

from functools import partial

from mentorstats.report.model import Section

ABOUT = partial(
    Section, key="cautions", name="limits of use", question="What must this report not be used for?"
)


def section() -> Section:
    """Build the note."""
    return ABOUT(
        detail=(
            "It is not a ranking of cohorts, sites or people. Groups stand in the order of their codes.",
            "It describes and does not explain: groups differ in many things that the records do not have. A "
            "difference is no reason by itself to change a site, a rater or a candidate's standing.",
            "Change in rated level is not growth. Raters may become more lenient or stricter over a year; "
            "ratings of lessons cannot show a drift that all raters share.",
        ),
        references=("aera_2014",),
    )
