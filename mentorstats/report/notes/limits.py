"""Note: what the report is not."""

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
