"""What the ratings say about raters' severities beside the variance between raters: shrunken and unshrunken.

Near the fit the likelihood of the effects x of raters who share a variance s² is normal, h'x − x'Jx / 2. J
and h are read off the shrunken effects b and the covariance C of their errors (J = C⁻¹ − I/s², h = C⁻¹b), so
that nothing is fitted again for effects at another s, for a rater not shrunken, or for the likelihood of s.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2, norm

from mentorstats.calibration.base.base import Base
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.joint import Joint
from mentorstats.mixed.profile.held import entry

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BATCH = 256  # right-hand sides solved at once
_NODES = (-2.2, -1.1, 0.0, 1.1, 2.2)  # in standard errors of log sd
_POORLY_KNOWN = 0.8  # largest standard error of log sd that the nodes are placed by
_LEAST = 1e-8  # share of the largest information below which there is none, only rounding
_NO_MORE = 1e-5  # largest reliability up to which raters are as good as alike
_FARTHEST = 1e4  # times the natural size: standard deviations beyond it are not looked at


@dataclass(frozen=True)
class RaterEffects:
    """Raters with one variance between them.

    Attributes
    ----------
    rows
        Rows of ``Base.raters``, (m,).
    information
        J, (m, m): everything else in the fit may move, its variances held. Raters' common level is the
        fixed parameters' affair, so that J has nothing on it.
    score
        h, (m,).
    sd
        s, latent scale; may be zero.
    log_sd_error
        Standard error of log s, all parameters free; NaN at zero.
    left
        What is left of the information on s when the other variances may move too, a share.
    """

    rows: Ints
    information: Floats
    score: Floats
    sd: float
    log_sd_error: float
    left: float

    # Effects ---------------------------------------------------------------------------------------

    @cached_property
    def shrunken(self) -> tuple[Floats, Floats]:
        """Effects and variances of their errors, the variance between raters held, (m,) each."""
        return self.at(self.sd)

    def at(self, sd: float) -> tuple[Floats, Floats]:
        """Effects and variances of their errors had the standard deviation been another, (m,) each."""
        if sd == 0:
            return np.zeros(len(self.score)), np.zeros(len(self.score))
        covariance = np.linalg.inv(self.information + np.eye(len(self.score)) / sd**2)
        return covariance @ self.score, np.diagonal(covariance).copy()

    @property
    def reliability(self) -> Floats:
        """ρ = 1 − C/s² of each rater, (m,): what shrinking leaves of a rater's own deviation."""
        if self.sd == 0:
            return np.zeros(len(self.score))
        return np.asarray(np.clip(1 - self.shrunken[1] / self.sd**2, 0.0, 1.0))

    def contrast(self) -> tuple[Floats, Floats]:
        """Each rater not shrunken while the others are, with standard errors, (m,) each.

        With a rater's own variance taken to infinity the precision 1/C loses 1/s², and
        1/C − 1/s² = ρ/C: the effect becomes b/ρ with variance C/ρ, exactly for normal effects. That is the
        rater as a fixed term with the others random, against the mean of the raters they stand for; for
        s = 0 it is h/Jᵢᵢ. NaN where there is no information.
        """
        own = np.diagonal(self.information)
        own = np.where(own > _LEAST * own.max(initial=0.0), own, np.nan)
        if self.sd**2 * np.nanmax(own, initial=0.0) < _NO_MORE:
            return self.score / own, 1 / np.sqrt(own)
        effect, variance = self.shrunken
        rho = np.where(np.isnan(own), np.nan, 1 - variance / self.sd**2)
        return effect / rho, np.sqrt(variance / rho)

    def together(self) -> tuple[Floats, Floats]:
        """All raters not shrunken at once, against their own mean, with standard errors, (m,) each."""
        values, vectors = self._roots
        covariance = (vectors / values) @ vectors.T
        return covariance @ self.score, np.sqrt(np.diagonal(covariance))

    def error_with_unknown_sd(self) -> Floats:
        """Variances of the errors of shrunken effects, allowing for s being estimated, (m,).

        Mean and variance of an effect over the likely values of s [kass_steffey_1989], weighted by its
        likelihood and, as a prior, evenly on s [gelman_2006]. Never below the variance with s held.
        """
        effect, variance = self.shrunken
        step = min(self.log_sd_error, _POORLY_KNOWN)
        ends = [self.sd * float(np.exp(node * step)) for node in _NODES]
        drops = np.array([self.deviance(end) for end in ends])
        weights = np.exp(-0.5 * (drops - drops.min())) * np.array(ends)
        share = (weights / weights.sum())[:, None]
        found = [self.at(end) for end in ends]
        effects, variances = np.array([each[0] for each in found]), np.array([each[1] for each in found])
        total = (share * (variances + (effects - effect) ** 2)).sum(axis=0)
        return np.asarray(np.maximum(total, variance))

    # The standard deviation between raters ---------------------------------------------------------

    @cached_property
    def _roots(self) -> tuple[Floats, Floats]:
        """Eigenvalues of J above rounding, and their vectors in columns."""
        values, vectors = np.linalg.eigh(self.information)
        some = values > _LEAST * max(values[-1], 0.0)
        return values[some], vectors[:, some]

    @cached_property
    def _spectrum(self) -> tuple[Floats, Floats]:
        """Eigenvalues of J, and squares of h along them."""
        values, vectors = self._roots
        return values, (vectors.T @ self.score) ** 2

    def deviance(self, sd: float) -> float:
        """Minus twice the restricted log-likelihood of s, but for a constant.

        Σ log(1 + s²j) − Σ a²s²/(1 + s²j) over the eigenvalues j of J and h along them, a; times what the
        other variances leave of the information, because they would move with s.
        """
        values, squares = self._spectrum
        shrink = 1 + sd**2 * values
        return self.left * float(np.log(shrink).sum() - (squares * sd**2 / shrink).sum())

    @cached_property
    def _peak(self) -> tuple[float, float]:
        """Standard deviation where the restricted likelihood is largest, and the deviance there."""
        natural = self._natural
        found = minimize_scalar(
            lambda at: self.deviance(float(np.exp(at))),
            bounds=(np.log(natural) - 5, np.log(natural) + 5),
            method="bounded",
            options={"xatol": 1e-6},
        )
        inside = (float(np.exp(found.x)), float(found.fun))
        return inside if inside[1] < 0 else (0.0, 0.0)  # the deviance is zero at zero

    @property
    def _natural(self) -> float:
        return max(self.sd, 1 / float(np.sqrt(np.median(self._spectrum[0]))))

    def sd_limits(self, confidence: float) -> tuple[float, float]:
        """Profile-likelihood limits of s, valid at zero too; NaN where nothing is known."""
        if not len(self._spectrum[0]):
            return np.nan, np.nan
        peak, best = self._peak
        allowed = best + float(norm.ppf(0.5 + confidence / 2)) ** 2
        low = 0.0 if allowed >= 0 else float(brentq(lambda s: self.deviance(s) - allowed, 0.0, peak))
        far = _FARTHEST * self._natural
        if self.deviance(far) < allowed:
            return low, np.inf
        return low, float(brentq(lambda s: self.deviance(s) - allowed, peak, far, rtol=1e-10))

    def homogeneity(self) -> tuple[float, float]:
        """Likelihood ratio against raters who do not differ, and p.

        At the edge of the parameter space the reference is half a point at zero and half χ² with one
        degree of freedom, case 5 of [self_liang_1987]. NaN where nothing is known.
        """
        if not len(self._spectrum[0]):
            return np.nan, np.nan
        statistic = -self._peak[1]
        return statistic, float(0.5 * chi2.sf(statistic, 1)) if statistic > 0 else 1.0


def rater_effects(base: Base) -> list[RaterEffects]:
    """One entry a variance between raters: a role's, or that of all where one role has few raters."""
    roles = list(base.model.members[base.rater_grouping].roles)
    own = base.raters["rater_role"]
    if not roles:
        return [_of(base, np.arange(len(own)), 0)]
    return [_of(base, np.flatnonzero(own == role), b) for b, role in enumerate(roles)]


def _of(base: Base, rows: Ints, b: int) -> RaterEffects:
    variance = float(base.model.fitted.covariances()[base.rater_grouping][b, b])
    error, left = _error_of_log_sd(base, b)
    if variance == 0:
        step = base.one_step(base.by_rater()[:, rows])
        return RaterEffects(rows, step.information, step.score, 0.0, np.nan, left)
    columns = base.raters["column"].to_numpy()[rows]
    precision = np.linalg.inv(errors(base.joint, columns))
    information = precision - np.eye(len(rows)) / variance
    return RaterEffects(
        rows,
        (information + information.T) / 2,
        precision @ base.joint.b[columns],
        variance**0.5,
        error,
        left,
    )


def errors(joint: Joint, columns: Ints) -> Floats:
    """Covariance of the errors of some effects, (m, m), a batch of columns at a time."""
    spread = joint.spread()[columns]  # rows of Λ
    tilt = spread @ joint.lifted
    error = tilt @ joint.covariance @ tilt.T
    if joint.factor is not None:
        for start in range(0, len(columns), _BATCH):
            some = slice(start, start + _BATCH)
            error[:, some] += spread @ joint.factor.solve(np.ascontiguousarray(spread[some].toarray().T))
    return np.asarray((error + error.T) / 2)


def _error_of_log_sd(base: Base, b: int) -> tuple[float, float]:
    """Standard error of log s with everything else free, and the share of the information left then."""
    engine = base.model.levels
    first = entry(engine.triangles, base.rater_grouping, b, b)
    hessian = engine.state.hessian
    free = scaled_inverse(hessian)[first, first]
    sd = float(engine.theta[first])
    error = float(np.sqrt(max(2 * free, 0.0)) / sd) if sd > 0 else np.nan
    share = 1 / (free * hessian[first, first]) if free * hessian[first, first] > 0 else 1.0
    return error, float(np.clip(share, 0.05, 1.0))
