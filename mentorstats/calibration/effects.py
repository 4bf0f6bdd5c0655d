"""What raters may be flagged for: one line an effect.

To add an effect: its module in calibration/raters, its section in the report, one line here, and the policy's
row with its smallest size.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Effect:
    """Something that raters may differ in, and when it is large enough to be flagged.

    Attributes
    ----------
    scale
        Column of the rater table that the policy's row ``smallest`` is about.
    smallest
        That row.
    unit
        Unit of the scale, in words.
    higher, lower
        What a contrast above and below zero means, in words: "the rater …".
    look
        What to look at with the rater.
    explained_by
        Effects that should be looked at first where a rater is flagged for them too, because they can
        produce this one.
    """

    scale: str
    smallest: str
    unit: str
    higher: str
    lower: str
    look: str
    explained_by: tuple[str, ...] = ()


SEVERITY, DRIFT, HALO = "severity", "drift over weeks", "halo"

EFFECTS: Mapping[str, Effect] = {
    SEVERITY: Effect(
        "contrast_level",
        "smallest_effect_level",
        "levels",
        "rates higher than others of the role",
        "rates lower than others of the role",
        "lessons that this rater and others rated, criterion by criterion",
        (DRIFT, HALO),
    ),
    DRIFT: Effect(
        "contrast_level",
        "smallest_drift_level",
        "levels in ten weeks",
        "becomes more lenient over the weeks",
        "becomes stricter over the weeks",
        "early and late lessons of the same candidate",
    ),
    "central tendency": Effect(
        "contrast",
        "smallest_central_tendency",
        "share of the way to the middle",
        "gives middle levels more often",
        "gives the lowest and highest levels more often",
        "lessons at the lowest and highest levels, with the wording of those levels",
        (SEVERITY,),
    ),
    "range restriction": Effect(
        "contrast",
        "smallest_range_restriction",
        "ratio of standard deviations, minus 1",
        "spreads ratings more",
        "spreads ratings less",
        "lessons that others rated very differently",
        (SEVERITY, HALO),
    ),
    HALO: Effect(
        "contrast",
        "smallest_halo",
        "residual correlation among criteria",
        "rates the criteria of a lesson more similarly",
        "rates the criteria of a lesson less similarly",
        "forms on which all criteria have the same level",
        (DRIFT,),
    ),
    "weighted fit": Effect(
        "contrast",
        "smallest_misfit",
        "ratio to what is expected, minus 1",
        "rates more erratically",
        "rates more predictably",
        "the most surprising ratings, with the rater's notes",
        (DRIFT,),
    ),
}
