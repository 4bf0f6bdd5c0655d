"""How often does each rater use each level, beside what the same lessons and criteria would show?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.calibration.base.against_draws import adding, limits
from mentorstats.calibration.base.base import Base
from mentorstats.calibration.base.simulated import METHOD, Redraws, cutpoint_rows, redraws, shares
from mentorstats.calibration.raters.rater_rows import finished, rater_rows
from mentorstats.entry import entry
from mentorstats.errors import need_columns
from mentorstats.estimate import has_value
from mentorstats.tables import numbers

Floats = NDArray[np.float64]

_EXPECTED = ("expected_share", "expected_share_low", "expected_share_high", "p_unused")


@entry()
def level_use(base: Base, drawn: Redraws | None = None, *, confidence: float = 0.95) -> pd.DataFrame:
    """Counts and shares of every level by rater, with what is expected of them.

    Parameters
    ----------
    base
        The base fit.
    drawn
        Ratings drawn from it (`redraws`); made with the default seed unless given.
    confidence
        Share of draws between the limits.

    Returns
    -------
    DataFrame
        One row a rater, role and level (its rank): ``n`` times given, ``observed_share``,
        ``expected_share`` with limits, ``p_unused``: share of draws in which the rater would not have used
        the level at all.
    """
    n_levels = len(base.model.found.levels)
    rows = rater_rows(base)
    group = rows.groupby(["rater", "rater_role"], sort=False).ngroup()
    keys = pd.MultiIndex.from_frame(rows[["rater", "rater_role"]])
    of_row = keys.get_indexer(pd.MultiIndex.from_frame(base.rows[["rater", "rater_role"]])).astype(np.int64)
    sums, n = adding(of_row, len(rows)), rows["n_ratings"].to_numpy(dtype=np.float64)
    ranks = base.rows["rank"].to_numpy()
    given = np.stack([sums @ (ranks == level + 1).astype(np.float64) for level in range(n_levels)], axis=1)
    wide = rows.loc[np.repeat(group.to_numpy(), n_levels)].drop(columns="leniency_level")
    wide = wide.assign(
        level=np.tile(np.arange(1, n_levels + 1), len(rows)),
        n=given.ravel().astype(np.int64),
        observed_share=(given / n[:, None]).ravel(),
    )
    fitted = has_value(base.status)
    expected = _expected(base, drawn or redraws(base), given / n[:, None], confidence) if fitted else {}
    wide = wide.assign(**{name: expected.get(name, np.nan) for name in _EXPECTED})
    return finished(
        wide,
        value="expected_share",
        confidence=confidence,
        method=METHOD,
        missing=base.status,
        why=base.status_note,
        reference="",
        by=("rater_role", "rater", "level"),
    )


def _expected(base: Base, drawn: Redraws, given: Floats, confidence: float) -> dict[str, Floats]:
    """Shares expected, their limits and how often a level is not used, rater by level, flattened."""
    edges, n_raters = cutpoint_rows(base), len(base.raters)
    mean = adding(base.rater_of_row, n_raters) / base.raters["n_ratings"].to_numpy()[:, None]
    out: dict[str, list[Floats]] = {name: [] for name in _EXPECTED}
    fitted = np.asarray(mean @ shares(base, base.predictor, edges).T)
    away, used = [], []
    for ranks, predictor in drawn.parts():
        levels = shares(base, predictor, edges)
        counted = [ranks == level + 1 for level in range(given.shape[1])]
        away.append(np.stack([mean @ (c - e) for c, e in zip(counted, levels, strict=True)]))
        used.append(np.stack([mean @ c > 0 for c in counted]))
    beyond, ever = np.concatenate(away, axis=2), np.concatenate(used, axis=2)
    for level in range(given.shape[1]):
        found = limits(fitted[:, level, None] + beyond[level], confidence)
        for name, values in zip(_EXPECTED, (found.expected, found.low, found.high), strict=False):
            out[name].append(np.clip(values, 0.0, 1.0))
        out["p_unused"].append(1 - ever[level].mean(axis=1))
    return {name: np.stack(values, axis=1).ravel() for name, values in out.items()}


@entry(keep_index=True)
def never_used(found: pd.DataFrame) -> pd.DataFrame:
    """Levels that a rater never gave, from `level_use`; ``p_unused`` says how far that is to be expected."""
    need_columns(found.columns, ["n"], where="found")
    return found.loc[numbers(found["n"], "found").eq(0).fillna(False)].reset_index(drop=True)
