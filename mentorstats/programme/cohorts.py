"""Do cohorts, sites or licensure areas differ once severity of raters and case mix are allowed for?

Described, never ranked: groups stand in the order of their codes, and a difference has its interval, what it
would have been without adjustment, and what raters and rubric versions the two have in common.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from statsmodels.stats.multitest import multipletests

from mentorstats.calibration.groups.equivalence import verdicts
from mentorstats.calibration.networks.overlap import in_common
from mentorstats.calibration.raters.rater_variance import between, members_of_estimates
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.printed import Printed, Shown, counted
from mentorstats.programme.rating_model import Combination, RatingModel

Floats = NDArray[np.float64]

PAIRS_UP_TO = 3  # groups: three have three pairs, ten have 45
REST = "mean of all"
_NOTHING = 1e-12  # levels; below it a difference is rounding
METHOD = "variances_held_t"
_NOTES = {
    Status.COHORT_IS_RATER: "No rater served in both, so the two cannot be told from their raters.",
    Status.UNLINKED: "No rater and no chain of candidates joins the two.",
    Status.NOT_IDENTIFIED: "The records cannot tell this from the rubric's version or from another group.",
}


@dataclass(frozen=True, repr=False)
class Comparison(Shown):
    """Groups of one kind beside each other.

    Attributes
    ----------
    by
        cohort, site or licensure_area.
    means
        Indexed by group, in the order of the codes: ``n_candidates``, ``n_raters``, ``n_lessons``; ``raw``
        (mean of the candidates' mean ranks) with limits; ``value``, the expected level for a rater of average
        severity and the average mix of all else, with limits; ``share`` expected at the target level or
        above, with limits; ``shrunken``, the difference from the mean of all after shrinkage, with limits;
        status.
    contrasts
        Pairs of up to three groups, later minus earlier, otherwise each group minus the mean of all. Indexed
        by ``group`` and ``against``: ``value`` in levels with limits, ``raw`` and ``moved`` (value minus
        raw), ``points`` (share at target) with limits, ``p``, ``p_adjusted`` (Holm), ``equivalence`` within
        ``bound`` by two one-sided tests, ``largest`` (the largest difference they do not exclude),
        ``n_raters_both``, ``versions``, status.
    spread
        One row: ``sd`` of the groups in levels beyond chance with limits, and ``p`` that it is zero.
    target
        Rank that counts as reaching the target.
    """

    by: str
    means: pd.DataFrame
    contrasts: pd.DataFrame
    spread: pd.DataFrame
    target: int

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title=f"Comparison by {self.by}",
            facts=(f"{counted(len(self.means), 'group')}, {counted(len(self.contrasts), 'contrast')}",),
            ask=(".means", ".contrasts", ".spread"),
        )


@entry()
def compare_groups(
    model: RatingModel, *, by: str = "cohort", target: int = 3, bound: float = 0.25, alpha: float = 0.05
) -> Comparison:
    """Compare groups of candidates.

    Parameters
    ----------
    model
        From `mentorstats.programme.fit_ratings`.
    by
        cohort, site or licensure_area.
    target
        Rank from which a level counts as at target.
    bound
        Smallest difference in levels that matters.
    alpha
        Of each of the two one-sided tests [schuirmann_1987]; they use the interval of 1 − 2 alpha.

    Raises
    ------
    ArgumentError
        ``by`` is something else, or a number is outside its range.
    """
    if by not in ("cohort", "site", "licensure_area"):
        raise ArgumentError(f"by {by!r}", allowed=["cohort", "site", "licensure_area"])
    if target < 2 or not bound > 0 or not 0 < alpha < 0.5:
        raise ArgumentError(
            f"target {target}, bound {bound}, alpha {alpha}", allowed="from 2; above 0; (0, .5)"
        )
    counts = _counts(model, by)
    names = list(counts.index)
    links = _links(model, by, names)
    apart = _apart(links, names, by)
    weights, labels = _weights(names, (apart == Status.OK).to_numpy())
    joined = _joined(model, links, labels, by)
    confidence = model.fit.confidence
    if len(names) < 2 or not model.has_value or by not in model.fit.model.declared.fixed:
        return _nothing(by, counts, labels, joined, model, target)
    rows = model.design(by, names)
    df = max(int(counts["n_candidates"].sum()) - rows.shape[1] + model.fit.model.levels.problem.c - 1, 1)
    means, pairs = model.combine(rows, df), model.combine(weights @ rows, df)
    middle = float(np.nanmean(np.where(means.known, means.value, np.nan))) if means.known.any() else np.nan
    status = [
        str(s) if s != Status.OK else (Status.OK if k else Status.NOT_IDENTIFIED).value
        for s, k in zip(joined["status"], pairs.known, strict=True)
    ]
    contrasts = _contrasts(model, pairs, middle, status, target, bound, alpha, confidence)
    contrasts["raw"] = weights @ counts["raw"].to_numpy()
    contrasts["moved"] = contrasts["value"] - contrasts["raw"]
    contrasts = contrasts.join(joined.drop(columns="status")).set_index(labels)
    table = counts.join(_means(model, means, apart, target, confidence))
    spread, shrunken = _spread(model, rows, table, middle, df, confidence)
    return Comparison(by, table.join(shrunken), contrasts, spread, target)


def _counts(model: RatingModel, by: str) -> pd.DataFrame:
    rows, confidence = model.rows, model.fit.confidence
    groups = rows.groupby(by)
    out = groups.agg(
        n_candidates=("candidate", "nunique"),
        n_raters=("rater", "nunique"),
        n_lessons=("observation", "nunique"),
    )
    own = rows.groupby([by, "candidate"], observed=True)["rank"].mean().groupby(by)
    out["raw"], size = own.mean(), own.size()
    reach = stats.t.ppf((1 + confidence) / 2, np.maximum(size - 1, 1)) * own.std() / np.sqrt(size)
    return out.assign(raw_low=out["raw"] - reach, raw_high=out["raw"] + reach).rename_axis("group")


def _weights(names: list[str], linked: NDArray[np.bool_]) -> tuple[Floats, pd.MultiIndex]:
    """Contrasts as rows of weights, and what they are called; the mean is that of linked groups."""
    k = len(names)
    if k > PAIRS_UP_TO:
        index = pd.MultiIndex.from_tuples([(name, REST) for name in names], names=["group", "against"])
        return np.eye(k) - linked / max(int(linked.sum()), 1), index
    pairs = list(combinations(range(k), 2))
    weights = np.zeros((len(pairs), k))
    for row, (first, second) in enumerate(pairs):
        weights[row, [first, second]] = -1.0, 1.0
    arrays = [[names[b] for _, b in pairs], [names[a] for a, _ in pairs]]
    return weights, pd.MultiIndex.from_arrays(arrays, names=["group", "against"])


def _links(model: RatingModel, by: str, names: list[str]) -> pd.DataFrame:
    """Raters in common and rubric versions of each pair of groups, indexed by first and second."""
    if len(names) < 2:
        return pd.DataFrame(columns=["linked"])
    as_site = model.rows.assign(site=model.rows[by], level=model.rows["rank"])
    found = in_common(as_site, by="site").reset_index()
    found["linked"] = (found["n_raters_both"] > 0) | (found["n_networks"] > 0)
    return found.groupby(["first", "second"])[["linked"]].any()


def _joined(model: RatingModel, links: pd.DataFrame, labels: pd.MultiIndex, by: str) -> pd.DataFrame:
    """Raters in common and rubric versions of each contrast, with the status where there is no link."""
    missing = Status.COHORT_IS_RATER if by == "cohort" else Status.UNLINKED
    raters = model.rows.groupby(by)["rater"].agg(set)
    given = "version_given" if "version_given" in model.rows else "rubric_version"
    versions = model.rows[given].astype("str").groupby(model.rows[by]).agg(set)
    rows = []
    for group, against in labels:
        others = [name for name in raters.index if name != group] if against == REST else [against]
        linked = bool(len(links)) and bool(links.loc[_of(links, group, against), "linked"].any())
        both = raters[group] & set().union(*(raters[name] for name in others))
        used = sorted(versions[group].union(*(versions[name] for name in others)))
        rows.append((len(both), ", ".join(used), (Status.OK if linked else missing).value))
    return pd.DataFrame(rows, columns=["n_raters_both", "versions", "status"])


def _of(links: pd.DataFrame, group: str, against: str) -> NDArray[np.bool_]:
    first, second = (links.index.get_level_values(i) for i in range(2))
    own = (first == group) | (second == group)
    return np.asarray(own if against == REST else own & ((first == against) | (second == against)))


def _apart(links: pd.DataFrame, names: list[str], by: str) -> pd.Series:
    """Status of each group: whether anything joins it with another one."""
    missing = Status.COHORT_IS_RATER if by == "cohort" else Status.UNLINKED
    if not len(links):
        return pd.Series(Status.OK.value, index=pd.Index(names, name="group"))
    told = [Status.OK if links.loc[_of(links, name, REST), "linked"].any() else missing for name in names]
    return pd.Series([s.value for s in told], index=pd.Index(names, name="group"))


def _means(
    model: RatingModel, found: Combination, apart: pd.Series, target: int, confidence: float
) -> pd.DataFrame:
    low, high = found.limits(confidence)
    out = pd.DataFrame(index=apart.index)
    for end, at in (("", found.value), ("_low", low), ("_high", high)):
        out["value" + end if not end else end[1:]] = model.levels(at)
        out["share" + end] = model.reaching(at, target)
    known = pd.Series(found.known, index=apart.index)
    status = apart.where(apart != Status.OK, np.where(known, Status.OK.value, Status.NOT_IDENTIFIED.value))
    out.loc[status != Status.OK] = np.nan
    return _closed(out.assign(confidence=confidence), status)


def _closed(out: pd.DataFrame, status: pd.Series) -> pd.DataFrame:
    """Add how intervals were made, and the statuses with their notes."""
    out["interval_method"] = np.where(status == Status.OK, METHOD, "none")
    out["status"] = status
    out["status_note"] = [_NOTES.get(Status(name), "") for name in status]
    return out


def _contrasts(
    model: RatingModel,
    found: Combination,
    middle: float,
    status: list[str],
    target: int,
    bound: float,
    alpha: float,
    confidence: float,
) -> pd.DataFrame:
    """Differences about the middle of the groups, on both scales."""

    def level(shift: Floats) -> Floats:
        return model.levels(middle + shift / 2) - model.levels(middle - shift / 2)

    def share(shift: Floats) -> Floats:
        return model.reaching(middle + shift / 2, target) - model.reaching(middle - shift / 2, target)

    low, high = found.limits(confidence)
    near = [level(limit) for limit in found.limits(1 - 2 * alpha)]
    out = pd.DataFrame({"value": level(found.value), "low": level(low), "high": level(high)})
    out["points"], out["points_low"], out["points_high"] = share(found.value), share(low), share(high)
    with np.errstate(divide="ignore", invalid="ignore"):
        out["p"] = 2 * stats.t.sf(np.abs(found.value / found.se), found.df)
    out["largest"] = np.maximum(np.abs(near[0]), np.abs(near[1]))
    series = pd.Series(status)
    out.loc[series != Status.OK] = np.nan
    told = out["p"].notna()
    out["p_adjusted"] = np.nan
    if told.any():
        out.loc[told, "p_adjusted"] = multipletests(out.loc[told, "p"], method="holm")[1]
    inner, outer = (np.where(told, limit, np.nan) for limit in near)
    out["equivalence"] = pd.Series(verdicts(inner, outer, bound), index=out.index).astype("str")
    return _closed(out.assign(bound=bound, confidence=confidence), series)


def _spread(
    model: RatingModel, rows: Floats, table: pd.DataFrame, middle: float, df: float, confidence: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """How far linked groups differ beyond chance, and each group's difference after shrinkage.

    With d the differences from the mean, V their covariance and T = τ²(I − 11'/k), the shrunken ones are
    T (T + V)⁻ d, their errors those of prediction; τ² by [paule_mandel_1982].
    """
    names = ["shrunken", "shrunken_low", "shrunken_high"]
    shrunken = pd.DataFrame(np.nan, index=table.index, columns=names)
    there = (table["status"] == Status.OK).to_numpy()
    k = int(there.sum())
    row: dict[str, object] = dict.fromkeys(("sd", "sd_low", "sd_high", "p"), np.nan)
    row |= {"n_units": k, "interval_method": "none", "status": Status.TOO_FEW_TO_ASSESS.value}
    if k > PAIRS_UP_TO:
        centre = np.eye(k) - 1 / k
        found = model.combine(centre @ rows[there], df)
        least = 1e-9 * float(np.trace(found.covariance))
        variance = between(members_of_estimates(found.value, found.covariance, least), confidence)
        row |= dict(zip(("sd", "sd_low", "sd_high"), _in_levels(model, middle, variance.sd), strict=True))
        row |= {"p": variance.p, "interval_method": "q_profile", "status": Status.OK.value}
        if not variance.variance > 0:  # all would be drawn to the mean, which is no news of any of them
            return pd.DataFrame([row | {"confidence": confidence}]), shrunken
        t = variance.variance * centre
        pull = t @ np.linalg.pinv(t + found.covariance, hermitian=True)
        value, error = pull @ found.value, np.sqrt(np.maximum(np.diagonal(t - pull @ t), 0.0))
        reach = stats.norm.ppf((1 + confidence) / 2) * error
        for name, shift in zip(names, (value, value - reach, value + reach), strict=True):
            moved = model.levels(middle + shift) - model.levels(np.array([middle]))
            shrunken.loc[there, name] = np.where(np.abs(moved) < _NOTHING, 0.0, moved)
    return pd.DataFrame([row | {"confidence": confidence}]), shrunken


def _in_levels(model: RatingModel, middle: float, sd: tuple[float, float, float]) -> list[float]:
    """Standard deviations of the latent scale in levels, by the slope at the middle of the groups."""
    near = model.levels(middle + np.array([-0.05, 0.05]))
    return [float(near[1] - near[0]) / 0.1 * size for size in sd]


def _nothing(
    by: str,
    counts: pd.DataFrame,
    labels: pd.MultiIndex,
    joined: pd.DataFrame,
    model: RatingModel,
    target: int,
) -> Comparison:
    """A comparison without values, and why."""
    if len(counts) < 2:
        why, note = Status.ONE_UNIT, f"The records have one {by.replace('_', ' ')}."
    elif not model.has_value:
        why, note = model.fit.status, model.fit.status_note
    else:
        why, note = Status.NOT_IDENTIFIED, _NOTES[Status.NOT_IDENTIFIED]
    empty: dict[str, Any] = {
        "interval_method": "none",
        "confidence": model.fit.confidence,
        "status": why.value,
    }
    empty |= {"status_note": note}
    values = dict.fromkeys(("value", "low", "high", "share", "share_low", "share_high"), np.nan)
    shrunken = dict.fromkeys(("shrunken", "shrunken_low", "shrunken_high"), np.nan)
    means = counts.assign(**values, **shrunken, **empty)
    numbers = ("value", "low", "high", "points", "points_low", "points_high", "p", "p_adjusted", "largest")
    contrasts = joined.drop(columns="status").assign(
        **dict.fromkeys((*numbers, "raw", "moved"), np.nan), equivalence="", bound=np.nan, **empty
    )
    spread = {"n_units": len(counts), **dict.fromkeys(("sd", "sd_low", "sd_high", "p"), np.nan)}
    return Comparison(by, means, contrasts.set_index(labels), pd.DataFrame([spread | empty]), target)
