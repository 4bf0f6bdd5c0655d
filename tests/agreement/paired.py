"""Pairs of ranks from a table of counts."""

import numpy as np
import pandas as pd


def pairs(table, version="1", criterion="k"):
    """Pairs of ranks with these counts, two lessons a candidate."""
    counts = np.asarray(table)
    first, second = np.unravel_index(np.repeat(np.arange(counts.size), counts.ravel()), counts.shape)
    n = len(first)
    return pd.DataFrame(
        {
            "observation": [f"o{place}" for place in range(n)],
            "rubric": "r",
            "rubric_version": version,
            "criterion": criterion,
            "candidate": [f"c{place // 2}" for place in range(n)],
            "rater_first": "m",
            "rater_second": "s",
            "rater_role_first": "mentor",
            "rater_role_second": "supervisor",
            "level_first": first + 1,
            "level_second": second + 1,
            "rank_first": first + 1,
            "rank_second": second + 1,
            "difference": first - second,
            "independent": True,
        }
    )


def rubrics(ranks, versions=("1",)):
    rows = [("r", version, "k", rank) for version in versions for rank in range(1, ranks + 1)]
    return pd.DataFrame(rows, columns=["rubric", "version", "criterion", "rank"])
