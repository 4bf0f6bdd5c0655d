"""Shares of yes among cases, by group, with exact intervals."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from statsmodels.stats.proportion import proportion_confint

from mentorstats.estimate import Status


def exact_shares(cases: pd.DataFrame, by: Sequence[str], *, confidence: float = 0.95) -> pd.DataFrame:
    """Share of cases for which ``kept`` is true, with the interval of Clopper and Pearson.

    Parameters
    ----------
    cases
        One row a case: ``kept`` (true, false, or missing where it is not known), ``candidate``, and the
        columns of ``by``, whose missing values are a group of their own.
    by
        Columns whose values name a group.
    confidence
        Nominal coverage, a fraction.

    Returns
    -------
    DataFrame
        One row a group, in the order of its labels: value, low, high, confidence, interval_method, n_units
        (known cases), n_kept, n_left_out (unknown ones), n_candidates (of known cases), status, reference.
        A group without a known case has no value and the status ``no_records``.

    Notes
    -----
    Exact for independent cases [clopper_pearson_1934]; cases of one candidate or rater that resemble each
    other make it too narrow.
    """
    known = cases["kept"].notna()
    counted = cases.assign(
        n_units=known.astype(np.int64),
        n_kept=cases["kept"].fillna(False).astype(np.int64),
        n_left_out=(~known).astype(np.int64),
        candidate=cases["candidate"].where(known),
    )
    groups = counted.groupby(list(by), dropna=False, observed=True)
    found = groups[["n_units", "n_kept", "n_left_out"]].sum()
    found["n_candidates"] = groups["candidate"].nunique()
    there = found["n_units"].to_numpy() > 0
    kept, units = found["n_kept"].to_numpy(), np.where(there, found["n_units"], 1)
    low, high = proportion_confint(kept, units, alpha=1 - confidence, method="beta")
    for name, numbers in (("value", kept / units), ("low", low), ("high", high)):
        found[name] = np.where(there, numbers, np.nan)
    found["confidence"] = confidence
    found["interval_method"] = np.where(there, "clopper_pearson", "none")
    found["status"] = np.where(there, Status.OK.value, Status.NO_RECORDS.value)
    found["reference"] = "clopper_pearson_1934"
    return found
