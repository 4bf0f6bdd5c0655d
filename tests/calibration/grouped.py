"""Invented ratings of candidates of two groups, with what is planted known."""

import numpy as np
import pandas as pd

CUTS = np.array([-1.5, 0.3, 2.0])
CRITERIA = 4


def grouped(
    seed,
    *,
    candidates=72,
    raters=9,
    lessons=3,
    gap=0.0,
    biased=0.0,
    criterion=0.0,
    cut=0.0,
    mentors=0.0,
    scatter=1.0,
    profile=0.0,
    of_rater=0.7,
):
    """Long table and the group of each candidate, a third of them "b".

    Each lesson of a candidate is rated by one of two supervisors in turn; ``mentors`` (a shift for group
    b, not None) adds a mentor of four candidates to every lesson. ``gap`` is the groups' true difference,
    ``biased`` what rater r00 adds for group b, ``criterion`` what criterion k1 does, ``cut`` how much
    higher the middle cut-point lies for b, ``scatter`` the factor of r00's judgements of b, ``profile``
    the standard deviation of candidates' own shifts on a criterion.
    """
    rng = np.random.default_rng(seed)
    b = np.arange(candidates) // raters % 3 == 0
    ability = rng.normal(0, 1, candidates) + gap * b
    own = rng.normal(0, profile, (candidates, CRITERIA))
    severity, of_mentor = rng.normal(0, of_rater, raters), rng.normal(0, 0.7, candidates // 4)
    at = rng.normal(0, 0.4, (candidates, lessons))
    rows = []
    for c in range(candidates):
        for lesson in range(lessons):
            first, second = c % raters, (c + 1 + c // raters) % raters
            who = [("supervisor", f"r{r:02}", severity[r]) for r in (first, second)]
            if mentors is not None:
                who.append(("mentor", f"m{c // 4:02}", of_mentor[c // 4] + mentors * b[c]))
            for role, rater, shift in who:
                theirs = rater == "r00" and b[c]
                for k in range(CRITERIA):
                    judged = rng.logistic() * (scatter if theirs else 1.0) + 0.3 * k + ability[c] + shift
                    judged += at[c, lesson] + own[c, k] + (biased if theirs else 0.0)
                    judged += criterion if b[c] and k == 1 else 0.0
                    cuts = CUTS + np.array([0.0, cut, 0.0]) * b[c]
                    rows.append((c, lesson, role, rater, k, 1 + int((judged > cuts).sum())))
    table = pd.DataFrame(rows, columns=["c", "l", "rater_role", "rater", "k", "rank"])
    long = pd.DataFrame(
        {
            "observation": "o" + table["c"].astype(str) + "-" + table["l"].astype(str),
            "candidate": "c" + table["c"].astype(str),
            "cohort": np.where(table["c"] % 2, "first", "second"),
            "week": 2 + 4 * table["l"],
            "rater": table["rater"],
            "rater_role": table["rater_role"],
            "rubric": "invented",
            "rubric_version": "1",
            "criterion": "k" + table["k"].astype(str),
            "rank": table["rank"].astype("Int8"),
        }
    )
    return long, pd.Series(np.where(b, "b", "a"), index=[f"c{c}" for c in range(candidates)], name="group")
