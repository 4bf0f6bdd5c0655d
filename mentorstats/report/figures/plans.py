"""The figure of plans for a file of its own, and its words."""

from __future__ import annotations

from mentorstats.errors import ArgumentError
from mentorstats.reliability import figures
from mentorstats.reliability.plans.visit_plans import VisitPlans
from mentorstats.report.figures import drawing
from mentorstats.report.numbers import count, number

_WIDTH, _HEIGHT = 8.6, 5.0  # inches


def picture(plans: VisitPlans, kind: str) -> bytes:
    """Draw the figure for a file of its own, ``png`` or ``svg``.

    Raises
    ------
    ArgumentError
        No plan has a value, or too many numbers of raters.
    """
    if plans.estimable.empty:
        raise ArgumentError("no plan has a value, so there is nothing to draw", remedy="Leave out --figure.")
    return drawing.picture(
        lambda canvas: figures.plans(plans, canvas.subplots()), kind=kind, width=_WIDTH, height=_HEIGHT
    )


def alt(plans: VisitPlans) -> str:
    """Words for who cannot see the figure."""
    shown = plans.estimable
    lines = []
    for n_raters in sorted(shown["n_raters"].unique()):
        rows = shown[shown["n_raters"] == n_raters].sort_values("n_visits")
        start, end = (number(rows["dependability"].iloc[at], "zero_one") for at in (0, -1))
        first, last = (int(rows["n_visits"].iloc[at]) for at in (0, -1))
        lines.append(
            f"{count(int(n_raters), 'rater')}: {start} with {count(first, 'visit')}, {end} with {last}"
        )
    wanted = number(plans.target, "zero_one")
    reached = shown[shown["dependability"] >= plans.target]
    within = f"{len(reached)} of {count(len(shown), 'plan')} reach it"
    return (
        f"Dependability by visits, a line for each number of raters. {'; '.join(lines)}. A line marks the "
        f"{wanted} wanted; {within}."
    )
