"""How much was double-scored, and how far apart the two roles are: counts and signed differences."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from mentorstats.agreement.coefficients import scope
from mentorstats.agreement.coefficients.coefficients import coefficients
from mentorstats.agreement.coefficients.means import clustered
from mentorstats.agreement.counts.double_scores import by_rater, over_raters
from mentorstats.agreement.counts.pairing import ROLES, UNIT, VERSION, each_version, stacked
from mentorstats.agreement.scores.icc_incomplete import icc_incomplete
from mentorstats.errors import need_columns
from mentorstats.estimate import Estimate, to_frame
from mentorstats.key_scores.certification import Certification, certificates, certify
from mentorstats.key_scores.operating import operating_characteristic
from mentorstats.policy import Policy

_SIMULATED = 100  # raters a row, enough for a whole per cent or two

Array = npt.NDArray[np.float64]


def checks(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """Say of every rating what lets it enter a comparison of the two roles.

    Parameters
    ----------
    long
        The long table (`Records.long`).

    Returns
    -------
    DataFrame
        One row a rating, yes/no columns in the order in which they are asked: ``has_level``,
        ``of_either_role``, ``other_role_too`` (the other role gave a level to the same criterion of
        the same lesson under the same version), ``not_marked_dependent`` (neither it nor some
        rating of the other role there is marked as not independent; not recorded counts as
        independent). A rating enters where all are true.
    """
    need_columns(long.columns, [*UNIT, "level", "rater_role", "independent"], where="long table")
    has_level = long["level"].notna()
    named = long[UNIT].notna().all(axis=1)
    of_either = long["rater_role"].isin(roles)
    independent = long["independent"].astype("boolean").fillna(True).astype(bool)
    unit = [long[name] for name in UNIT]
    both = {}
    for name, counted in (("any", has_level), ("independent", has_level & independent)):
        of_role = pd.DataFrame({role: counted & (long["rater_role"] == role) for role in roles})
        both[name] = named & of_role.groupby(unit, observed=True, dropna=False).transform("any").all(axis=1)
    return pd.DataFrame(
        {
            "has_level": has_level,
            "of_either_role": of_either,
            "other_role_too": both["any"],
            "not_marked_dependent": independent & both["independent"],
        }
    )


def flow(yes_no: pd.DataFrame) -> pd.DataFrame:
    """Count what each yes/no column leaves out, in order.

    Returns
    -------
    DataFrame
        Indexed by column: ``n_left_out`` (rows that fail here first) and ``n`` (rows that remain).
    """
    remaining = yes_no.cumprod(axis=1).sum().astype("int64")
    before = remaining.shift(1, fill_value=len(yes_no))
    return pd.DataFrame({"n_left_out": before - remaining, "n": remaining}).rename_axis("check")


def lessons(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """One row a lesson with a rating of either role: who rated it, and whether both did.

    Returns
    -------
    DataFrame
        Indexed by observation: candidate, cohort, site, one yes/no column a role, and
        ``double_scored``, where both roles rated at least one criterion in common.
    """
    yes_no = checks(long, roles=roles)
    enters = yes_no["has_level"] & yes_no["of_either_role"]
    rated = long[enters].assign(double_scored=yes_no["other_role_too"])
    rated = rated.assign(**{role: rated["rater_role"] == role for role in roles})
    grouped = rated.groupby("observation", observed=True, dropna=False)
    firsts = grouped[["candidate", "cohort", "site"]].first()
    return firsts.join(grouped[[*roles, "double_scored"]].any())


def double_scoring(rated: pd.DataFrame, *, by: str | None = None) -> pd.DataFrame:
    """Count the lessons that both roles rated.

    Parameters
    ----------
    rated
        From `lessons`.
    by
        A column of it; without it, one row ``all``.

    Returns
    -------
    DataFrame
        Indexed by the group: ``n_lessons``, ``n_double_scored``, ``n_candidates``, and ``value``,
        the share of lessons that are double-scored (a full count, so without interval).
    """
    of = rated[by] if by is not None else pd.Series("all", index=rated.index, name="group")
    grouped = rated.groupby(of, observed=True, dropna=False)
    counted = grouped.agg(
        n_lessons=("double_scored", "size"),
        n_double_scored=("double_scored", "sum"),
        n_candidates=("candidate", "nunique"),
    )
    return counted.assign(value=counted["n_double_scored"] / counted["n_lessons"])


@dataclass(frozen=True, eq=False)
class DoubleScoring:
    """Counts of double-scored lessons.

    Attributes
    ----------
    total, by_cohort, by_site, by_month, by_role
        From `double_scoring` and `double_scoring_by_role`; ``by_month`` is indexed by months like
        2026-03.
    over_raters
        From `double_scores.over_raters`.
    """

    total: pd.DataFrame
    by_cohort: pd.DataFrame
    by_site: pd.DataFrame
    by_month: pd.DataFrame
    by_role: pd.DataFrame
    over_raters: pd.DataFrame


def double_scores(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> DoubleScoring:
    """Count double-scored lessons in every way that the report tells."""
    rated = lessons(long, roles=roles)
    days = long.groupby("observation", observed=True)["date"].first()
    months = pd.to_datetime(days).dt.strftime("%Y-%m").rename("month")
    return DoubleScoring(
        double_scoring(rated),
        double_scoring(rated, by="cohort"),
        double_scoring(rated, by="site"),
        double_scoring(rated.join(months), by="month"),
        double_scoring_by_role(long, roles=roles),
        over_raters(by_rater(long, roles=roles)),
    )


def double_scoring_by_role(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """Count as `double_scoring`, of the lessons that each role rated.

    Returns
    -------
    DataFrame
        Indexed by role, with ``n_raters`` (raters of that role who gave a level) in front.
    """
    rated = lessons(long, roles=roles)
    gave = long[long["level"].notna()]
    n_raters = gave.groupby("rater_role", observed=True)["rater"].nunique().reindex(roles, fill_value=0)
    parts = [double_scoring(rated[rated[role]]) for role in roles]
    counted = pd.concat(parts, keys=roles, names=["rater_role"]).droplevel(1)
    return n_raters.rename("n_raters").to_frame().join(counted)


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
    return pd.concat(parts) if parts else _nothing([*VERSION, *by, "coefficient"])


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


def differences(
    pairs: pd.DataFrame, *, by: Sequence[str] = (*VERSION, "criterion"), confidence: float = 0.95
) -> pd.DataFrame:
    """Mean signed difference of ranks, first side minus second.

    The variance is that of a mean over clusters (candidates), c / (c - 1) times the squared cluster
    sums of the deviations over n squared, with Student's t on c - 1 degrees of freedom
    [liang_zeger_1986].

    Returns
    -------
    DataFrame
        Indexed by ``by``: value in levels, se, low, high, confidence, interval_method, n_units
        (pairs), n_clusters, status, status_note, reference and the rest of the shared columns.
    """
    need_columns(pairs.columns, [*by, "difference", "candidate"], where="pairs")
    found, keys = [], []
    for key, group in pairs.groupby(list(by), observed=True, dropna=False, sort=True):
        values = group["difference"].to_numpy(dtype=float)
        cluster, _ = pd.factorize(group["candidate"], use_na_sentinel=False)
        found.append(_mean(values, np.asarray(cluster), confidence))
        keys.append(key)
    frame = to_frame(found, index="what")
    if not keys:
        return _nothing(list(by))
    return frame.set_axis(pd.MultiIndex.from_tuples(keys, names=list(by)))


def paired_levels(pairs: pd.DataFrame, rubrics: pd.DataFrame) -> pd.DataFrame:
    """Where the second side stood when the first gave a level, by rubric version.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, rank_first and rank_second, all declared ranks present:
        ``n`` pairs, ``value`` their share of the pairs with that first rank (NaN where there is
        none), and ``n_candidates`` and ``n_units`` of the first rank.
    """
    parts = []
    for version, chosen, n_levels in each_version(pairs, rubrics):
        ranks = range(1, n_levels + 1)
        grid = pd.MultiIndex.from_product([ranks, ranks], names=["rank_first", "rank_second"])
        counted = chosen.astype({"rank_first": "int64", "rank_second": "int64"})
        n = counted.groupby(["rank_first", "rank_second"]).size().reindex(grid, fill_value=0).rename("n")
        given = counted.groupby("rank_first").agg(
            n_units=("candidate", "size"), n_candidates=("candidate", "nunique")
        )
        part = n.to_frame().join(given.reindex(ranks, fill_value=0), on="rank_first")
        part["value"] = (part["n"] / part["n_units"]).astype(float)
        parts.append(pd.concat([part], keys=[version], names=VERSION))
    return pd.concat(parts) if parts else _nothing([*VERSION, "rank_first", "rank_second"])


def _mean(values: Array, cluster: npt.NDArray[np.intp], confidence: float) -> Estimate:
    same = "Every pair differs by the same amount."
    found = clustered("difference", values, cluster, confidence, of="candidates", same=same)
    speaks_of = scope.of_members(["candidates"]) if math.isfinite(found.low) else ""
    return replace(found, generalises_to=speaks_of)


def _nothing(index: list[str]) -> pd.DataFrame:
    """No result at all, with the columns of one."""
    empty = pd.MultiIndex.from_arrays([[] for _ in index], names=index)
    return to_frame([]).reset_index(drop=True).reindex(empty)


def key_scores(
    key_ratings: pd.DataFrame, rules: Policy, *, confidence: float, seed: int
) -> tuple[Certification | None, pd.DataFrame | None]:
    """Certify the raters of the table ``key_ratings``, and say what the rules do to known raters.

    Of a recording that a rater scored again only the first scoring counts.

    Returns
    -------
    tuple
        What `certify` found, and `operating_characteristic` for the usual number of recordings and
        criteria; twice None without rows.
    """
    if key_ratings.empty:
        return None, None
    found = certify(
        key_ratings,
        criterion=[*VERSION, "criterion"],
        date="date",
        repeats="leave_out",
        rules=rules,
        confidence=confidence,
    )
    recordings = int(found.verdicts["n_recordings"].median())
    criteria = int(key_ratings.groupby("recording")["criterion"].nunique().median())
    shares = key_ratings["key_level"].value_counts(normalize=True, sort=False)
    chances = operating_characteristic(
        rules,
        max(recordings, 1),
        criteria,
        key_shares=shares.to_numpy(dtype=float),
        replicates=_SIMULATED,
        confidence=confidence,
        seed=seed,
    )
    return found, chances


def last_day(long: pd.DataFrame) -> datetime.date | None:
    """Last day on which a lesson with a level was rated, or None where no day is recorded."""
    days = pd.to_datetime(long.loc[long["level"].notna(), "date"]).dropna()
    return days.max().date() if len(days) else None


def standing(register: pd.DataFrame | None, long: pd.DataFrame, *, on: datetime.date | None) -> pd.DataFrame:
    """How the certificates of those who gave a level stand on a day.

    Parameters
    ----------
    register
        The table ``raters``.
    long
        The long table.
    on
        The day.

    Returns
    -------
    DataFrame
        As from `certificates`, with ``rater_role`` as in the ratings; no rows without register or day.
    """
    if register is None or register.empty or on is None:
        return pd.DataFrame()
    gave = long[long["level"].notna() & long["rater"].notna()]
    roles = gave.groupby("rater", observed=True)["rater_role"].first()
    found = certificates(register, on=on, raters=list(roles.index))
    return found.assign(rater_role=roles.reindex(found.index))


def single_scores(long: pd.DataFrame, *, confidence: float, seed: int) -> pd.DataFrame:
    """Intraclass correlations of ratings and of candidates' means, each rubric version apart.

    Parameters
    ----------
    long
        The long table; levels count by their rank. Ratings whose lesson has no known candidate stay out.

    Returns
    -------
    DataFrame
        rubric, rubric_version, object, coefficient and the columns of `icc_incomplete`; no rows where a
        version has fewer than two raters.
    """
    parts = []
    rated = long[long["rank"].notna() & long["candidate"].notna()]
    for key, rows in rated.groupby(VERSION, observed=True, sort=True):
        rubric, version = map(str, key)
        if rows["rater"].nunique() < 2 or rows["candidate"].nunique() < 2:
            continue
        found = icc_incomplete(
            rows,
            unit=["observation", "criterion"],
            rater="rater",
            level="rank",
            nested="candidate",
            confidence=confidence,
            seed=seed,
        )
        parts.append(found.reset_index().assign(rubric=rubric, rubric_version=version))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
