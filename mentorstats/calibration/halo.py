"""Do the criteria of one form follow one another more than for other raters? Two forms and a score test.

There is no agreed definition of halo [balzer_sulsky_1992], and the two usual ones need not agree
[pulakos_schmitt_1986]: criteria correlate more within the rater (correlation form), or lie closer together
within a form (spread form). As leniency rises the two move oppositely, so leniency stands beside them. Neither
is an error as such: criteria of a good lesson do hang together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import t

from mentorstats.calibration.against_draws import adding, limits, mean_square_ratio
from mentorstats.calibration.base import Base
from mentorstats.calibration.form_correlation import METHOD as LINEARISED
from mentorstats.calibration.form_correlation import residual_correlation
from mentorstats.calibration.rater_rows import finished, rater_rows, without_fit
from mentorstats.calibration.redraws import METHOD, Redraws, cutpoint_rows, redraws, score
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
_FEWEST_FORMS = 4  # behind a correlation: Fisher's z has variance 1 / (n − 3)


@dataclass(frozen=True)
class Forms:
    """Ratings laid out as one row a form (one rater's of one lesson) and one column a criterion of a version.

    Attributes
    ----------
    form, column
        Place of each rating, (n,).
    rater
        Rater of each form, a row of ``base.raters``.
    role
        Role of each rating's rater, counted from 0, (n,).
    left, right
        Pairs of columns that some form has both of.
    """

    form: Ints
    column: Ints
    rater: Ints
    role: Ints
    n_columns: int
    left: Ints
    right: Ints

    @property
    def there(self) -> Floats:
        """1 where a form has a rating, (forms, columns)."""
        return self.laid(np.ones(len(self.form)), 0.0)

    def laid(self, values: Floats, empty: float = np.nan) -> Floats:
        """Values of ratings as a table, (forms, columns)."""
        out = np.full((len(self.rater), self.n_columns), empty)
        out[self.form, self.column] = values
        return out

    def standardised(self, ranks: Floats) -> Floats:
        """Ranks less the mean, over the standard deviation of their role and criterion, (n, draws).

        NaN where a criterion has only one level in a role.
        """
        group = self.role * self.n_columns + self.column
        sums = adding(group, (int(self.role.max()) + 1) * self.n_columns)
        count = np.maximum(sums @ np.ones(len(group)), 1)[:, None]
        mean = (sums @ ranks) / count
        variance = (sums @ ranks**2) / count - mean**2
        sd = np.sqrt(np.where(variance > 1e-12, variance, np.nan))
        return np.asarray((ranks - mean[group]) / sd[group])


def forms(base: Base) -> Forms:
    """Lay out the ratings of the base fit."""
    rater = base.rater_of_row
    lesson = pd.factorize(base.rows["observation"])[0].astype(np.int64)
    key, form = np.unique(rater * (int(lesson.max()) + 1) + lesson, return_inverse=True)
    column, names = pd.factorize(base.rows["criterion_of_version"], sort=True)
    role = pd.factorize(base.rows["rater_role"], sort=True)[0]
    there = sparse.csr_array((np.ones(len(form)), (form, column)), shape=(len(key), len(names)))
    both = np.triu((there.T @ there).toarray() > 0, k=1)
    left, right = np.nonzero(both)
    return Forms(
        form.astype(np.int64),
        column.astype(np.int64),
        key // (int(lesson.max()) + 1),
        role.astype(np.int64),
        len(names),
        left,
        right,
    )


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
    With residuals of correlation ρ within the rater's forms (a normal copula), the slope of the log-likelihood
    at ρ = 0 is Σ s_k s_l over pairs of criteria of one form = ½ Σ over forms of (Σs)² − Σs², s the normal
    scores of the ratings [lin_1997 for the same score with an effect of the form]. It is taken over Σs², so that
    a rater whose scores are small for another reason, as one who gathers in the middle, is not taken for it:
    T = Σ(Σs)² / ΣΣs² = 1 + (K − 1) r̄, K criteria a form. Scores are those of the fit's own link.
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
        missing=Status.ONE_UNIT,
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
    others = _mean(to_rater, np.where(size > 1, size - 1, np.nan))[0]

    def gathered(ranks: Floats, predictor: Floats) -> Floats:
        slope = score(base, predictor, ranks.astype(np.int64) - 1, edges)
        squares = to_rater @ (to_form @ slope**2)
        return np.asarray(to_rater @ (to_form @ slope) ** 2 / np.where(squares > 0, squares, np.nan))

    given = gathered(base.ranks[:, None], base.predictor[:, None])[:, 0]
    again = [gathered(drawn.ranks[:, part], drawn.predictor[:, part]) for part in drawn.parts()]
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
    again = [_forms_of_halo(laid, drawn.ranks[:, part], n_raters) for part in drawn.parts()]
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


def _forms_of_halo(laid: Forms, ranks: NDArray[np.uint8], n_raters: int) -> tuple[Floats, Floats]:
    """Mean z and mean spread by rater of each draw, (r, draws) each."""
    values = laid.standardised(ranks.astype(np.float64))
    to_rater = adding(laid.rater, n_raters)
    tables = [laid.laid(column) for column in values.T]
    z = [_mean_z(*_correlations(to_rater, laid, table)) for table in tables]
    spreads = [_mean(to_rater, _form_sd(table))[0] for table in tables]
    return np.stack(z, axis=1), np.stack(spreads, axis=1)


def _pair_sums(laid: Forms, table: Floats) -> Floats:
    """n, x, y, x², y², xy of every form and pair of criteria that it has both of, (6, forms, pairs)."""
    x, y = table[:, laid.left], table[:, laid.right]
    both = ~(np.isnan(x) | np.isnan(y))
    x, y = np.where(both, x, 0.0), np.where(both, y, 0.0)
    return np.stack([both.astype(np.float64), x, y, x**2, y**2, x * y])


def _correlations(to_rater: sparse.csr_array, laid: Forms, table: Floats) -> tuple[Floats, Floats]:
    sums = _pair_sums(laid, table)
    return _from_sums(np.stack([to_rater @ part for part in sums]))


def _from_sums(sums: Floats) -> tuple[Floats, Floats]:
    """Correlations, capped at 1 − 1/(2n) so that Fisher's z is finite, and their n; NaN where undefined."""
    n, x, y, xx, yy, xy = sums
    with np.errstate(divide="ignore", invalid="ignore"):
        own_x, own_y = xx - x**2 / n, yy - y**2 / n
        some = (n >= _FEWEST_FORMS) & (own_x > _FLAT) & (own_y > _FLAT)
        found = np.where(some, (xy - x * y / n) / np.sqrt(np.where(some, own_x * own_y, 1.0)), np.nan)
        most = 1 - 1 / (2 * n)
        return np.clip(found, -most, most), n


_FLAT = 1e-9  # sum of squares below which a rater gave a criterion one level only


def _mean_z(correlation: Floats, n: Floats) -> Floats:
    """Mean of Fisher's z over pairs weighted by n − 3, the inverse of its variance, (rows,)."""
    weight = np.where(np.isnan(correlation), 0.0, n - 3)
    z = np.arctanh(np.where(np.isnan(correlation), 0.0, correlation))
    total = weight.sum(axis=1)
    return np.where(total > 0, (weight * z).sum(axis=1) / np.where(total > 0, total, 1.0), np.nan)


def mean_correlation(
    laid: Forms, ranks: Floats, n_raters: int, confidence: float
) -> tuple[Floats, Floats, Floats]:
    """Mean z by rater with bounds by delete-one-lesson jackknife, t with lessons − 1, (r,) each."""
    table = laid.laid(laid.standardised(ranks[:, None])[:, 0])
    to_rater = adding(laid.rater, n_raters)
    sums = _pair_sums(laid, table)
    whole = np.stack([to_rater @ part for part in sums])
    value = _mean_z(*_from_sums(whole))
    without = _mean_z(*_from_sums(whole[:, laid.rater] - sums))
    centre, count = _mean(to_rater, without)
    squares = to_rater @ np.where(np.isnan(without), 0.0, without - centre[laid.rater]) ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        se = np.sqrt(squares * (count - 1) / count)
        half = t.ppf(0.5 + confidence / 2, count - 1) * np.where(count > _FEWEST_FORMS, se, np.nan)
    return value, value - half, value + half


def _form_sd(table: Floats) -> Floats:
    """Standard deviation across the criteria of each form, (forms,); NaN with fewer than two."""
    there = ~np.isnan(table)
    n = there.sum(axis=1)
    values = np.where(there, table, 0.0)
    squares = (values**2).sum(axis=1) - values.sum(axis=1) ** 2 / np.maximum(n, 1)
    return np.sqrt(np.where(n > 1, np.maximum(squares, 0.0) / np.maximum(n - 1, 1), np.nan))


def _mean(to_rater: sparse.csr_array, values: Floats) -> tuple[Floats, Floats]:
    """Mean by rater of what is there, and how many are, (r,) each."""
    there = ~np.isnan(values)
    count = to_rater @ there.astype(np.float64)
    total = to_rater @ np.where(there, values, 0.0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan), count


def mean_spread(
    laid: Forms, ranks: Floats, n_raters: int, confidence: float
) -> tuple[Floats, Floats, Floats]:
    """Mean over forms of the standard deviation across criteria, with bounds by t, (r,) each."""
    table = laid.laid(laid.standardised(ranks[:, None])[:, 0])
    to_rater = adding(laid.rater, n_raters)
    sd = _form_sd(table)
    mean, count = _mean(to_rater, sd)
    squares = to_rater @ np.where(np.isnan(sd), 0.0, sd - mean[laid.rater]) ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        half = t.ppf(0.5 + confidence / 2, count - 1) * np.sqrt(squares / (count - 1) / count)
    return mean, mean - half, mean + half


def _residual(drawn: Redraws, laid: Forms, confidence: float) -> dict[str, Floats]:
    place = np.full((len(laid.rater), laid.n_columns), -1)
    place[laid.form, laid.column] = np.arange(len(laid.form))
    first, second = place[:, laid.left], place[:, laid.right]
    form, pair = np.nonzero((first >= 0) & (second >= 0))
    found = residual_correlation(drawn, (first[form, pair], second[form, pair]), form, laid.rater, confidence)
    name = "residual_correlation"
    return {name: found.value, f"{name}_low": found.low, f"{name}_high": found.high}
