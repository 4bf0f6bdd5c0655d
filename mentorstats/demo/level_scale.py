"""What effects in logits come to in levels: expected levels under the model, by Gauss–Hermite quadrature."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from mentorstats.demo.effects import Effects

_NODES = 41  # half as many change no share and no shift by 1e-6

Floats = NDArray[np.float64]


def level_shift(thresholds: Floats, effects: Effects, shift: float) -> float:
    """Return the expected change of level when the latent judgement moves by ``shift`` logits.

    Averaged over criteria, candidates, lessons, raters and residuals of the first cycle's middle
    week, raters of no own bonus.

    Parameters
    ----------
    thresholds
        Criteria × (levels − 1), in logits.
    effects
        Sizes of the components.
    shift
        In logits.
    """
    here, there = _expected(thresholds, np.array([0.0, shift]), _sd(effects, without="residual")).T
    return float(np.mean(there - here))


def level_shares(thresholds: Floats, effects: Effects) -> dict[str, float]:
    """Share of each component in the variance of a level of one criterion, its own part only.

    The variance over the component's values of the expected level given that value, averaged over
    criteria, divided by the total; what is left, residual and joint parts, is under ``residual``.
    """
    nodes, weights = _normal_nodes()
    everything = _sd(effects, without="residual")
    below = 1 - _above(thresholds, np.zeros(1), everything)[:, 0, :]
    total = np.mean(_variance_of_levels(below))
    shares = {}
    for name, variance in effects.variances.items():
        if name != "residual":
            expected = _expected(thresholds, np.sqrt(variance) * nodes, _sd(effects, without=name))
            mean = expected @ weights
            shares[name] = float(np.mean(expected**2 @ weights - mean**2) / total)
    return {**shares, "residual": 1 - sum(shares.values())}


def _sd(effects: Effects, *, without: str) -> float:
    parts = {name: v for name, v in effects.variances.items() if name not in ("residual", without)}
    return float(np.sqrt(sum(parts.values())))


def _normal_nodes() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return nodes, weights / weights.sum()


def _above(thresholds: Floats, at: Floats, sd: float) -> Floats:
    """P(level above threshold j of criterion k | at), other effects normal with ``sd``: k × at × j."""
    nodes, weights = _normal_nodes()
    latent = at[:, None] + sd * nodes
    above: Floats = expit(latent[None, :, :, None] - thresholds[:, None, None, :])
    mixed: Floats = np.einsum("kaij,i->kaj", above, weights)
    return mixed


def _expected(thresholds: Floats, at: Floats, sd: float) -> Floats:
    """Return the expected rank, criteria × at."""
    above: Floats = _above(thresholds, at, sd).sum(axis=2)
    return 1 + above


def _variance_of_levels(below: Floats) -> Floats:
    """Variance of the rank from cumulative probabilities, a row a criterion."""
    p = np.diff(np.pad(below, ((0, 0), (1, 1)), constant_values=(0, 1)), axis=1)
    rank = np.arange(1, p.shape[1] + 1)
    variance: Floats = p @ rank**2 - (p @ rank) ** 2
    return variance
