"""What the invented programme says of itself: study, policy, and a judgement of the rubric's versions."""

import json

from mentorstats.declared.study import items
from mentorstats.demo.rubric import Rubric

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


RULES = {"certification_recordings": 5, "certification_exact": 0.8}
"""Threshold of each rule of certification that the programme has set."""

_ROW = """
[[rule]]
id = "{id}"
value = {value}
inequality = ">="
unit = "{unit}"
source = "common practice, no source"
kind = "convention"
effective_from = 2023-09-01
meaning = "Decided by the programme."
"""
_UNITS = {"certification_recordings": "recordings", "certification_exact": "fraction of ratings"}


def study() -> str:
    """Return ``study.toml``, in the order of the items."""
    lines = ["# What records cannot tell of this study; items left out are shown as gaps in the report."]
    lines += [
        f"{item.name} = {json.dumps(TOLD[item.name], ensure_ascii=False)}"
        for item in items()
        if item.name in TOLD
    ]
    return "\n".join(lines) + "\n"


def policy() -> str:
    """Return ``policy.toml``: what the programme has decided for itself."""
    rows = [_ROW.format(id=name, value=value, unit=_UNITS[name]) for name, value in RULES.items()]
    return "# Rules of this programme; all others are the shipped ones.\n" + "".join(rows)


def crosswalk(rubric: Rubric) -> str:
    """Return ``crosswalk.toml``: criteria that kept code and wording are counterparts, and no others are."""
    (old, before), (new, after) = rubric.versions.items()
    lines = [
        "# Which criteria and levels of the two versions somebody judged to be the same.",
        "[[crosswalk]]",
        f"rubric = {json.dumps(rubric.name)}",
        f"from = {json.dumps(old)}",
        f"to = {json.dumps(new)}",
        'author = "Rubric working group"',
        "date = 2025-06-12",
        'note = "Criteria whose wording changed are not counterparts."',
        "[crosswalk.criteria]",
        *(
            f"{code} = {json.dumps(code) if after.get(code) == title else '[]'}"
            for code, title in before.items()
        ),
    ]
    return "\n".join(lines) + "\n"
