"""Does a rater gather ratings in the middle, or use too little of the scale anywhere? Two things.

Central tendency: cut-points further from their middle than those of the other raters of the role, so that
ratings gather in the middle levels. Range restriction: ratings that differ little from one another, wherever
they lie, also at one end [saal_1980].
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.stats import norm

from mentorstats.calibration.base.against_draws import (
    Limits,
    adding,
    limits,
    mean_square_ratio,
    over_expected,
)
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.simulated import METHOD, Redraws, cutpoint_rows, moments, redraws, shares
from mentorstats.calibration.raters.between import SHRUNKEN, contrasts
from mentorstats.calibration.raters.rater_rows import (
    CONTRAST,
    CONTRAST_Z,
    EFFECT,
    contrast_columns,
    finished,
    interval_columns,
    rater_rows,
    without_fit,
)
from mentorstats.entry import entry
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.local.score_test import Step, dispersions, step, stretches

Floats = NDArray[np.float64]

OWN_CRITERIA = "rater × criterion"
_CENTRAL = (
    *CONTRAST, "p", *EFFECT,
    "factor", "factor_low", "factor_high", "dispersion", "dispersion_se",
    "share_middle", "share_middle_expected", "share_middle_expected_low", "share_middle_expected_high",
    "share_middle_average_rater",
)  # fmt: skip
_RESTRICTION = (
    *CONTRAST, "p",
    "sd", "sd_expected", "sd_expected_low", "sd_expected_high", "sd_average_rater",
)  # fmt: skip


@entry()
def central_tendency(base: Base, drawn: Redraws | None = None, *, confidence: float = 0.95) -> pd.DataFrame:
    """How far each rater's ratings are drawn towards the middle, against the other raters of the role.

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
        One row a rater and role. ``contrast``: by what share what the rater sees is drawn towards the
        middle of the cut-points, unshrunken, against the weighted mean of the role's other raters with
        whom criteria are shared, by one step from the fit; positive is central, negative spread out.
        ``factor``: how many times as far from the middle the cut-points lie, 1 / (1 − contrast).
        ``effect``: shrunken. ``dispersion``: log of the latent scatter against the others' instead,
        without the predictor. ``share_middle``: share of the middle level, or two, with what the base fit
        expects of the same ratings, and of a rater of middling severity (``share_middle_average_rater``).

    Notes
    -----
    With a severity of their own, ratings that gather at one end are fitted by stretched cut-points too. To be
    central they must lie in the middle more often than a middling rater's: ``p`` of a positive contrast is
    the larger of its own and of that of the share, the test of two conditions together [berger_1982].
    """
    if not has_value(base.status):
        return without_fit(base, _CENTRAL, confidence, "saal_1980")
    rows = rater_rows(base)
    families, own = _families(base), base.by_rater()
    found = _by_family(step(base.at, stretches(base.at, own)), families)
    scatter = _by_family(step(base.at, dispersions(base.at, own)), families)
    middle = middle_shares(base, drawn or redraws(base), confidence)
    central = np.where(found["contrast"] > 0, middle.pop("p_middle"), 0.0)
    rows = rows.assign(
        **contrast_columns(found["contrast"], found["contrast_se"], confidence),
        **interval_columns(EFFECT, found["effect"], found["effect_se"], confidence),
        dispersion=scatter["contrast"],
        dispersion_se=scatter["contrast_se"],
        **middle,
    )
    rows["p"] = np.fmax(rows["p"], np.where(rows["p"].isna(), np.nan, central))
    for end in ("", "_low", "_high"):
        rows["factor" + end] = times_as_far(rows["contrast" + end].to_numpy())
    return finished(
        rows,
        value="contrast",
        confidence=confidence,
        method=f"{CONTRAST_Z}; {SHRUNKEN}; {METHOD}",
        missing=Status.NOT_IDENTIFIED,
        why="No other rater of the role shares cut-points with this one, or ratings say nothing of them.",
        reference="saal_1980",
    )


def times_as_far(contrast: Floats) -> Floats:
    """1 / (1 − contrast), infinite from 1."""
    with np.errstate(divide="ignore"):
        return np.where(contrast < 1, 1 / (1 - np.minimum(contrast, 1.0)), contrast * np.inf)


def _families(base: Base) -> NDArray[np.int64]:
    """Raters of one role who share criteria of a version, directly or through others, (r,)."""
    measure = base.model.rows.threshold_group
    n, m = len(base.raters), int(measure.max()) + 1
    edges = (np.ones(len(measure)), (base.rater_of_row, n + measure))
    _, part = connected_components(sparse.coo_array(edges, shape=(n + m, n + m)), directed=False)
    role = pd.factorize(base.raters["rater_role"])[0]
    return np.asarray(role * (int(part.max()) + 1) + part[:n], dtype=np.int64)


def _by_family(found: Step, families: NDArray[np.int64]) -> dict[str, Floats]:
    names = ("contrast", "contrast_se", "effect", "effect_se")
    out = {name: np.full(len(families), np.nan) for name in names}
    for one in np.unique(families):
        own = families == one
        part = contrasts(found, own)
        for name, values in zip(names, (part.contrast, part.se, part.effect, part.effect_se), strict=True):
            out[name][own] = values
    return out


def middle_levels(n_levels: int) -> NDArray[np.int64]:
    """The middle rank of an odd number of levels, the middle two of an even number."""
    return np.arange((n_levels + 1) // 2, n_levels // 2 + 2)


def middle_shares(base: Base, drawn: Redraws, confidence: float) -> dict[str, Floats]:
    """Share of middle levels by rater with limits; NaN where every level is a middle one.

    ``p_middle`` is one-sided, that the share is no larger than a middling rater's of the same lessons; the
    spread of the share is that of the draws.
    """
    edges, n_raters = cutpoint_rows(base), len(base.raters)
    expected = (f"share_middle_expected{end}" for end in ("", "_low", "_high"))
    names = ("share_middle", *expected, "share_middle_average_rater", "p_middle")
    wanted = middle_levels(edges.shape[1] + 1)
    if len(wanted) > edges.shape[1]:
        return dict.fromkeys(names, np.full(n_raters, np.nan))
    mean = adding(base.rater_of_row, n_raters) / base.raters["n_ratings"].to_numpy()[:, None]

    def beyond(ranks: Floats, predictor: Floats) -> Floats:
        """Share given less the share expected, by rater."""
        expected = shares(base, predictor, edges)[wanted - 1].sum(axis=0)
        return np.asarray(mean @ (np.isin(ranks, wanted) - expected))

    away = np.concatenate([beyond(*part) for part in drawn.parts()], axis=1)
    given = np.asarray(mean @ np.isin(base.ranks, wanted))
    at = given - beyond(base.ranks, base.predictor)
    middling = np.asarray(mean @ shares(base, middling_predictor(base), edges)[wanted - 1].sum(axis=0))
    found = limits(at[:, None] + away, confidence)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = norm.sf((given - middling) / away.std(axis=1))
    ends = np.clip([found.expected, found.low, found.high], 0.0, 1.0)
    return dict(zip(names, (given, *ends, middling, p), strict=True))


def middling_predictor(base: Base) -> Floats:
    """Linear predictor of each rating had the rater no severity of their own, (n,)."""
    own = base.joint.b.copy()
    for t, members in enumerate(base.model.members):
        if members.name not in ("rater", OWN_CRITERIA):
            own[base.joint.part(t)] = 0.0
    return np.asarray(base.predictor - base.random_columns @ own)


@entry()
def range_restriction(base: Base, drawn: Redraws | None = None, *, confidence: float = 0.95) -> pd.DataFrame:
    """How far each rater's ratings spread, beside what the very same lessons and criteria would show.

    Parameters
    ----------
    base, drawn, confidence
        As for `central_tendency`.

    Returns
    -------
    DataFrame
        One row a rater and role. ``sd``: standard deviation of the ranks given. ``sd_expected``: what the
        base fit expects, with limits from drawn ratings. ``contrast``: one over the other less one, so
        −0.2 is a fifth less spread than expected; unshrunken. What is expected has the rater's own severity,
        with which ratings at one end of the scale spread little; ``sd_average_rater`` is what a rater of
        average severity would be expected to show on the same lessons and criteria.
    """
    if not has_value(base.status):
        return without_fit(base, _RESTRICTION, confidence, "saal_1980")
    rows, edges = rater_rows(base), cutpoint_rows(base)
    sums = adding(base.rater_of_row, len(rows))
    n = rows["n_ratings"].to_numpy(dtype=np.float64)
    given = squares(sums, n, base.ranks[:, None])[:, 0]
    expected = _or_nothing(sums, n, *moments(shares(base, base.predictor, edges)[..., None]))[:, 0]
    parts = [
        over_expected(
            squares(sums, n, drawn_ranks), _or_nothing(sums, n, *moments(shares(base, predictor, edges)))
        )
        for drawn_ranks, predictor in (drawn or redraws(base)).parts()
    ]
    several = n > 1
    again = np.concatenate(parts, axis=1)
    found = mean_square_ratio(over_expected(given, expected), again, confidence, root=0.5)
    around = limits(again, confidence)
    middling = _or_nothing(sums, n, *moments(shares(base, middling_predictor(base)[:, None], edges)))
    scale = np.where(several, expected / np.maximum(n - 1, 1), np.nan)
    rows = rows.assign(
        contrast=found.contrast,
        contrast_se=found.se,
        contrast_low=found.low,
        contrast_high=found.high,
        p=found.p,
        sd=np.sqrt(np.where(several, given / np.maximum(n - 1, 1), np.nan)),
        **_roots(scale, around),
        sd_average_rater=np.sqrt(middling[:, 0] / np.maximum(n - 1, 1)),
    )
    return finished(
        rows,
        value="contrast",
        confidence=confidence,
        method=METHOD,
        missing=Status.NOT_IDENTIFIED,
        why="One rating has no spread.",
        reference="saal_1980",
    )


def _roots(scale: Floats, around: Limits) -> dict[str, Floats]:
    ends = {"": around.expected, "_low": around.low, "_high": around.high}
    return {f"sd_expected{end}": np.sqrt(scale * values) for end, values in ends.items()}


def squares(sums: sparse.csr_array, n: Floats, ranks: Floats) -> Floats:
    """Sum of squares about each rater's mean, (r, draws): Σy² − (Σy)²/n."""
    return np.asarray(sums @ ranks**2 - (sums @ ranks) ** 2 / n[:, None])


def _or_nothing(sums: sparse.csr_array, n: Floats, expected: Floats, variance: Floats) -> Floats:
    """`expected_squares`, NaN for a rater of one rating."""
    return np.where(n[:, None] > 1, expected_squares(sums, n, expected, variance), np.nan)


def expected_squares(sums: sparse.csr_array, n: Floats, expected: Floats, variance: Floats) -> Floats:
    """Its expectation: Σv (1 − 1/n) + Σμ² − (Σμ)²/n, for expectations μ and variances v of the ratings."""
    within = (sums @ variance) * (1 - 1 / n)[:, None]
    return np.maximum(within + squares(sums, n, expected), 0.0)
