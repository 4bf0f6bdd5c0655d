"""How often intervals hold the truth: components from mean squares, and coefficients of plans.

400 draws, seeds 10000 to 10399, nominal .95, Monte Carlo error .011:
p × r × o (30, 4, 3)      components .970 .940 .958 .942 .968 .932 .945; coefficients .952 .968
p × (r in o) (40, 4, 2)   components .955 .950 .958 .940 .932; coefficients .950 .965

By likelihood, 189 draws of p × r (30, 6), two cells in five missing, seeds from 0, Monte Carlo error .016:
components .937 .915 .926; coefficients of two raters .968 .968 (no test: minutes of fitting)
"""

import numpy as np
import pytest
from simulated import drawn

from mentorstats.reliability import d_study, g_study
from mentorstats.reliability.components.design import design

VARIANCES = (0.4, 0.06, 0.1, 0.05, 0.1, 0.03, 0.4)
DESIGNS = [({"p": 30, "r": 4, "o": 3}, None), ({"p": 40, "o": 4, "r": 2}, {"r": "o"})]
LEAST = 0.90  # four Monte Carlo errors below nominal


@pytest.mark.long
@pytest.mark.parametrize(("sizes", "nested"), DESIGNS)
def test_intervals_hold_the_truth(sizes, nested):
    facets = list(sizes)[1:]
    plan = design("p", facets, nested)
    truth = dict(zip([plan.name(effect) for effect in plan.effects], VARIANCES, strict=False))
    components, coefficients = [], []
    for seed in range(400):
        scores = drawn(sizes, truth, nested=nested, seed=10_000 + seed)
        study = g_study(scores, object="p", facets=facets, nested=nested, score="score", seed=seed)
        values = np.array(list(truth.values()))
        components.append((study.components.low <= values) & (values <= study.components.high))
        found = d_study(study, {}).iloc[0]
        coefficients.append(_inside(found, plan, truth, sizes))
    assert np.mean(components, axis=0).min() > LEAST
    assert np.mean(coefficients, axis=0).min() > LEAST


def _inside(found, plan, truth, sizes):
    parts = {
        effect: truth[plan.name(effect)] / np.prod([sizes[name] for name in effect - {"p"}])
        for effect in plan.effects
    }
    own = parts.pop(frozenset({"p"}))
    relative = sum(value for effect, value in parts.items() if "p" in effect)
    one, other = own / (own + relative), own / (own + sum(parts.values()))
    return [
        found.generalizability_low <= one <= found.generalizability_high,
        found.dependability_low <= other <= found.dependability_high,
    ]
