"""Do mentors rate their own candidates higher than others who watched would?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.calibration.base.base import Base
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.engines.model import ROUNDING
from mentorstats.tables import truths

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

AGAINST_VISITORS = "own mentors against visiting mentors"
METHOD = "one_step_z"
ALIASED = (
    "No mentor rated both an own candidate and another's. A difference from other roles may come from the "
    "role or from knowing the candidate; the two cannot be distinguished."
)
_NOBODY = "No rating is by the candidate's own mentor."
_HOLDS_ROLE = "Includes all else in which roles differ: what they look for, when they come, their training."
_ROLES_ALIASED = "The roles cannot be distinguished from other terms of the model."


@entry(keep_index=True)
def is_own_mentor(rows: pd.DataFrame, placements: pd.DataFrame) -> pd.Series:
    """Whether each rating is by the mentor of the placement it belongs to.

    Parameters
    ----------
    rows
        The long table or ``Base.rows``, with ``placement`` and ``rater``.
    placements
        One row a placement, with ``placement`` and ``mentor``.

    Returns
    -------
    Series
        Nullable boolean, index as ``rows``; missing where the placement or its mentor is not recorded.
    """
    need_columns(rows.columns, ("placement", "rater"), where="rows")
    need_columns(placements.columns, ("placement", "mentor"), where="placements")
    twice = placements[placements["placement"].duplicated()]
    if len(twice):
        raise ArgumentError(
            f"placement {twice['placement'].iloc[0]!r} stands in two rows",
            where="placements",
            remedy="Keep one row a placement; `mentorstats check` lists all.",
        )
    mentors = placements.set_index(placements["placement"].astype("str"))["mentor"]
    mentor = rows["placement"].astype("str").map(mentors)
    own = (mentor.astype("str") == rows["rater"].astype("str")).astype("boolean")
    return own.mask(mentor.isna())


@entry()
def own_mentor_difference(
    base: Base, own_mentor: str | pd.Series | Sequence[object], *, confidence: float = 0.95
) -> pd.DataFrame:
    """Ratings by the candidate's own mentor against those of others, other things equal.

    One Newton step from the base fit for one column [rao_1948], so within the model's raters, candidates
    and lessons. With the roles in the model the column compares own mentors with raters of their role who
    visit: identified only where mentors also rate others' candidates. The difference from other roles is
    that of the roles as well: it stands beside it, and where mentors never visit it is all there is.

    Parameters
    ----------
    base
        From `base_fit`.
    own_mentor
        Column of ``base.rows``, or one value a row of it, as `is_own_mentor` gives; missing counts as
        not known, and such rows as not by the own mentor (``n_left_out``).
    confidence
        Of the intervals.

    Returns
    -------
    DataFrame
        One row a comparison: ``value``, ``se``, ``low``, ``high``, ``p`` latent, ``value_level`` with
        bounds in ranks of a middling candidate; positive where the first named rate higher. ``n_ratings``
        by the first named, ``n_others`` by the others, ``n_both`` raters who gave ratings of both kinds.
        The first row is that of own mentors; the others are the differences of their role from each other
        role in the base fit, where own and visiting mentors are together.
    """
    own, unknown = _own(base, own_mentor)
    roles = base.rows["rater_role"].to_numpy(dtype=object)
    home = str(pd.Series(roles[own]).mode().iloc[0]) if own.any() else ""
    visiting = ~own & (roles == home)
    rows = [_row(base, AGAINST_VISITORS, own, visiting, _visitors(base, own, visiting), confidence)]
    for role in sorted(set(roles) - {home}) if own.any() else []:
        found = _roles(base, home, role)
        rows.append(_row(base, f"{home} against {role}", roles == home, roles == role, found, confidence))
    return pd.DataFrame(rows).assign(n_left_out=unknown)


def _own(base: Base, own_mentor: str | pd.Series | Sequence[object]) -> tuple[Bools, int]:
    if isinstance(own_mentor, str):
        need_columns(base.rows.columns, (own_mentor,), where="base.rows")
        own_mentor = base.rows[own_mentor]
    values = truths(pd.Series(list(own_mentor), name="own_mentor", dtype="object"), "own_mentor")
    if len(values) != len(base.rows):
        raise ArgumentError(
            f"{len(values)} values of own_mentor", allowed=f"{len(base.rows)}, one a row of base.rows"
        )
    return values.fillna(False).to_numpy(dtype=bool), int(values.isna().sum())


@dataclass(frozen=True, slots=True)
class _Found:
    value: float = np.nan
    se: float = np.nan
    method: str = "none"
    status: Status = Status.OK
    note: str = ""
    reference: str = "rao_1948"


def _visitors(base: Base, own: Bools, visiting: Bools) -> _Found:
    """Own mentors against visiting raters of their role, by one step."""
    if not has_value(base.status):
        return _Found(status=base.status, note=base.status_note)
    if not own.any():
        return _Found(status=Status.NO_RECORDS, note=_NOBODY)
    value, se = (float(each[0]) for each in base.one_step(own.astype(float)[:, None]).alone())
    if not visiting.any() or np.isnan(value):
        return _Found(status=Status.NOT_IDENTIFIED, note=ALIASED)
    return _Found(value, se, METHOD)


def _roles(base: Base, home: str, role: str) -> _Found:
    """The role of own mentors against another, as fitted: own and visiting ratings together."""
    if not has_value(base.status):
        return _Found(status=base.status, note=base.status_note)
    model, joint = base.model, base.joint
    frame = base.rows.iloc[[0, 0]].assign(rater_role=[home, role])
    wide = np.asarray([1.0, -1.0] @ model.layout.matrix(frame))[None, :]
    if (np.abs(model.beyond(wide, np.zeros((1, model.lead)))) > ROUNDING).any():
        return _Found(status=Status.NOT_IDENTIFIED, note=_ROLES_ALIASED)
    x = np.zeros(len(joint.beta))
    cuts = model.levels.problem.c
    x[cuts : cuts + len(model.columns)] = wide[0, list(model.columns)]
    se = float(np.sqrt(x @ joint.covariance @ x))
    return _Found(float(x @ joint.beta), se, "wald_z", Status.OK, _HOLDS_ROLE, "henderson_1975")


def _row(
    base: Base, name: str, those: Bools, others: Bools, found: _Found, confidence: float
) -> dict[str, object]:
    half = norm.ppf(0.5 + confidence / 2) * found.se
    bounds = {"": found.value, "_low": found.value - half, "_high": found.value + half}
    both = set(base.rows["rater"][those]) & set(base.rows["rater"][others])
    return {
        "comparison": name,
        "n_ratings": int(those.sum()),
        "n_others": int(others.sum()),
        "n_both": len(both),
        **{f"value{end}" if not end else end[1:]: at for end, at in bounds.items()},
        "se": found.se,
        "p": 2 * float(norm.sf(abs(found.value) / found.se)) if found.se > 0 else np.nan,
        **{f"value_level{end}": _on_level_scale(base, at) for end, at in bounds.items()},
        "confidence": confidence,
        "interval_method": found.method,
        "status": found.status.value,
        "status_note": found.note,
        "reference": found.reference,
    }


def _on_level_scale(base: Base, shift: float) -> float:
    return float(base.on_level_scale(np.array(shift))) if has_value(base.status) else np.nan
