"""The first and last columns of tables of raters: who, on how many ratings, with which status."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.calibration.base import Base
from mentorstats.estimate import Status, has_value

Floats = NDArray[np.float64]

FEW_RATINGS = 10  # below it the status is sparse_raters; common practice, no source
CONTRAST_Z = "one_step_z"


def rater_rows(base: Base) -> pd.DataFrame:
    """Rater, role and counts, one row a rater and role, in the order of ``base.raters``.

    Also where the base fit has no value. ``leniency_level`` is the shrunken shift on the level scale.
    """
    keys = ["rater", "rater_role"]
    counted = base.rows.groupby(keys, observed=True, as_index=False).agg(
        n_ratings=("rank", "size"),
        n_lessons=("observation", "nunique"),
        n_candidates=("candidate", "nunique"),
    )
    counted["leniency_level"] = (
        base.on_level_scale(base.joint.b[base.raters["column"].to_numpy()])
        if has_value(base.status)
        else np.nan
    )
    return counted


def contrast_columns(contrast: Floats, se: Floats, confidence: float) -> dict[str, Floats]:
    """Contrast, error, bounds and two-sided p-value by the normal distribution."""
    half = norm.ppf(0.5 + confidence / 2) * se
    return {
        "contrast": contrast,
        "contrast_se": se,
        "contrast_low": contrast - half,
        "contrast_high": contrast + half,
        "p": np.asarray(2 * norm.sf(np.abs(contrast) / se)),
    }


def with_status(
    rows: pd.DataFrame,
    *,
    value: str,
    confidence: float,
    method: str,
    missing: Status,
    why: str,
    reference: str,
) -> pd.DataFrame:
    """Add the last columns.

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
    return rows.assign(
        confidence=confidence,
        interval_method=np.where(none, "none", method),
        status=status.mask(none, missing.value),
        status_note=note.mask(none, why),
        reference=reference,
    )


def finished(
    rows: pd.DataFrame,
    *,
    value: str,
    confidence: float,
    method: str,
    missing: Status,
    why: str,
    reference: str,
) -> pd.DataFrame:
    """`with_status`, in the order of role and rater."""
    out = with_status(
        rows, value=value, confidence=confidence, method=method, missing=missing, why=why, reference=reference
    )
    return out.sort_values(["rater_role", "rater"]).reset_index(drop=True)


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
