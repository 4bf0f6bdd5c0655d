"""Which raters to talk with: marks under false-discovery control, and how many chance alone would make.

A mark needs two things: the unshrunken contrast passes Benjamini and Hochberg's procedure among the raters
of its role, and its whole interval lies beyond the smallest effect that the policy cares about.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import gammaln
from scipy.stats import norm
from statsmodels.stats.multitest import multipletests

from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value

Floats = NDArray[np.float64]

ADDED = ("p_adjusted", "marked", "rank_low", "rank_high", "call_status")


def mark(
    table: pd.DataFrame,
    *,
    q: float,
    smallest: float,
    scale: str = "contrast_level",
    family: Sequence[str] = ("rater_role",),
    not_ignorable: Collection[str] = (),
    by_assumption: bool = False,
    fewest: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Mark raters for a talk.

    Parameters
    ----------
    table
        One row a rater: ``contrast, contrast_se, contrast_low, contrast_high, p, confidence, status``, the
        columns of ``family`` and the interval ``{scale}_low``, ``{scale}_high``.
    q
        Largest expected share of marks that are false [benjamini_hochberg_1995]; 0 < q < 1.
    smallest
        Smallest effect of interest, on ``scale``; zero or more.
    scale
        Column on whose scale ``smallest`` is.
    family
        Columns whose combinations are judged apart: raters of one role, one effect.
    not_ignorable
        Roles whose candidates did not come as if at random; no rater of theirs is marked.
    by_assumption
        Whether raters who are told from their candidates by assumption only may be marked.
    fewest
        Columns of counts, such as ``n_candidates``, and the least that a rater needs of each to be judged;
        a rater with less, or of whom the count is missing, is ``too_few_to_assess``.

    Returns
    -------
    pandas.DataFrame
        The table with ``p_adjusted``; ``marked``, missing where no call is made; ``rank_low`` and
        ``rank_high``, between which the rater stands among those judged, 1 being the lowest, jointly for all
        raters of the family with the table's confidence [klein_2020]; and ``call_status``, why there is no
        call. Rows and their order are those given.

    Raises
    ------
    ColumnError
        A column is missing.
    ArgumentError
        ``q`` or ``smallest`` cannot be.
    """
    called = _checked(table, q, smallest, scale, family, not_ignorable, by_assumption, fewest)
    judged = called.eq(Status.OK.value).to_numpy()
    adjusted, low, high = (np.full(len(table), np.nan) for _ in range(3))
    for rows in _families(table, judged, family):
        part = table.iloc[rows]
        adjusted[rows] = multipletests(part["p"].to_numpy(), method="fdr_bh")[1]
        low[rows], high[rows] = ranks(
            part["contrast"], part["contrast_se"], float(part["confidence"].iloc[0])
        )
    beyond = (table[f"{scale}_low"] > smallest) | (table[f"{scale}_high"] < -smallest)
    marked = pd.array((adjusted <= q) & beyond.to_numpy(dtype=bool), dtype="boolean")
    marked[~judged] = pd.NA
    return table.assign(
        p_adjusted=adjusted,
        marked=marked,
        rank_low=pd.array(low, dtype="Int64"),
        rank_high=pd.array(high, dtype="Int64"),
        call_status=called,
    )


def ranks(contrast: pd.Series, error: pd.Series, confidence: float) -> tuple[Floats, Floats]:
    """Lowest and highest rank of each of m values, 1 the lowest, jointly with the confidence.

    Intervals cover all m values at once, each with confidence γ^(1/m) (Šidák). As many values as have
    their interval wholly below lie below for certain: the rank is at least one more, and at most m less
    those wholly above: theorem 1 of [klein_2020].
    """
    at, half = contrast.to_numpy(dtype=np.float64), error.to_numpy(dtype=np.float64)
    half = half * norm.isf((1 - confidence ** (1 / len(at))) / 2)
    below = np.searchsorted(np.sort(at + half), at - half, side="right")
    above = len(at) - np.searchsorted(np.sort(at - half), at + half, side="left")
    return 1.0 + below, float(len(at)) - above


def expected_by_chance(
    table: pd.DataFrame,
    *,
    q: float,
    smallest: float,
    scale: str = "contrast_level",
    family: Sequence[str] = ("rater_role",),
    not_ignorable: Collection[str] = (),
    by_assumption: bool = False,
    fewest: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """How many marks chance alone would make, were every rater of the family at zero.

    Parameters are those of ``mark``. Columns ``n_raters`` (judged) and ``marks_by_chance``, indexed by
    family; families without a rater to judge are left out.

    Notes
    -----
    Each contrast is normal about zero with its own error, and those of different raters are taken as
    independent. Of m even p-values the procedure rejects k with probability
    C(m, k) (1 − q) (kq/m)ᵏ (1 − kq/m)^(m−k−1) [dempster_1959]; given that, a p-value counts if
    it is at most kq/m and far enough out for its interval to lie beyond ``smallest``. Where that lies on the
    scale of the contrasts is read off the row's own two intervals. Errors are taken as told; where lessons
    have few ratings they are told some 5 % too small, and chance marks two or three times as many
    (tests/calibration/truth.csv, "raters alike").
    """
    called = _checked(table, q, smallest, scale, family, not_ignorable, by_assumption, fewest)
    judged = called.eq(Status.OK.value)
    found: dict[Hashable, dict[str, float]] = {}
    for rows in _families(table, judged.to_numpy(), family):
        part = table.iloc[rows]
        name = tuple(part.iloc[0][list(family)])
        found[name if len(name) > 1 else name[0]] = {
            "n_raters": len(part),
            "marks_by_chance": _expected(*_tails(part, smallest, scale), q),
        }
    index = pd.Index(list(found), name=family[0] if len(family) == 1 else None)
    if len(family) > 1 and len(index):
        index.names = list(family)
    return pd.DataFrame(list(found.values()), index=index, columns=["n_raters", "marks_by_chance"])


def _expected(below: Floats, above: Floats, q: float) -> float:
    """Expected marks: Σₖ P(k rejected)/q · Σᵢ P(pᵢ ≤ kq/m and beyond the smallest effect)."""
    m = len(below)
    k = np.arange(1, m + 1)
    edge = k * q / m
    logs = gammaln(m + 1) - gammaln(k + 1) - gammaln(m - k + 1) + k * np.log(edge) + np.log1p(-q)
    rejected = np.exp(logs + (m - k - 1) * np.log1p(-edge))
    inside = np.minimum(edge[:, None] / 2, below) + np.minimum(edge[:, None] / 2, above)
    return float((rejected / q * inside.sum(axis=1)).sum())


def _tails(part: pd.DataFrame, smallest: float, scale: str) -> tuple[Floats, Floats]:
    """Probability, at zero, of an interval wholly below −smallest, and of one wholly above it, (m,) each."""
    names = ["low", "", "high"]
    latent = part[[f"contrast_{n}" if n else "contrast" for n in names]].to_numpy(dtype=np.float64)
    shown = part[[f"{scale}_{n}" if n else scale for n in names]].to_numpy(dtype=np.float64)
    error = part["contrast_se"].to_numpy(dtype=np.float64)
    deviate = (latent[:, 2] - latent[:, 0]) / (2 * error)
    edges = np.array([_inverse(x, y, smallest) for x, y in zip(latent, shown, strict=True)])
    return norm.sf(-edges[:, 0] / error + deviate), norm.sf(edges[:, 1] / error + deviate)


def _inverse(latent: Floats, shown: Floats, smallest: float) -> tuple[float, float]:
    """Where the scale shown is −smallest and +smallest, by straight lines through a row's values and zero."""
    x, y = np.append(latent, 0.0), np.append(shown, 0.0)
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    slopes = np.diff(y) / np.maximum(np.diff(x), 1e-12)
    far = 1e3 + smallest
    first, last = max(slopes[0], 1e-9), max(slopes[-1], 1e-9)
    x = np.concatenate([[x[0] - far / first], x, [x[-1] + far / last]])
    y = np.concatenate([[y[0] - far], y, [y[-1] + far]])
    return float(np.interp(-smallest, y, x)), float(np.interp(smallest, y, x))


def _families(
    table: pd.DataFrame, judged: NDArray[np.bool_], family: Sequence[str]
) -> list[NDArray[np.intp]]:
    """Positions of the judged rows of each family."""
    numbers = table.groupby(list(family), observed=True, sort=False, dropna=False).ngroup().to_numpy()
    return [np.flatnonzero(judged & (numbers == number)) for number in np.unique(numbers[judged])]


def _checked(
    table: pd.DataFrame,
    q: float,
    smallest: float,
    scale: str,
    family: Sequence[str],
    not_ignorable: Collection[str],
    by_assumption: bool,
    fewest: Mapping[str, float] | None,
) -> pd.Series:
    """Why each row has no call, ``ok`` where it has one."""
    needed = ["contrast", "contrast_se", "contrast_low", "contrast_high", "p", "confidence", "status"]
    fewest = fewest or {}
    wanted = [*needed, *family, scale, f"{scale}_low", f"{scale}_high", *fewest]
    need_columns(table.columns, wanted, where="table")
    if not 0 < q < 1:
        raise ArgumentError(f"q = {q!r}", allowed="above 0 and below 1")
    if not 0 <= smallest < np.inf:
        raise ArgumentError(f"smallest = {smallest!r}", allowed="zero or more")
    if not_ignorable:
        need_columns(table.columns, ["rater_role"], where="table")
    enough = np.ones(len(table), dtype=bool)
    for name, least in fewest.items():
        enough &= table[name].ge(least).fillna(False).to_numpy(dtype=bool)
    roles = table.get("rater_role", table["status"])
    return pd.Series(
        [
            _call(Status(status), pd.isna(p), role in not_ignorable, by_assumption, many)
            for status, p, role, many in zip(table["status"], table["p"], roles, enough, strict=True)
        ],
        index=table.index,
        dtype="str",
    )


def _call(status: Status, unknown: bool, taken_back: bool, by_assumption: bool, enough: bool) -> str:
    if not has_value(status):
        return status.value
    if not enough:
        return Status.TOO_FEW_TO_ASSESS.value
    if taken_back:
        return Status.ASSIGNMENT_NOT_IGNORABLE.value
    if status is Status.BY_ASSUMPTION and not by_assumption:
        return status.value
    return Status.NOT_IDENTIFIED.value if unknown else Status.OK.value
