"""Log-probability of a level between two cut-points, and the derivatives that Laplace's method needs.

With A and B the scaled distances to the upper and lower cut-point, ℓ = log(F(A) − F(B)). Where a level
has no upper (lower) cut-point, A (B) is ±``BEYOND``, where F is 1 (0) to machine precision.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_expit, log_ndtr, ndtr

from mentorstats.errors import ModelError

Floats = NDArray[np.float64]

BEYOND = 300.0
NAMES = ("logit", "probit")
SPREAD = {"logit": np.pi**2 / 3, "probit": 1.0}  # variance of the latent error
_LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)
_SMALLEST = -700.0


@dataclass(frozen=True, slots=True)
class Pieces:
    """ℓ and derivatives, each (n,); s is the sum ∂A + ∂B, as when both cut-points shift together."""

    value: Floats
    by_upper: Floats  # ∂A ℓ
    by_lower: Floats  # ∂B ℓ
    cross: Floats  # ∂A∂B ℓ
    s_upper: Floats  # ∂A s ℓ
    s_lower: Floats  # ∂B s ℓ
    ss_upper: Floats  # ∂A ss ℓ
    ss_lower: Floats  # ∂B ss ℓ

    @property
    def s(self) -> Floats:
        """First derivative under a common shift."""
        return self.by_upper + self.by_lower

    @property
    def ss(self) -> Floats:
        """Second derivative under a common shift, never positive."""
        return self.s_upper + self.s_lower


def pieces(link: str, upper: Floats, lower: Floats) -> Pieces:
    """Evaluate all pieces of one link."""
    return _logit(upper, lower) if link == "logit" else _probit(upper, lower)


def slope(link: str, upper: Floats, lower: Floats) -> Floats:
    """The first derivative under a common shift, `Pieces.s`, alone; for the logit it needs no density."""
    if link == "logit":
        return np.asarray(expit(-upper) - expit(lower))
    return pieces(link, upper, lower).s


def check(link: str) -> str:
    """Return the link's name, or raise ModelError."""
    if link not in NAMES:
        raise ModelError(f"link {link!r} is not known", allowed=NAMES)
    return link


def cumulative(link: str, at: Floats) -> Floats:
    """F, the distribution of the latent error."""
    return np.asarray(expit(at) if link == "logit" else ndtr(at))


def _logit(upper: Floats, lower: Floats) -> Pieces:
    gap = np.maximum(upper - lower, 1e-100)
    above, below = expit(-upper), expit(lower)  # 1 − F(A), F(B)
    density_a, density_b = above * (1 - above), below * (1 - below)
    ratio = 1 / np.expm1(np.minimum(gap, 700.0))
    bend = ratio * (1 + ratio)
    return Pieces(
        value=log_expit(upper) + log_expit(-lower) + np.log(-np.expm1(-gap)),
        by_upper=above + ratio,
        by_lower=-below - ratio,
        cross=bend,
        s_upper=-density_a,
        s_lower=-density_b,
        ss_upper=-density_a * (2 * above - 1),
        ss_lower=-density_b * (1 - 2 * below),
    )


def _probit(upper: Floats, lower: Floats) -> Pieces:
    flip = upper + lower > 0
    high, low = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    log_high, log_low = log_ndtr(high), log_ndtr(low)
    value = np.maximum(log_high + np.log(-np.expm1(np.minimum(log_low - log_high, -1e-300))), _SMALLEST)
    a = np.exp(np.minimum(-0.5 * upper**2 - _LOG_ROOT_TWO_PI - value, -_SMALLEST / 2))
    b = np.exp(np.minimum(-0.5 * lower**2 - _LOG_ROOT_TWO_PI - value, -_SMALLEST / 2))
    a_upper, a_lower = -upper * a - a**2, a * b
    b_upper, b_lower = -a * b, -lower * b + b**2
    return Pieces(
        value=value,
        by_upper=a,
        by_lower=-b,
        cross=a * b,
        s_upper=a_upper - b_upper,
        s_lower=a_lower - b_lower,
        ss_upper=-a - upper * a_upper + lower * b_upper - 2 * (a - b) * (a_upper - b_upper),
        ss_lower=-upper * a_lower + b + lower * b_lower - 2 * (a - b) * (a_lower - b_lower),
    )
