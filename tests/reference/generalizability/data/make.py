"""Write the invented scores: lessons in candidates by raters, candidates by raters in occasions, ordinary visits.

Run: python make.py
"""

from pathlib import Path

import numpy as np
import pandas as pd


def effect(generator, variance, *keys):
    """One draw for each combination of the keys that occurs."""
    members = pd.MultiIndex.from_arrays(keys)
    codes = pd.factorize(members)[0]
    return np.sqrt(variance) * generator.standard_normal(codes.max() + 1)[codes]


def visits():
    generator = np.random.default_rng(11)
    table = pd.MultiIndex.from_product([range(30), range(4), range(6)], names=["candidate", "lesson", "rater"])
    s = table.to_frame(index=False)
    s["week"] = s.lesson * 3 + s.candidate % 3
    s["score"] = 5 + 0.1 * s.week + effect(generator, 0.4, s.candidate) + effect(generator, 0.1, s.rater)
    s["score"] += effect(generator, 0.15, s.candidate, s.rater)
    s["score"] += effect(generator, 0.15, s.candidate, s.lesson) + effect(generator, 0.3, s.index)
    return s[generator.random(len(s)) < 0.45]


def nested():
    generator = np.random.default_rng(12)
    table = pd.MultiIndex.from_product([range(25), range(6), range(3)], names=["candidate", "occasion", "rater"])
    s = table.to_frame(index=False)
    s["score"] = 5 + effect(generator, 0.4, s.candidate) + effect(generator, 0.2, s.occasion)
    s["score"] += effect(generator, 0.15, s.occasion, s.rater)
    s["score"] += effect(generator, 0.2, s.candidate, s.occasion) + effect(generator, 0.3, s.index)
    return s[generator.random(len(s)) < 0.7]


def spanning():
    """Two raters a candidate: three lessons seen by one of them, one by both, so one effect a row."""
    generator = np.random.default_rng(13)
    rows = []
    for candidate in range(40):
        first, second = candidate % 8, (candidate + 1 + candidate // 8) % 8
        seen = ((first,), (second,), (first,), (first, second))
        rows += [(candidate, 4 * candidate + k, rater) for k, raters in enumerate(seen) for rater in raters]
    s = pd.DataFrame(rows, columns=["candidate", "lesson", "rater"])
    s["score"] = 5 + effect(generator, 0.35, s.candidate) + effect(generator, 0.15, s.rater)
    s["score"] += effect(generator, 0.1, s.candidate, s.rater) + effect(generator, 0.05, s.lesson)
    s["score"] += effect(generator, 0.15, s.index)
    return s


if __name__ == "__main__":
    for made in (visits, nested, spanning):
        made().round(6).to_csv(Path(__file__).with_name(f"{made.__name__}.csv"), index=False)
