"""Agreement under each rubric version, with and without ratings that were not independent."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from mentorstats.agreement.coefficients.coefficients import coefficients
from mentorstats.agreement.counts.pairing import ROLES, VERSION, each_version, stacked
from mentorstats.errors import need_columns
from mentorstats.estimate import no_rows


def by_version(
    pairs: pd.DataFrame,
    rubrics: pd.DataFrame,
    *,
    by: Sequence[str] = ("criterion",),
    cluster: Sequence[str] = ("candidate",),
    confidence: float = 0.95,
    unit_weights: str | None = None,
) -> pd.DataFrame:
    """Agreement of the two sides under each rubric version; versions are never pooled.

    Parameters
    ----------
    pairs
        From `double_scored`, or a selection of its rows.
    rubrics
        The declared levels: rubric, version, criterion, rank.
    by
        Further columns; one set of coefficients for each combination. Empty for a version at once.
    cluster
        Within which ratings go together: ``candidate``, ``supervisor`` (the second side), or both.
    unit_weights
        As in `coefficients`: a column of the pairs.

    Returns
    -------
    DataFrame
        As from `coefficients` with quadratic weights, indexed by rubric, rubric_version,
        ``by`` and coefficient. ``percent_agreement`` and ``percent_adjacent`` do not
        depend on the weights.
    """
    parts = []
    for version, chosen, n_levels in each_version(pairs, rubrics):
        found = coefficients(
            stacked(chosen.assign(supervisor=chosen["rater_second"]), names=ROLES),
            unit="pair",
            rater="side",
            level="rank",
            levels=range(1, n_levels + 1),
            weights="quadratic",
            cluster=list(cluster),
            by=list(by) or None,
            confidence=confidence,
            unit_weights=unit_weights,
        )
        parts.append(pd.concat([found], keys=[version], names=VERSION))
    return pd.concat(parts) if parts else no_rows([*VERSION, *by, "coefficient"])


def side_by_side(
    pairs: pd.DataFrame,
    rubrics: pd.DataFrame,
    *,
    by: Sequence[str] = (),
    cluster: Sequence[str] = ("candidate",),
    confidence: float = 0.95,
    lesson_weights: pd.Series | None = None,
) -> pd.DataFrame:
    """Agreement with and without ratings marked as not independent, and weighted to all lessons.

    Parameters
    ----------
    pairs, rubrics, by, cluster, confidence
        As in `by_version`.
    lesson_weights
        Weight of each observation, from `inverse_probability_weights`. Lessons without one are left out
        of the weighted rows, and of rows of the same lessons without weights.

    Returns
    -------
    DataFrame
        As from `by_version`, with ``ratings`` in front of the index: ``all``, ``not_marked`` (a pair for
        which nothing was recorded is kept), ``marked_independent`` (only pairs of which both are known to
        be independent), and with weights ``weighted`` and ``weighted_lessons_alike``, the same pairs each
        counting one.
    """
    need_columns(pairs.columns, ["observation", "independent"], where="pairs")
    known = pairs["independent"].astype("boolean")
    chosen: dict[str, tuple[pd.DataFrame, str | None]] = {
        "all": (pairs, None),
        "not_marked": (pairs[known.fillna(True).astype(bool)], None),
        "marked_independent": (pairs[known.fillna(False).astype(bool)], None),
    }
    if lesson_weights is not None:
        weight = pairs["observation"].map(lesson_weights).astype(float)
        weighted = pairs.assign(lesson_weight=weight)[weight.notna()]
        chosen |= {"weighted": (weighted, "lesson_weight"), "weighted_lessons_alike": (weighted, None)}
    found = {
        name: by_version(
            rows, rubrics, by=by, cluster=cluster, confidence=confidence, unit_weights=unit_weights
        )
        for name, (rows, unit_weights) in chosen.items()
    }
    return pd.concat(found, names=["ratings"])
