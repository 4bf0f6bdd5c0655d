"""Which raters are flagged for a calibration conversation, and how many would be by chance alone.

A flag needs enough candidates and lessons, and two things more: the unshrunken contrast passes Benjamini and
Hochberg's procedure among the raters of its role, and its whole interval is beyond the smallest effect that
matters to the policy.

For monitoring and rater training. Not a sole basis for any decision about a rater or a candidate; the
programme's policy, local rules and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import gammaln
from scipy.stats import false_discovery_control, norm

from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Rule
from mentorstats.tables import numbers, statuses

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Enough:
    """How many different candidates and lessons a rater needs to be assessed at all."""

    candidates: Rule
    lessons: Rule

    def few(self, table: pd.DataFrame) -> NDArray[np.bool_]:
        """Whether each rater has too few of either."""
        met = table["n_candidates"].map(self.candidates.met) & table["n_lessons"].map(self.lessons.met)
        return ~met.to_numpy(dtype=bool)


@entry(keep_index=True)
def flag(
    table: pd.DataFrame,
    *,
    q: float,
    smallest: float,
    scale: str = "contrast_level",
    family: Sequence[str] = ("rater_role",),
    not_ignorable: Collection[str] = (),
    by_assumption: bool = False,
    enough: Enough | None = None,
) -> pd.DataFrame:
    """Flag raters.

    Parameters
    ----------
    table
        One row a rater: ``contrast, contrast_se, contrast_low, contrast_high, p, confidence, status``, the
        columns of ``family`` and the interval ``{scale}_low``, ``{scale}_high``; with ``enough`` also
        ``n_candidates`` and ``n_lessons``.
    q
        Largest expected share of flags that are false [benjamini_hochberg_1995]; 0 < q < 1.
    smallest
        Smallest effect of interest, on ``scale``; zero or more.
    scale
        Column on whose scale ``smallest`` is.
    family
        Columns whose combinations are judged separately: raters of one role, one effect.
    not_ignorable
        Roles whose candidates were not assigned as if at random; no rater of theirs is flagged.
    by_assumption
        Whether raters who are compared only by assuming comparable caseloads may be flagged.
    enough
        Candidates and lessons that a rater needs; the others are not assessed.

    Returns
    -------
    pandas.DataFrame
        The table with ``p_adjusted``; ``flagged``, missing where a rater is not assessed; and
        ``flag_status``, why not. Rows and their order are those given.

    Raises
    ------
    ColumnError
        A column is missing.
    ArgumentError
        ``q`` or ``smallest`` cannot be.
    """
    table = _with_numbers(table, scale)
    assessed = _checked(table, q, smallest, scale, family, not_ignorable, by_assumption, enough)
    judged = assessed.eq(Status.OK.value).to_numpy()
    adjusted = np.full(len(table), np.nan)
    for rows in _families(table, judged, family):
        adjusted[rows] = false_discovery_control(table["p"].to_numpy(dtype=np.float64)[rows], method="bh")
    beyond = (table[f"{scale}_low"] > smallest) | (table[f"{scale}_high"] < -smallest)
    flagged = pd.array((adjusted <= q) & beyond.to_numpy(dtype=bool), dtype="boolean")
    flagged[~judged] = pd.NA
    return table.assign(p_adjusted=adjusted, flagged=flagged, flag_status=assessed)


@entry(keep_index=True)
def expected_by_chance(
    table: pd.DataFrame,
    *,
    q: float,
    smallest: float,
    scale: str = "contrast_level",
    family: Sequence[str] = ("rater_role",),
    not_ignorable: Collection[str] = (),
    by_assumption: bool = False,
    enough: Enough | None = None,
) -> pd.DataFrame:
    """How many raters would be flagged by chance if no rater of the family differed.

    Parameters are those of ``flag``. Columns ``n_raters`` (judged) and ``flagged_by_chance``, indexed by
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
    table = _with_numbers(table, scale)
    judged = _checked(table, q, smallest, scale, family, not_ignorable, by_assumption, enough).eq(
        Status.OK.value
    )
    found: dict[Hashable, dict[str, float]] = {}
    for rows in _families(table, judged.to_numpy(), family):
        part = table.iloc[rows]
        name = tuple(part.iloc[0][list(family)])
        found[name if len(name) > 1 else name[0]] = {
            "n_raters": len(part),
            "flagged_by_chance": _expected(*_tails(part, smallest, scale), q),
        }
    index = pd.Index(list(found), name=family[0] if len(family) == 1 else None)
    if len(family) > 1 and len(index):
        index.names = list(family)
    return pd.DataFrame(list(found.values()), index=index, columns=["n_raters", "flagged_by_chance"])


def _expected(below: Floats, above: Floats, q: float) -> float:
    """Expected flags: Σₖ P(k rejected)/q · Σᵢ P(pᵢ ≤ kq/m and beyond the smallest effect)."""
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


_NUMBERS = ("contrast", "contrast_se", "contrast_low", "contrast_high", "p", "confidence")


def _with_numbers(table: pd.DataFrame, scale: str) -> pd.DataFrame:
    """The table with numbers in the columns that calls are made from, or an error."""
    names = [*_NUMBERS, scale, f"{scale}_low", f"{scale}_high"]
    need_columns(table.columns, names, where="table")
    ready = table.assign(**{name: numbers(table[name], "table").astype("float64") for name in names})
    for name, legal, allowed in (
        ("p", ready["p"].between(0, 1), "0 to 1"),
        ("contrast_se", ready["contrast_se"] >= 0, "zero or more"),
        ("confidence", ready["confidence"].between(0, 1, inclusive="neither"), "above 0 and below 1"),
    ):
        wrong = ready.index[ready[name].notna() & ~legal]
        if len(wrong):
            raise ArgumentError(
                f"{len(wrong)} values are out of range, first at {wrong[0]}",
                where=f"table, column {name!r}",
                allowed=allowed,
            )
    return ready


def _checked(
    table: pd.DataFrame,
    q: float,
    smallest: float,
    scale: str,
    family: Sequence[str],
    not_ignorable: Collection[str],
    by_assumption: bool,
    enough: Enough | None,
) -> pd.Series:
    """Why each row is not assessed, ``ok`` where it is."""
    need_columns(table.columns, ["status", *family], where="table")
    statuses(table["status"], "table")
    if not family or len(set(family)) < len(family):
        raise ArgumentError("family names no column, or one twice", remedy="Name different columns.")
    if not 0 < q < 1:
        raise ArgumentError(f"q = {q!r}", allowed="above 0 and below 1")
    if not 0 <= smallest < np.inf:
        raise ArgumentError(f"smallest = {smallest!r}", allowed="zero or more")
    closed = set(not_ignorable)
    if closed:
        need_columns(table.columns, ["rater_role"], where="table")
    if enough is not None:
        need_columns(table.columns, ["n_candidates", "n_lessons"], where="table")
    few = np.zeros(len(table), dtype=bool) if enough is None else enough.few(table)
    lacking = table[[*_NUMBERS, scale, f"{scale}_low", f"{scale}_high"]].isna().any(axis=1)
    found = pd.Series(
        [
            _why_not(Status(status), missing, role in closed, by_assumption)
            for status, missing, role in zip(
                table["status"], lacking, table.get("rater_role", table["status"]), strict=True
            )
        ],
        index=table.index,
        dtype="str",
    )
    return found.mask(found.eq(Status.OK.value) & few, Status.TOO_FEW_TO_ASSESS.value)


def _why_not(status: Status, unknown: bool, taken_back: bool, by_assumption: bool) -> str:
    if not has_value(status):
        return status.value
    if taken_back:
        return Status.ASSIGNMENT_NOT_IGNORABLE.value
    if status is Status.BY_ASSUMPTION and not by_assumption:
        return status.value
    return Status.NOT_IDENTIFIED.value if unknown else Status.OK.value
