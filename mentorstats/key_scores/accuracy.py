"""How far is one rater from the key, and in which way?

The sample is recordings, not ratings: every interval is between recordings. Levels count 1, 2, … here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from mentorstats.agreement.coefficients.coefficients import estimate
from mentorstats.agreement.coefficients.means import clustered
from mentorstats.agreement.coefficients.members import Asked, kinds
from mentorstats.agreement.counts.tabulate import from_grid
from mentorstats.estimate import Estimate, Status

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

COMPONENTS = ("elevation", "differential_elevation", "stereotype_accuracy", "differential_accuracy")

_OF_FAMILY = {"exact": "percent_agreement", "adjacent": "percent_adjacent", "weighted_kappa": "cohen_kappa"}
_SAME = "Every rating is as far from the key."


@dataclass(frozen=True, slots=True)
class Scored:
    """One rater's levels and the key's, one entry a recording and criterion.

    Attributes
    ----------
    level, key : integer arrays (n,)
        Codes from zero, lowest level first.
    recording, criterion : integer arrays (n,)
        Codes from zero without gaps.
    """

    level: Codes
    key: Codes
    recording: Codes
    criterion: Codes

    @property
    def n_recordings(self) -> int:
        """Recordings with at least one level."""
        return int(self.recording.max()) + 1 if len(self.recording) else 0

    @property
    def distance(self) -> Array:
        """Level less key level, in levels (n,)."""
        return (self.level - self.key).astype(float)

    def only(self, chosen: npt.NDArray[np.bool_]) -> Scored:
        """Return the entries chosen."""
        recording = np.unique(self.recording[chosen], return_inverse=True)[1]
        criterion = np.unique(self.criterion[chosen], return_inverse=True)[1]
        return Scored(self.level[chosen], self.key[chosen], recording, criterion)


def of_family(scored: Scored, asked: Asked, names: Sequence[str] = tuple(_OF_FAMILY)) -> dict[str, Estimate]:
    """Exact and adjacent agreement with the key, and kappa by the weights of ``asked``."""
    grid = np.column_stack([scored.level, scored.key])
    table = from_grid(grid, q=len(asked.levels), cluster=scored.recording[:, None])
    members = {kind.name: kind for kind in kinds(asked, 2)}
    found = {name: estimate(members[_OF_FAMILY[name]], table, asked, None, None) for name in names}
    return {name: replace(one, name=name) for name, one in found.items()}


def largest_discrepancy(scored: Scored) -> Estimate:
    """Distance of the rating that is farthest from the key: what was seen, without an interval."""
    return Estimate(
        name="largest_discrepancy",
        value=float(np.abs(scored.distance).max()),
        n_units=len(scored.level),
        n_clusters=scored.n_recordings,
    )


def by_criterion(scored: Scored, asked: Asked) -> list[Estimate]:
    """Exact agreement on each criterion, in the order of the criteria's codes."""
    return [
        of_family(scored.only(scored.criterion == number), asked, ("exact",))["exact"]
        for number in range(int(scored.criterion.max()) + 1)
    ]


def distances(scored: Scored, confidence: float) -> list[Estimate]:
    """Bias, mean absolute error and mean squared error."""
    d = scored.distance
    return [
        clustered(name, values, scored.recording, confidence, of="recordings", same=_SAME)
        for name, values in (
            ("bias", d),
            ("mean_absolute_error", np.abs(d)),
            ("mean_squared_error", d**2),
        )
    ]


def components(scored: Scored) -> list[Estimate]:
    """Cronbach's four components, or ``not_identified`` where the table has a gap."""
    shape = (scored.n_recordings, int(scored.criterion.max()) + 1)
    n = len(scored.level)
    bare = [
        Estimate(name=name, n_units=n, n_clusters=shape[0], reference="cronbach_1955") for name in COMPONENTS
    ]
    if n != shape[0] * shape[1]:
        note = "The table of recordings by criteria has gaps, so the components would not add up."
        return [replace(one, status=Status.NOT_IDENTIFIED, status_note=note) for one in bare]
    table = np.empty(shape)
    table[scored.recording, scored.criterion] = scored.distance
    values = cronbach(table)
    return [replace(one, value=values[one.name]) for one in bare]


def cronbach(distance: Array) -> Mapping[str, float]:
    """Split the mean squared error of one rater [cronbach_1955].

    Parameters
    ----------
    distance : array (recordings, criteria)
        Level less key level, complete.

    Returns
    -------
    mapping
        ``elevation`` (the rater's overall mean against the key's), ``differential_elevation`` (the
        recordings' means), ``stereotype_accuracy`` (the criteria's means) and
        ``differential_accuracy`` (what is left), each squared; they add up to the mean squared error.
        Small is accurate. Chance errors enter all four, the last most.
    """
    overall = distance.mean()
    of_recording = distance.mean(axis=1) - overall
    of_criterion = distance.mean(axis=0) - overall
    rest = distance - overall - of_recording[:, None] - of_criterion[None, :]
    parts = (overall**2, (of_recording**2).mean(), (of_criterion**2).mean(), (rest**2).mean())
    return dict(zip(COMPONENTS, map(float, parts), strict=True))


def lowest(found: list[Estimate], names: list[str]) -> Estimate:
    """Return the estimate of the criterion with the least exact agreement, named in the note."""
    at = int(np.argmin([one.value if not math.isnan(one.value) else math.inf for one in found]))
    note = f"Criterion {names[at]}. {found[at].status_note}".strip()
    return replace(found[at], name="criterion_floor", status_note=note)
