"""What a rater's link means, in words for whoever runs the programme."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from mentorstats.calibration.networks.codes import RUBRIC_VERSION, Forms
from mentorstats.estimate import Status

SAME_LESSONS, SAME_CANDIDATES, OTHER_ROLE, NONE = "same_lessons", "same_candidates", "other_role", "none"
_MOST_PLACES = 3

_LINKED = {
    SAME_LESSONS: "Rated the same lessons as other raters of the role, directly or in a chain of them.",
    SAME_CANDIDATES: "Rated candidates whom others of the role rated in other lessons; this takes a "
    "candidate to be the same from lesson to lesson but for growth.",
    OTHER_ROLE: "Linked with most others of the role only through raters of another role, who are taken to "
    "keep one standard from candidate to candidate.",
}
_ALONE = (
    "Shares no candidate with others of the role, nor a chain of raters and candidates; compared only by "
    "taking candidates to have come as if at random."
)
_WITHOUT = {
    Status.NO_RECORDS.value: "No rating that could be used.",
    Status.ONE_RATER.value: "Nobody else of the role has ratings, so there is nobody to compare with.",
}


def of_raters(raters: pd.DataFrame, fewest_lessons: float) -> list[str]:
    """Explain the status of each rater; ``raters`` has the other columns of `Linkage.raters`."""
    return [
        _of_rater(*row, fewest_lessons)
        for row in zip(
            raters["status"],
            raters["link"],
            raters["thin"],
            raters["n_in_network"],
            raters["coincides"],
            strict=True,
        )
    ]


def _of_rater(status: str, link: str, thin: bool, n: int, coincides: str, fewest_lessons: float) -> str:
    if status in _WITHOUT:
        return _WITHOUT[status]
    if status == Status.OK.value:
        parts = [_LINKED[link]]
    elif status == Status.NOT_IDENTIFIED.value:
        parts = [f"Nothing tells the rater from {coincides}: nobody else of the role rated there."]
        coincides = ""
    elif n > 1:
        others = f"{n - 1} other{'s' if n > 2 else ''}"
        parts = [
            f"Linked with {others} of the role, but compared with the rest only by taking candidates to have "
            "come as if at random."
        ]
    else:
        parts = [_ALONE]
    if thin and n > 1:
        parts.append(
            f"It, or a group around it, hangs on fewer than {fewest_lessons:g} shared lessons in its network."
        )
    if coincides:
        parts.append(f"A difference from others can also be due to {coincides}.")
    return " ".join(parts)


def place(name: str, values: Sequence[str]) -> str:
    """``site Fern``, ``sites Fern and Moss`` or ``4 sites``."""
    if len(values) > _MOST_PLACES:
        return f"{len(values)} {name}s"
    return f"{name}{'s' * (len(values) > 1)} {listed(values)}"


def listed(items: Sequence[str]) -> str:
    """Items in prose: ``a, b and c``."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def of_rows(found: Forms) -> tuple[str, ...]:
    """What was left out, and what else a reader has to know of the rows."""
    told = [f"{_plural(n, 'rating', 'ratings')} left out: {reason}." for reason, n in found.left_out.items()]
    idle = len(found.raters) - len(np.unique(found.rater))
    if idle:
        told.append(f"{_plural(idle, 'rater has', 'raters have')} no rating that could be used.")
    unknown = int((found.candidates == "").sum())
    if unknown:
        lessons = _plural(unknown, "lesson", "lessons")
        told.append(f"{lessons} without a known candidate, which can link only those who rated it.")
    versions = len(found.names[RUBRIC_VERSION])
    if versions > 1:
        told.append(f"{versions} rubric versions are linked only by raters who used more than one of them.")
    twice = found.raters.get_level_values("rater").duplicated().sum()
    if twice:
        people = _plural(int(twice), "person", "people")
        told.append(f"{people} rated in several roles; each role counts as a rater of its own.")
    return tuple(told)


def _plural(n: int, one: str, many: str) -> str:
    return f"{n:,} {one if n == 1 else many}"
