"""Are a rater's ratings noisier, or more regular, than the base fit expects? Two mean squares.

Fit by information: residuals' squares over their variances, Σ(y − E)² / ΣW. Fit by response: mean of the
squared standardised residuals, which a few surprising ratings move more [wright_masters_1982]. Rules of thumb
for either mislead; limits from drawn ratings do better, best where raters who do not fit have little part in
what the draws are made from [guo_wind_2021].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.against_draws import adding, limits, mean_square_ratio, over_expected
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.simulated import METHOD, Redraws, cutpoint_rows, moments, redraws, shares
from mentorstats.calibration.raters.rater_rows import finished, rater_rows, without_fit
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status, has_value

Floats = NDArray[np.float64]
Kind = Literal["information", "response"]

_COLUMNS = (
    "contrast", "contrast_se", "contrast_low", "contrast_high", "p",
    "fit", "fit_expected", "fit_expected_low", "fit_expected_high",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Both fits of each group of responses, (groups,) each, and their standardised forms."""

    information: Floats
    response: Floats
    information_z: Floats
    response_z: Floats


@entry()
def mean_squares(
    observed: Floats, expected: Floats, variance: Floats, fourth: Floats, axis: int
) -> MeanSquares:
    """Mean squares of responses with given expectations, as a table of persons by items.

    Parameters
    ----------
    observed
        Responses, NaN where there is none.
    expected, variance, fourth
        Expectation, variance and fourth central moment of each response.
    axis
        Axis summed over: 0 gives one value a column.

    Notes
    -----
    Wright and Masters (1982, pp. 99–101): q² = Σ(C − W²)/(ΣW)² for the fit by information and
    Σ(C/W²)/n² − 1/n for the fit by response; z = (v^⅓ − 1)(3/q) + q/3 [wright_masters_1982].
    """
    y, e, w, c = (np.asarray(a, dtype=np.float64) for a in (observed, expected, variance, fourth))
    if not y.shape == e.shape == w.shape == c.shape or not -y.ndim <= axis < y.ndim:
        raise ArgumentError(
            f"arrays of shape {', '.join(str(a.shape) for a in (y, e, w, c))}, axis {axis}",
            allowed="four arrays of one shape, and one of its axes",
        )
    there = ~np.isnan(y)
    if not (w[there] > 0).all():
        raise ArgumentError("a response has no variance", where="variance", allowed="numbers above zero")
    e, w, c = np.where(there, e, 0.0), np.where(there, w, 1.0), np.where(there, c, 0.0)
    squares = np.where(there, (np.where(there, y, 0.0) - e) ** 2, 0.0)
    n, total = there.sum(axis=axis), (w * there).sum(axis=axis)
    n, total = np.where(n > 0, n, np.nan), np.where(n > 0, total, np.nan)
    information = squares.sum(axis=axis) / total
    response = (squares / w).sum(axis=axis) / n
    q_information = np.sqrt(np.maximum(((c - w**2) * there).sum(axis=axis), 0.0)) / total
    q_response = np.sqrt(np.maximum((c / w**2).sum(axis=axis) / n**2 - 1 / n, 0.0))
    return MeanSquares(
        information, response, _standardised(information, q_information), _standardised(response, q_response)
    )


def _standardised(value: Floats, q: Floats) -> Floats:
    known = np.where(q > 0, q, np.nan)
    return np.asarray((np.cbrt(value) - 1) * (3 / known) + known / 3)


@entry()
def rating_fit(
    base: Base, drawn: Redraws | None = None, *, kind: Kind = "information", confidence: float = 0.95
) -> pd.DataFrame:
    """Fit of each rater's ratings, two-sided: too noisy above one, too regular below.

    Parameters
    ----------
    base
        The base fit.
    drawn
        Ratings drawn from it (`redraws`); made with the default seed unless given.
    kind
        ``"information"`` or ``"response"``.
    confidence
        Coverage of intervals, share of draws between the limits.

    Returns
    -------
    DataFrame
        One row a rater and role. ``fit``: the mean square about the expectations of the base fit;
        ``fit_expected`` with limits: that of drawn ratings, below one because effects are fitted.
        ``contrast``: one over the other less one; unshrunken.
    """
    if not has_value(base.status):
        return without_fit(base, _COLUMNS, confidence, "wright_masters_1982")
    rows = rater_rows(base)
    found = _beside(base, drawn or redraws(base), adding(base.rater_of_row, len(rows)), kind, confidence)
    return finished(
        rows.assign(**found),
        value="contrast",
        confidence=confidence,
        method=METHOD,
        missing=Status.NO_SPREAD,
        why="All drawn ratings fit equally.",
        reference="wright_masters_1982",
    )


@entry()
def criterion_fit(
    base: Base, drawn: Redraws | None = None, *, kind: Kind = "information", confidence: float = 0.95
) -> pd.DataFrame:
    """Fit of each criterion of each version over all raters, columns as for `rating_fit`.

    Returns
    -------
    DataFrame
        One row a rubric, version and criterion.
    """
    keys = ["rubric", "rubric_version", "criterion"]
    groups = base.rows.groupby(keys, observed=True, sort=True)
    rows = groups.agg(n_ratings=("rank", "size"), n_raters=("rater", "nunique")).reset_index()
    if has_value(base.status):
        sums = adding(groups.ngroup().to_numpy().astype(np.int64), len(rows))
        rows = rows.assign(**_beside(base, drawn or redraws(base), sums, kind, confidence))
        missing, why = Status.NO_SPREAD, "All drawn ratings fit equally."
    else:
        rows = rows.assign(**dict.fromkeys(_COLUMNS, np.nan))
        missing, why = base.status, base.status_note
    return finished(
        rows,
        value="contrast",
        confidence=confidence,
        method=METHOD,
        missing=missing,
        why=why,
        reference="wright_masters_1982",
        by=keys,
    )


def _beside(
    base: Base, drawn: Redraws, sums: sparse.csr_array, kind: Kind, confidence: float
) -> dict[str, Floats]:
    """Mean squares by group beside those of drawn ratings."""
    if kind not in ("information", "response"):
        raise ArgumentError(f"kind={kind!r}", allowed=("information", "response"))
    edges = cutpoint_rows(base)

    def fit(ranks: Floats, predictor: Floats) -> Floats:
        chances = shares(base, predictor, edges)
        _, variance = moments(chances)
        # Each level's part of (rank − expected): next to a certain level the plain difference is rounding.
        squares = sum(chance * (ranks - level) for level, chance in enumerate(chances, start=1)) ** 2
        if kind == "information":
            return over_expected(sums @ squares, sums @ variance)
        count = sums @ np.ones(len(ranks))
        return np.asarray(sums @ over_expected(squares, variance) / count[:, None])

    given = fit(base.ranks[:, None], base.predictor[:, None])[:, 0]
    again = np.concatenate([fit(*part) for part in drawn.parts()], axis=1)
    found, around = mean_square_ratio(given, again, confidence), limits(again, confidence)
    return {
        "contrast": found.contrast,
        "contrast_se": found.se,
        "contrast_low": found.low,
        "contrast_high": found.high,
        "p": found.p,
        "fit": given,
        "fit_expected": around.expected,
        "fit_expected_low": around.low,
        "fit_expected_high": around.high,
    }
