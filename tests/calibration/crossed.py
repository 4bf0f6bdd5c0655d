"""Candidates with two raters each, all criteria of all lessons rated: the plainest of programmes."""

import numpy as np
import pandas as pd


def programme(seed: int, *, candidates: int = 60, raters: int = 12, criteria: int = 4, lessons: int = 3):
    """Draw candidates with two raters each from twelve, all rating all criteria of all lessons."""
    rng = np.random.default_rng(seed)
    ability, severity = rng.normal(0, 1, candidates), rng.normal(0, 0.7, raters)
    rows = []
    for c in range(candidates):
        for lesson in range(lessons):
            for rater in (c % raters, (c + 1 + c // raters) % raters):
                for criterion in range(criteria):
                    eta = ability[c] + severity[rater] + 0.3 * criterion + rng.logistic()
                    rank = 1 + int(np.searchsorted([-1.5, 0.3, 2.0], eta))
                    rows.append((c, lesson, rater, criterion, rank))
    table = named(rows)
    return table.assign(cohort=np.where(table["candidate"].str[1:].astype(int) % 2, "first", "second"))


def named(rows):
    """Candidate, lesson, rater, criterion and rank by number, as a long table."""
    table = pd.DataFrame(rows, columns=["c", "l", "r", "k", "rank"])
    return pd.DataFrame(
        {
            "observation": "o" + table["c"].astype(str) + "-" + table["l"].astype(str),
            "candidate": "c" + table["c"].astype(str),
            "cohort": "one",
            "week": 2 + 4 * table["l"],
            "rater": "r" + table["r"].astype(str).str.zfill(2),
            "rater_role": "supervisor",
            "rubric": "invented",
            "rubric_version": "1",
            "criterion": "k" + table["k"].astype(str),
            "rank": table["rank"].astype("Int8"),
        }
    )
