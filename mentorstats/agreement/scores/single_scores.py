"""Reliability of one rating and of a candidate's mean, each rubric version separately."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.agreement.scores.icc_incomplete import icc_incomplete


def single_scores(long: pd.DataFrame, *, confidence: float, seed: int) -> pd.DataFrame:
    """Intraclass correlations of ratings and of candidates' means, each rubric version apart.

    Parameters
    ----------
    long
        The long table; levels count by their rank. Ratings whose lesson has no known candidate stay out.

    Returns
    -------
    DataFrame
        rubric, rubric_version, object, coefficient and the columns of `icc_incomplete`; no rows where a
        version has fewer than two raters.
    """
    parts = []
    rated = long[long["rank"].notna() & long["candidate"].notna()]
    for key, rows in rated.groupby(VERSION, observed=True, sort=True):
        rubric, version = map(str, key)
        if rows["rater"].nunique() < 2 or rows["candidate"].nunique() < 2:
            continue
        found = icc_incomplete(
            rows,
            unit=["observation", "criterion"],
            rater="rater",
            level="rank",
            nested="candidate",
            confidence=confidence,
            seed=seed,
        )
        parts.append(found.reset_index().assign(rubric=rubric, rubric_version=version))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
