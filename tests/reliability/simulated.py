"""Scores drawn from known components, for any design."""

import numpy as np
import pandas as pd

from mentorstats.reliability.components.design import design


def drawn(sizes, variances, *, nested=None, seed=0, mean=5.0):
    """One row a cell; the first factor is the object; variances by effect name, the last is the residual."""
    factors = list(sizes)
    plan = design(factors[0], factors[1:], nested)
    generator = np.random.default_rng(seed)
    shape = tuple(sizes.values())
    total = np.full(shape, mean)
    for effect in plan.effects:
        own = tuple(size if name in effect else 1 for name, size in sizes.items())
        total = total + np.sqrt(variances.get(plan.name(effect), 0.0)) * generator.standard_normal(own)
    places = np.indices(shape).reshape(len(shape), -1)
    return pd.DataFrame(dict(zip(factors, places, strict=True))).assign(score=total.ravel())
