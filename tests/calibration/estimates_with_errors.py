"""Estimates of members with known errors."""

import numpy as np

from mentorstats.calibration.raters.rater_variance import members_about_mean


def independent(y, v):
    return members_about_mean(y / v, np.diag(1 / v))


def drawn(seed=1, k=13, between=0.1):
    rng = np.random.default_rng(seed)
    v = rng.uniform(0.01, 0.2, k)
    return rng.normal(0.3, np.sqrt(v + between)), v
