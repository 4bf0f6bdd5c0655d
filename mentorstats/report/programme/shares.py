"""Exact shares as columns of a table."""

from __future__ import annotations

import pandas as pd

from mentorstats.report.columns import carried


def share(rows: pd.DataFrame) -> pd.DataFrame:
    """Value, bounds and status of `mentorstats.programme.exact_shares` as the statistic ``share``."""
    return carried(rows.rename(columns={"low": "value_low", "high": "value_high"}), {"value": "share"})
