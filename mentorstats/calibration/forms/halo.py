"""Do the criteria of one form follow one another more than for other raters? Two forms and a score test.

There is no agreed definition of halo [balzer_sulsky_1992], and the two usual ones need not agree
[pulakos_1986]: criteria correlate more within the rater (correlation form), or lie closer together within a
form (spread form). As leniency rises the two move oppositely, so leniency stands beside them. Neither is an
error as such: criteria of a good lesson do hang together.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.against_draws import adding, limits, mean_square_ratio
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.simulated import METHOD, Redraws, cutpoint_rows, redraws, score
from mentorstats.calibration.forms.form_correlation import METHOD as LINEARISED
from mentorstats.calibration.forms.form_correlation import residual_correlation
from mentorstats.calibration.forms.form_table import Forms, both_forms, forms, mean_correlation, mean_spread
from mentorstats.calibration.raters.rater_rows import finished, rater_rows, without_fit
from mentorstats.entry import entry
from mentorstats.estimate import Status, has_value

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_COLUMNS = (
    "contrast", "contrast_se", "contrast_low", "contrast_high", "p", "n_forms",
    "correlation", "correlation_low", "correlation_high",
    "correlation_expected", "correlation_expected_low", "correlation_expected_high",
    "criterion_sd", "criterion_sd_low", "criterion_sd_high",
    "criterion_sd_expected", "criterion_sd_expected_low", "criterion_sd_expected_high",
    "residual_correlation", "residual_correlation_low", "residual_correlation_high",
)  # fmt: skip


@entry()
def halo(base: Base, drawn: Redraws | None = None, *, confidence: float = 0.95) -> pd.DataFrame:
    """How closely each rater's criteria follow one another, in both forms, leniency beside.

    Parameters
    ----------
    base
        The base fit.
    drawn
        Ratings drawn from it (`redraws`); made with the default seed unless given.
    confidence
        Coverage of intervals.

    Returns
    -------
    DataFrame
        One row a rater and role. ``correlation``: mean correlation of two criteria over the rater's forms,
        by Fisher's z, criteria standardised within role and version first; delete-one-lesson jackknife.
        ``criterion_sd``: mean over forms of the standard deviation across standardised criteria, t by
        lesson. ``residual_correlation``: of what candidate and lesson leave, on the latent scale.
        ``contrast``: mean correlation of the scores of a form's ratings, given all effects of the base fit,
        less what it is in drawn ratings; unshrunken, positive where criteria follow one another more.

    Notes
    -----
    Were a form's ratings to share an effect of variance σ² beyond the fit, the slope of the log-likelihood at
    σ² = 0 would be ½ Σ over forms of (Σs)² − ΣI, s the scores and I the information of the ratings
    [lin_1997]; were their residuals correlated by ρ (a normal copula), Σs² would stand for ΣI, s the normal
    scores. The second is used, with the scores of the fit's own link and over Σs², so that a rater whose
    scores are small throughout, as one who gathers in the middle, is not taken for it:
    T = Σ(Σs)² / ΣΣs² = 1 + r̄ ΣK(K − 1)/ΣK, K criteria a form.
    """
    reference = "balzer_sulsky_1992"
    if not has_value(base.status):
        return without_fit(base, _COLUMNS, confidence, reference)
    rows, laid = rater_rows(base), forms(base)
    drawn = drawn or redraws(base)
    n_forms = np.bincount(laid.rater, minlength=len(rows))
    several = np.bincount(laid.form)[laid.form] > 1
    extra = _form_scores(base, drawn, laid, several, confidence)
    rows = rows.assign(
        **extra, n_forms=n_forms, **_both(base, drawn, laid, confidence), **_residual(drawn, laid, confidence)
    )
    rows["n_forms"] = rows["n_forms"].astype("Int64")
    return finished(
        rows,
        value="contrast",
        confidence=confidence,
        method=f"{METHOD}; jackknife_by_lesson_z; t_by_lesson; {LINEARISED}",
        missing=Status.NOT_IDENTIFIED,
        why="No form has two criteria or more.",
        reference=reference,
    )


def _form_scores(
    base: Base, drawn: Redraws, laid: Forms, several: NDArray[np.bool_], confidence: float
) -> dict[str, Floats]:
    """Contrast of the correlation of scores; only forms of two criteria or more."""
    edges, n_raters = cutpoint_rows(base), len(base.raters)
    to_form = sparse.csr_array(adding(laid.form, len(laid.rater)) * several[None, :])
    to_rater = adding(laid.rater, n_raters)
    size = to_form @ np.ones(len(laid.form))
    with np.errstate(invalid="ignore"):
        others = (to_rater @ (size * (size - 1))) / (to_rater @ size)

    def gathered(ranks: Floats, predictor: Floats) -> Floats:
        slope = score(base, predictor, ranks.astype(np.int64) - 1, edges)
        squares = to_rater @ (to_form @ slope**2)
        return np.asarray(to_rater @ (to_form @ slope) ** 2 / np.where(squares > 0, squares, np.nan))

    given = gathered(base.ranks[:, None], base.predictor[:, None])[:, 0]
    again = [gathered(*part) for part in drawn.parts()]
    found = mean_square_ratio(given, np.concatenate(again, axis=1), confidence)
    unit = found.expected / others
    return {
        "contrast": found.contrast * unit,
        "contrast_se": found.se * unit,
        "contrast_low": found.low * unit,
        "contrast_high": found.high * unit,
        "p": found.p,
    }


def _both(base: Base, drawn: Redraws, laid: Forms, confidence: float) -> dict[str, Floats]:
    """The correlation and the spread form, each with interval and limits."""
    n_raters = len(base.raters)
    again = [both_forms(laid, ranks, n_raters) for ranks, _ in drawn.parts()]
    z_again, sd_again = (np.concatenate(parts, axis=1) for parts in zip(*again, strict=True))
    z, low, high = mean_correlation(laid, base.ranks, n_raters, confidence)
    around, sd_around = limits(z_again, confidence), limits(sd_again, confidence)
    sd, sd_low, sd_high = mean_spread(laid, base.ranks, n_raters, confidence)
    out = {
        "correlation": (z, low, high),
        "correlation_expected": (around.expected, around.low, around.high),
        "criterion_sd": (sd, sd_low, sd_high),
        "criterion_sd_expected": (sd_around.expected, sd_around.low, sd_around.high),
    }
    return {
        name + end: np.tanh(values) if name.startswith("correlation") else values
        for name, three in out.items()
        for end, values in zip(("", "_low", "_high"), three, strict=True)
    }


def _residual(drawn: Redraws, laid: Forms, confidence: float) -> dict[str, Floats]:
    place = np.full((len(laid.rater), laid.n_columns), -1)
    place[laid.form, laid.column] = np.arange(len(laid.form))
    first, second = place[:, laid.left], place[:, laid.right]
    form, pair = np.nonzero((first >= 0) & (second >= 0))
    found = residual_correlation(drawn, (first[form, pair], second[form, pair]), form, laid.rater, confidence)
    name = "residual_correlation"
    return {name: found.value, f"{name}_low": found.low, f"{name}_high": found.high}
