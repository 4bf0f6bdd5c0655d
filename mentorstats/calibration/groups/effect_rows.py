"""Estimates with errors as rows of a result: interval, p-value, size on the level scale, verdict, power."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import false_discovery_control

from mentorstats.calibration.groups.equivalence import power_to_see, power_to_show_equivalence, verdicts
from mentorstats.calibration.raters.rater_rows import contrast_columns
from mentorstats.estimate import Status

Floats = NDArray[np.float64]

WALD = "one_step_z"


def rows(
    estimate: Floats,
    se: Floats,
    *,
    bound: float,
    confidence: float,
    scale: Callable[[Floats], Floats],
    slope: Floats | float,
    suffix: str,
    reference: str,
) -> pd.DataFrame:
    """One row an effect.

    Parameters
    ----------
    estimate, se
        On the latent scale, (n,); NaN where there is none.
    bound
        Smallest effect that matters, in units of ``scale``'s result.
    scale, slope
        From the latent scale to one that readers know, rising, and its slope at zero, (n,) or a number.
    suffix
        Of the columns on that scale: ``contrast_level`` for ``level``.
    """
    latent = contrast_columns(estimate, se, confidence)
    known = ~np.isnan(estimate)
    ends = (latent[name] for name in ("contrast", "contrast_low", "contrast_high"))
    on_scale = [scale(each) if len(each) else each for each in ends]
    return pd.DataFrame(
        {
            **latent,
            f"contrast_{suffix}": on_scale[0],
            f"contrast_{suffix}_low": on_scale[1],
            f"contrast_{suffix}_high": on_scale[2],
            "bound": bound,
            "equivalence": verdicts(on_scale[1], on_scale[2], bound),
            "power_equivalent": power_to_show_equivalence(se * slope, bound, confidence=confidence),
            "power_see": power_to_see(se * slope, bound, confidence=confidence),
            "confidence": confidence,
            "interval_method": np.where(known, WALD, "none"),
            "status": np.where(known, Status.OK.value, Status.NOT_IDENTIFIED.value),
            "status_note": np.where(known, "", "the ratings hold nothing about it"),
            "reference": reference,
        }
    )


def adjusted(p: Floats) -> Floats:
    """P-values of one family by its false-discovery rate [benjamini_hochberg_1995]; NaN stay."""
    found = np.array(p, dtype=np.float64)
    known = ~np.isnan(found)
    if known.any():
        found[known] = false_discovery_control(found[known], method="bh")
    return found
