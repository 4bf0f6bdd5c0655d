"""What ratings leave open about variance components: their information, and draws for intervals.

The response has covariance V = σ²_e I + Σ σ²_f Z_f Z_f', with one column of Z_f for each member of a
grouping f, each rating in one member. The expected information of restricted likelihood,
½ tr(P V_i P V_j), needs no scores, so it holds at estimates of zero too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse, stats

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

METHOD = "generalised_monte_carlo"
_LEAST = 1e-30  # degrees of freedom, and share of its expectation that a mean square may have
MOST = 3000  # columns of a design for which dense matrices of that size take seconds


@dataclass(frozen=True, slots=True)
class Design:
    """Which rating belongs to which member.

    Attributes
    ----------
    unit : integer array (n,)
        The units that were rated.
    others
        Codes (n,) of the other groupings with a variance.
    fixed
        Codes (n,) of a grouping whose members have fixed effects, if there is one.
    """

    unit: Codes
    others: tuple[Codes, ...] = ()
    fixed: Codes | None = None

    def columns(self) -> sparse.csr_array:
        """Fixed columns, then those of ``others`` (n, m)."""
        n = len(self.unit)
        ones = sparse.csr_array(np.ones((n, 1)))
        parts = [ones if self.fixed is None else _indicators(self.fixed)]
        return sparse.csr_array(sparse.hstack([*parts, *(_indicators(codes) for codes in self.others)]))

    @property
    def feasible(self) -> bool:
        """Whether its information can be computed in seconds."""
        return sum(self.arranged()[0].sizes()) <= MOST

    def arranged(self) -> tuple[Design, Codes]:
        """The same with the grouping of most members in the place of the unit, where it is eliminated first.

        Also which of the variances stands at each place then; the residual's stays last.
        """
        groupings = (self.unit, *self.others)
        largest = int(np.argmax([codes.max(initial=0) for codes in groupings]))
        order = [largest, *(i for i in range(len(groupings)) if i != largest)]
        first, *rest = (groupings[i] for i in order)
        return Design(first, tuple(rest), self.fixed), np.array([*order, len(groupings)], dtype=np.intp)

    def sizes(self) -> list[int]:
        """Columns of the fixed part and of each of ``others``."""
        first = 1 if self.fixed is None else int(self.fixed.max()) + 1
        return [first, *(int(codes.max()) + 1 for codes in self.others)]


def _indicators(codes: Codes) -> sparse.csr_array:
    n = len(codes)
    return sparse.csr_array((np.ones(n), (np.arange(n), codes)), shape=(n, int(codes.max()) + 1))


def information(design: Design, variances: Array) -> Array:
    """Expected information of the variances (c + 2, c + 2), c being the number of ``others``.

    Parameters
    ----------
    design
        Groupings.
    variances : array (c + 2,)
        Of the unit, of each of ``others``, of the residual; the residual above zero, the others zero or
        more.
    """
    design, order = design.arranged()
    variances = variances[order]
    norms, traces, freedom = _traces(design, variances[:-1], float(variances[-1]))
    residual, grouped = variances[-1], variances[:-1]
    # P V P = P gives what concerns the residual: σ²_e tr(P V_i P) = tr(P V_i) − Σ_j σ²_j tr(P V_i P V_j).
    through = (traces - norms @ grouped) / residual
    trace = (freedom - grouped @ traces) / residual
    square = (trace - grouped @ through) / residual
    whole = np.block([[norms, through[:, None]], [through[None, :], np.array([[square]])]])
    back = np.argsort(order)
    return np.asarray(whole[np.ix_(back, back)] / 2)


def _traces(design: Design, grouped: Array, residual: float) -> tuple[Array, Array, int]:
    """tr(P V_i P V_j) and tr(P V_i) of the groupings, and residual degrees of freedom.

    M = σ²_e I + σ²_u Z_u Z_u' has a diagonal inverse within units; P = M⁻¹ − M⁻¹ H C H' M⁻¹ with H the
    fixed columns and those whose variance is not zero.
    """
    columns, sizes = design.columns(), design.sizes()
    counts = np.bincount(design.unit).astype(float)
    shrink = 1 / (residual + counts * grouped[0])
    cells = sparse.csr_array(_indicators(design.unit).T @ columns)
    dense = (columns.T @ columns).toarray()

    def between(weights: Array) -> Array:
        """N' diag(weights) N for the table N of ratings by unit and column."""
        return np.asarray((cells.T @ (sparse.diags_array(weights) @ cells)).toarray())

    inner = (dense - between(grouped[0] * shrink)) / residual  # X'M⁻¹X
    prior = np.repeat(grouped[1:], sizes[1:])
    active = np.flatnonzero(np.concatenate([np.ones(sizes[0], dtype=bool), prior > 0]))
    precision = np.concatenate([np.zeros(sizes[0]), 1 / prior[prior > 0]])
    middle = _inverse(inner[np.ix_(active, active)] + np.diag(precision))
    # Z'PZ in blocks; that of the units is diag(n/(σ²_e + nσ²_u)) − B C B', B = diag(shrink) N.
    own = counts * shrink
    square, weighted = between(shrink**2), between(own * shrink**2)
    a = slice(sizes[0], None)
    low = square[np.ix_(active, active)] @ middle
    if len(active) == len(inner):  # then C N'M⁻¹N is I − CD with D the precision, and products are spared
        turn = (middle * precision)[:, a]
        small = np.diag(precision[a]) - precision[a, None] * turn[a]
        turned = low[:, a] * precision[a]
    else:
        lift = middle @ inner[active]
        small = inner[a, a] - inner[a][:, active] @ lift[:, a]
        turn = np.eye(len(inner))[:, a]
        turn[active] -= lift[:, a]
        turned = square @ turn
    cross = np.einsum("ij,ij->j", turn, turned)  # squared columns of Z_u'PZ_f
    edges = np.concatenate([[0], np.cumsum(sizes[1:])])
    parts = [slice(int(edges[i]), int(edges[i + 1])) for i in range(len(sizes) - 1)]
    norms = np.empty((len(parts) + 1, len(parts) + 1))
    norms[0, 0] = own @ own - 2 * np.sum(weighted[np.ix_(active, active)] * middle) + np.sum(low * low.T)
    traces = np.array([own.sum() - np.trace(low), *(np.trace(small[p, p]) for p in parts)])
    for i, p in enumerate(parts, start=1):
        norms[0, i] = norms[i, 0] = cross[p].sum()
        for j, other in enumerate(parts, start=1):
            norms[i, j] = np.sum(small[p, other] ** 2)
    rank = int(np.linalg.matrix_rank(inner[: sizes[0], : sizes[0]], hermitian=True))
    return norms, traces, len(design.unit) - rank


def _inverse(symmetric: Array) -> Array:
    """Inverse of a positive definite matrix (m, m), the generalised one where it is singular."""
    try:
        factor = linalg.cho_factor(symmetric, lower=True, check_finite=False)
    except linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(symmetric, hermitian=True), dtype=np.float64)
    return np.asarray(linalg.cho_solve(factor, np.eye(len(symmetric))), dtype=np.float64)


def polished(design: Design, variances: Array, score: Array) -> Array:
    """Restricted maximum likelihood from nearby, to the last digits, by two steps of scoring (c + 2,).

    Each step solves I σ² = ½ (y'P V_i P y). Where a variance is, or would become, zero, the estimates are
    returned as they are.

    Parameters
    ----------
    design
        Groupings.
    variances : array (c + 2,)
        Estimates: of the unit, of each of ``others``, of the residual.
    score : array (n,)
        The scores.
    """
    found = variances
    for _ in range(2):
        if (found <= 0).any():
            return variances
        step = np.linalg.solve(information(design, found), _squares(design, found, score) / 2)
        found = np.asarray(step, dtype=np.float64)
    return found if (found > 0).all() else variances


def _squares(design: Design, variances: Array, score: Array) -> Array:
    """Quadratic forms y'P V_i P y for each variance (c + 2,), none zero."""
    design, order = design.arranged()
    variances = variances[order]
    columns, sizes = design.columns(), design.sizes()
    residual = variances[-1]
    counts = np.bincount(design.unit)
    shrink = variances[0] / (residual + counts * variances[0])

    def inverse(of: Array) -> Array:
        """M⁻¹ times a vector of ratings."""
        within = (shrink * np.bincount(design.unit, weights=of))[design.unit]
        return np.asarray((of - within) / residual, dtype=np.float64)

    cells = sparse.csr_array(_indicators(design.unit).T @ columns)
    inner = (columns.T @ columns - cells.T @ (sparse.diags_array(shrink) @ cells)).toarray() / residual
    precision = np.concatenate([np.zeros(sizes[0]), np.repeat(1 / variances[1:-1], sizes[1:])])
    middle = _inverse(inner + np.diag(precision))
    y = score - score.mean()
    left = inverse(y - columns @ (middle @ (columns.T @ inverse(y))))  # Py
    groupings = (design.unit, *design.others)
    sums = [np.bincount(codes, weights=left) for codes in groupings]
    return np.array([*(float(of @ of) for of in sums), float(left @ left)])[np.argsort(order)]


def draws(design: Design, variances: Array, n: int, generator: np.random.Generator) -> Array:
    """Variances that could have given the estimates, for generalised intervals (n, c + 2).

    Combinations of the estimates are made uncorrelated, the residual first: in a complete layout they are
    the mean squares. Each is taken as its expectation times a chi-squared variable over its degrees of
    freedom, 2L²/var(L), and solved for the expectation [weerahandi_1993] [hannig_2006]; a variance that
    comes out negative is zero. Exact for the mean squares of complete data; otherwise Satterthwaite's
    approximation [satterthwaite_1946].

    Parameters
    ----------
    design
        Groupings.
    variances : array (c + 2,)
        Estimates: of the unit, of each of ``others``, of the residual, which is above zero.
    n
        Draws.
    generator
        Source of chance.
    """
    covariance = np.asarray(np.linalg.pinv(information(design, variances), hermitian=True), dtype=np.float64)
    order = np.roll(np.arange(len(variances)), 1)  # residual, unit, others
    covariance, estimate = covariance[np.ix_(order, order)], variances[order]
    weights = _uncorrelated(covariance)
    combined = weights @ estimate
    spread = np.einsum("ij,jk,ik->i", weights, covariance, weights)
    known = spread > 0
    df = np.maximum(2 * combined**2 / np.where(known, spread, np.inf), _LEAST)
    chance = stats.chi2.rvs(df, size=(n, len(df)), random_state=generator)
    expected = combined * df / np.maximum(chance, _LEAST * df)
    found = np.empty_like(expected)
    for i in range(len(df)):
        found[:, i] = np.maximum(expected[:, i] - found[:, :i] @ weights[i, :i], 0.0)
    return np.asarray(found[:, np.argsort(order)], dtype=np.float64)


def _uncorrelated(covariance: Array) -> Array:
    """Unit lower triangular weights, none negative, of combinations that are (nearly) uncorrelated."""
    weights: Array = np.eye(len(covariance))
    for i in range(1, len(covariance)):
        slopes = np.linalg.lstsq(covariance[:i, :i], covariance[:i, i], rcond=None)[0]
        weights[i, :i] = np.maximum(-slopes, 0.0)
    return np.asarray(weights, dtype=np.float64)
