"""The first and last columns of tables of raters: who, on how many ratings, with which status."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.calibration.base.base import Base
from mentorstats.estimate import Status, has_value

Floats = NDArray[np.float64]

FEW_RATINGS = 10  # below it the status is sparse_raters; common practice, no source
CONTRAST_Z = "one_step_z"
EFFECT = ("effect", "se", "low", "high")
CONTRAST = ("contrast", "contrast_se", "contrast_low", "contrast_high")
ON_LEVELS = {  # columns on the level scale, by the latent ones
    "effect_level": "effect",
    "effect_level_low": "low",
    "effect_level_high": "high",
    "contrast_level": "contrast",
    "contrast_level_low": "contrast_low",
    "contrast_level_high": "contrast_high",
}


def rater_rows(base: Base) -> pd.DataFrame:
    """Rater, role and counts, one row a rater and role, in the order of ``base.raters``.

    Also where the base fit has no value. ``leniency_level`` is the shrunken shift on the level scale.
    """
    if not has_value(base.status):
        return base.counted.assign(leniency_level=np.nan)
    own = base.raters["column"].to_numpy()
    return base.counted.assign(leniency_level=base.on_level_scale(base.joint.b[own]))


def interval_columns(names: Sequence[str], value: Floats, se: Floats, confidence: float) -> dict[str, Floats]:
    """Value, error and bounds by the normal distribution, under four names."""
    half = norm.ppf(0.5 + confidence / 2) * se
    return dict(zip(names, (value, se, value - half, value + half), strict=True))


def contrast_columns(contrast: Floats, se: Floats, confidence: float) -> dict[str, Floats]:
    """Contrast, error, bounds and two-sided p-value by the normal distribution."""
    return interval_columns(CONTRAST, contrast, se, confidence) | {
        "p": np.asarray(2 * norm.sf(np.abs(contrast) / se))
    }


def finished(
    rows: pd.DataFrame,
    *,
    value: str,
    confidence: float,
    method: str,
    missing: Status,
    why: str,
    reference: str,
    by: Sequence[str] = ("rater_role", "rater"),
) -> pd.DataFrame:
    """Add the last columns, in the order of ``by``.

    Parameters
    ----------
    value
        The column without which a row has no value.
    missing, why
        Status and note of rows without a value.
    """
    none = rows[value].isna()
    few = (rows["n_ratings"] < FEW_RATINGS) & ~none
    status = pd.Series(Status.OK.value, index=rows.index).mask(few, Status.SPARSE_RATERS.value)
    note = pd.Series("", index=rows.index).mask(few, f"Fewer than {FEW_RATINGS} ratings.")
    told = rows.assign(
        confidence=confidence,
        interval_method=np.where(none, "none", method),
        status=status.mask(none, missing.value),
        status_note=note.mask(none, why),
        reference=reference,
    )
    return told.sort_values(list(by), ignore_index=True)


def without_fit(base: Base, columns: tuple[str, ...], confidence: float, reference: str) -> pd.DataFrame:
    """Return the table of a base fit that has no value: every rater with the status of the fit."""
    rows = rater_rows(base).assign(**dict.fromkeys(columns, np.nan))
    return finished(
        rows,
        value=columns[0],
        confidence=confidence,
        method="none",
        missing=base.status,
        why=base.status_note,
        reference=reference,
    )
