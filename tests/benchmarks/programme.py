"""An invented programme of about 101,000 ratings, the size the mixed models are made for."""

import numpy as np
import pandas as pd

CANDIDATES, LESSONS, CRITERIA, MENTORS, SUPERVISORS = 1000, 6, 10, 450, 150
CUTS = (-1.6, -0.2, 1.3)


def ratings(seed: int = 7) -> pd.DataFrame:
    """One row a rating: candidate, lesson, rater, criterion, week, cohort, score, level."""
    rng = np.random.default_rng(seed)
    lessons = CANDIDATES * LESSONS
    candidate_of = np.repeat(np.arange(CANDIDATES), LESSONS)
    week_of = np.tile(np.arange(2, 2 + 2 * LESSONS, 2), CANDIDATES)
    mentor = rng.integers(0, MENTORS, CANDIDATES)
    supervisor = MENTORS + rng.integers(0, SUPERVISORS, CANDIDATES)
    both = rng.random(lessons) < 0.684
    by_mentor = both | (rng.random(lessons) < 0.5)
    by_supervisor = both | ~by_mentor
    lesson = np.concatenate([np.flatnonzero(by_mentor), np.flatnonzero(by_supervisor)])
    rater = np.concatenate([mentor[candidate_of[by_mentor]], supervisor[candidate_of[by_supervisor]]])
    lesson, rater = np.repeat(lesson, CRITERIA), np.repeat(rater, CRITERIA)
    criterion = np.tile(np.arange(CRITERIA), len(lesson) // CRITERIA)
    candidate = candidate_of[lesson]
    week = week_of[lesson].astype(float)
    cohort = candidate % 3
    level, change = rng.multivariate_normal([0, 0], [[0.36, -0.006], [-0.006, 0.0016]], CANDIDATES).T
    score = (
        0.05 * week
        + 0.1 * cohort
        + rng.normal(0, 0.3, CRITERIA)[criterion]
        + level[candidate]
        + change[candidate] * week
        + rng.normal(0, 0.4, lessons)[lesson]
        + rng.normal(0, 0.35, MENTORS + SUPERVISORS)[rater]
        + rng.normal(0, 0.25, (MENTORS + SUPERVISORS, CRITERIA))[rater, criterion]
        + rng.normal(0, 0.8, len(lesson))
    )
    latent = score - score.mean() + rng.logistic(0, 1, len(score))
    return pd.DataFrame(
        {
            "candidate": candidate,
            "lesson": lesson,
            "rater": rater,
            "criterion": np.char.add("c", criterion.astype(str)),
            "week": week,
            "cohort": np.char.add("y", cohort.astype(str)),
            "score": score,
            "level": 1 + np.searchsorted(CUTS, latent),
        }
    )
