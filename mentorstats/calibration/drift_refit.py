"""Does a full refit say the same of the raters whose drift passed a screen?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from mentorstats.calibration.base.base import Base, fit_again
from mentorstats.calibration.raters.drift import PERIODS, counted, periods_of_rows, slopes
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value

_VALUES = ("estimate", "se", "low", "high")


@entry()
def refit(base: Base, raters: Sequence[str], *, per: str = "week", confidence: float = 0.95) -> pd.DataFrame:
    """Check the one-step drift of some raters by fitting the model again with their slopes in it.

    Parameters
    ----------
    base
        The base fit.
    raters
        Codes, as after a screen; each one's slope in each role becomes a fixed column. The other raters
        have none, in the refit and in the one-step estimates beside it, so that these are not contrasts
        with the middle of the role.
    per
        ``week`` or ``cycle``.
    confidence
        Coverage of intervals.

    Returns
    -------
    DataFrame
        One row a rater and role, by role and code: rater, rater_role; estimate, se, low, high (refit,
        latent, a week or cycle); one_step, one_step_se; change_in_se (refit less one step, in errors of
        the refit); per, confidence, interval_method, status, status_note, reference.

    Raises
    ------
    ArgumentError
        A rater is unknown; ``per`` is.
    """
    if per not in PERIODS:
        raise ArgumentError(f"per {per!r}", allowed=PERIODS)
    known = counted(base, per)
    unknown = sorted(set(map(str, raters)) - set(known["rater"]))
    if unknown:
        raise ArgumentError(f"no rater {unknown[0]!r} in the fit", where="raters")
    chosen = known[known["rater"].isin(list(map(str, raters)))].sort_values(["rater_role", "rater"])
    out = _blank(chosen, per, confidence)
    period, reason = periods_of_rows(base, per)
    if reason is not None:
        return out.assign(status=reason[0].value, status_note=reason[1])
    if out.empty:
        return out
    columns = slopes(base, period)[:, chosen.index.to_numpy()]
    step = base.one_step(columns)
    told = np.diagonal(step.information) > 0
    if not told.any():
        return out
    estimates, covariance = step.together()
    out.loc[told, "one_step"] = estimates[told]
    out.loc[told, "one_step_se"] = np.sqrt(np.diagonal(covariance))[told]
    names = [f"drift {number}" for number in range(int(told.sum()))]
    added = dict(zip(names, columns[:, np.flatnonzero(told)].toarray().T, strict=True))
    again = fit_again(base, added, more=names, confidence=confidence)
    out.loc[told, "status"], out.loc[told, "status_note"] = again.status.value, again.status_note
    if has_value(again.status):
        for name, values in _coefficients(Base(again, base.rows), confidence).items():
            out.loc[told, name] = values.reindex(names).to_numpy()
        out.loc[told, "interval_method"] = "wald_z"
    out["change_in_se"] = (out["estimate"] - out["one_step"]) / out["se"]
    return out


def _coefficients(again: Base, confidence: float) -> dict[str, pd.Series]:
    """Estimate, error and bounds of each fixed column, the variances of the refit held."""
    names = again.model.names
    estimate = pd.Series(again.joint.beta[-len(names) :], index=names)
    errors = np.sqrt(np.diagonal(again.joint.covariance))[-len(names) :]
    half = stats.norm.ppf((1 + confidence) / 2) * errors
    filled = (estimate, pd.Series(errors, index=names), estimate - half, estimate + half)
    return dict(zip(_VALUES, filled, strict=True))


def _blank(chosen: pd.DataFrame, per: str, confidence: float) -> pd.DataFrame:
    out = chosen[["rater", "rater_role"]].reset_index(drop=True)
    for name in (*_VALUES, "one_step", "one_step_se", "change_in_se"):
        out[name] = math.nan
    return out.assign(
        per=per,
        confidence=confidence,
        interval_method="none",
        status=Status.NOT_IDENTIFIED.value,
        status_note="The records do not hold this rater's drift.",
        reference="rao_1948",
    )
