"""What the invented programme says of its study of agreement, in ``study.toml``; some items are left open."""

import json

from mentorstats.study import items

TOLD = {
    "subjects_meant": "All lessons of the programme's candidates, taught alone or with the mentor.",
    "raters_meant": "The programme's mentors and supervisors, after half a day of training in the rubric.",
    "size_chosen": "Three lessons in ten, so that the interval of weighted kappa over all criteria together "
    "is at most 0.10 to either side.",
    "sampling": "The office drew by lot which lessons a supervisor joined; mentors did not choose them.",
    "rating_process": "Both watched the same lesson, in the room or by video, and scored on the same day. "
    "The supervisor did not know earlier levels; the mentor knew the candidate.",
    "independence": "Raters were told to score before they spoke, and to mark a form where they had not.",
}
"""A text an item. What is known of the rubric, what the findings mean and where details are is left open."""


def document() -> str:
    """The file, in the order of the items."""
    lines = ["# What records cannot tell of this study; items left out are shown as gaps in the report."]
    lines += [
        f"{item.name} = {json.dumps(TOLD[item.name], ensure_ascii=False)}"
        for item in items()
        if item.name in TOLD
    ]
    return "\n".join(lines) + "\n"
