"""Forms as a table of criteria, and the two descriptive forms of halo computed from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import t

from mentorstats.calibration.base.against_draws import adding
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.rows import MEASURE

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FEWEST_FORMS = 4  # behind a correlation: Fisher's z has variance 1 / (n − 3)
_FLAT = 1e-9  # sum of squares below which a rater gave a criterion one level only


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
    column, names = pd.factorize(base.rows[MEASURE], sort=True)
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


def both_forms(laid: Forms, ranks: Floats, n_raters: int) -> tuple[Floats, Floats]:
    """Mean z and mean spread by rater of each draw, (r, draws) each."""
    values = laid.standardised(ranks)
    to_rater = adding(laid.rater, n_raters)
    tables = [laid.laid(column) for column in values.T]
    z = [_mean_z(*_correlations(to_rater, laid, table)) for table in tables]
    spreads = [form_mean(to_rater, _form_sd(table))[0] for table in tables]
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
    centre, count = form_mean(to_rater, without)
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


def form_mean(to_rater: sparse.csr_array, values: Floats) -> tuple[Floats, Floats]:
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
    mean, count = form_mean(to_rater, sd)
    squares = to_rater @ np.where(np.isnan(sd), 0.0, sd - mean[laid.rater]) ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        half = t.ppf(0.5 + confidence / 2, count - 1) * np.sqrt(squares / (count - 1) / count)
    return mean, mean - half, mean + half
