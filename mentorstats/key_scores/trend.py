"""Do raters as a whole move against the key? The only thing in the records that bounds their mean drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.agreement.coefficients.means import linearised
from mentorstats.entry import entry
from mentorstats.errors import need_columns
from mentorstats.estimate import Estimate, Status, to_frame
from mentorstats.key_scores.recordings import TEN_WEEKS, recordings

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

WITHIN = ("within raters", "within raters and recordings")
_SINGULAR = 1e-10  # of the largest singular value: recordings that raters' own means hold already
_NOTHING = 1e-9  # of the variation of days: less is rounding
_SAME_DAY = "No rater scored on more than one day."
_ALIASED = (
    "Every recording was scored on the same days by all, so that harder recordings cannot be told from a "
    "drift of the raters."
)
_EXACT = "The bias of every rater is the same on all days."


@entry()
def key_trend(
    key_ratings: pd.DataFrame,
    *,
    levels: Sequence[object] | None = None,
    by: str | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Mean drift on key-scored recordings: slope of the bias over days, raters and recordings apart.

    Parameters
    ----------
    key_ratings
        The table ``key_ratings`` (`key_recordings.COLUMNS`).
    levels
        Every declared level, lowest first; required unless both level columns are ordered categoricals.
    by
        A column of groups of raters, such as their role; each is taken alone.
    confidence
        Coverage of the interval.

    Returns
    -------
    DataFrame
        Indexed by ``by``, if given, and term. ``within raters``: every rater has a level of its own;
        ``within raters and recordings``: so does every recording, which needs recordings that different
        raters scored at different times. value (levels in ten weeks; below zero is stricter), se, low,
        high, confidence, interval_method (``linearised_t``), n_units (recordings scored), n_raters,
        n_ratings, n_clusters (raters with more than one day), n_left_out, status, status_note, reference.

    Raises
    ------
    ColumnError, ArgumentError, DuplicateRatingError
        As `key_recordings.recordings`; ``confidence`` is no fraction.

    Notes
    -----
    Least squares on one value a recording; errors between raters [liang_zeger_1986], with raters / (raters
    − 1) and Student's t, raters − 1. Each scored recording counts alike.
    """
    if by is None or key_ratings.empty:
        scored = recordings(key_ratings, levels=levels)
        return to_frame(_trends(scored.rows, scored.n_left_out, confidence), index="term")
    need_columns(key_ratings.columns, [by], where="key ratings")
    groups = key_ratings.groupby(by, observed=True, sort=True)
    parts = {str(name): key_trend(rows, levels=levels, confidence=confidence) for name, rows in groups}
    return pd.concat(parts, names=[by])


def _trends(rows: pd.DataFrame, n_left_out: int, confidence: float) -> list[Estimate]:
    rater, _ = pd.factorize(rows["rater"], sort=True)
    recording, _ = pd.factorize(rows["recording"], sort=True)
    time = (rows["date"] - rows["date"].min()).dt.total_seconds().to_numpy(dtype=np.float64) / TEN_WEEKS
    bias = rows["bias"].to_numpy(dtype=np.float64)
    out = []
    for name in WITHIN:
        bare = Estimate(
            name=name,
            n_units=len(rows),
            n_raters=int(rater.max(initial=-1)) + 1,
            n_ratings=int(rows["n_ratings"].sum()),
            n_left_out=n_left_out,
            reference="liang_zeger_1986",
        )
        if rows.empty:
            out.append(replace(bare, status=Status.NO_RECORDS, status_note="No recording was scored."))
            continue
        left = [_without(values, rater, recording if name == WITHIN[1] else None) for values in (time, bias)]
        out.append(_slope(bare, left[0], left[1], rater, time, confidence))
    return out


def _without(values: Floats, rater: Codes, recording: Codes | None) -> Floats:
    """What is left of the values without raters' own means, and without recordings'."""
    count = np.bincount(rater)
    about = values - (np.bincount(rater, values) / count)[rater]
    if recording is None:
        return np.asarray(about)
    dummies = np.eye(int(recording.max()) + 1)[recording]
    sums = np.zeros((len(count), dummies.shape[1]))
    np.add.at(sums, rater, dummies)
    dummies = dummies - (sums / count[:, None])[rater]
    fitted = np.linalg.lstsq(dummies, about, rcond=_SINGULAR)[0]
    return np.asarray(about - dummies @ fitted)


def _slope(bare: Estimate, x: Floats, y: Floats, rater: Codes, time: Floats, confidence: float) -> Estimate:
    total, spread = float(x @ x), float(((time - time.mean()) ** 2).sum())
    if total <= _NOTHING * spread or spread == 0:
        within = time - (np.bincount(rater, time) / np.bincount(rater))[rater]
        note = _ALIASED if within @ within > _NOTHING * spread > 0 else _SAME_DAY
        return replace(bare, status=Status.NOT_IDENTIFIED, status_note=note)
    value = float(x @ y) / total
    told = np.bincount(rater, x**2) > _NOTHING * total
    sums = np.bincount(rater, x * (y - value * x)) / total
    return linearised(replace(bare, value=value), sums, int(told.sum()), confidence, of="raters", same=_EXACT)
