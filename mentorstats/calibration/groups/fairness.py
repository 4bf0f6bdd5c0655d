"""Are scores fair to groups of candidates, as far as ratings can tell?

Ratings can tell whether one rater, one role or one criterion treats a group differently from the others.
They cannot tell whether all of them do: a bias that all raters share looks like a true difference, and a
true difference like such a bias. The difference between groups itself is therefore no result here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.groups import effect_rows, rater_groups
from mentorstats.calibration.groups.criterion_shifts import criterion_rows, shifts_of
from mentorstats.calibration.groups.sides import Sides, candidates, compared, sizes, within
from mentorstats.calibration.raters.rater_variance import between, members
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.local.score_test import Step, given, shifts, step
from mentorstats.policy import Policy
from mentorstats.printed import Shown

Floats = NDArray[np.float64]

GROUP_FIELDS = ("entry_route", "first_generation", "gender")
NOT_IDENTIFIED = (
    "A bias that all raters share cannot be told from a true difference between the groups, nor the other "
    "way round; no rating of these candidates could, only work judged without knowing whose it is."
)
CAUSES = (
    "Where a rater, a role or a criterion treats a group differently, the cause may lie with the rater, with "
    "the rubric, with what the candidates have learnt so far, or with the classes they were placed in; the "
    "ratings do not say which."
)


@dataclass(frozen=True, repr=False)
class Fairness(Shown):
    """What ratings say about one field of groups.

    Attributes
    ----------
    field
        Name of the field.
    groups
        One row a group: ``group``, ``n_candidates``, ``n_ratings``, ``status``, ``status_note``.
    raters
        One row a comparison, rater and role: the rater's shift for the group against that of the other
        raters of the role.
    between
        One row a comparison and role: how much raters differ in that, as a variance with interval (NaN
        where they differ less than chance would have them), and the test that they do not.
    spreads
        As ``raters``, for the dispersion of the judgements; a ratio.
    roles
        One row a comparison and pair of roles, within candidates that both rated.
    criteria
        One row a comparison and criterion of a version, beside the groups' common difference.
    status, status_note
        Why there is nothing, where there is nothing.
    """

    about_people = True

    field: str
    groups: pd.DataFrame
    raters: pd.DataFrame
    between: pd.DataFrame
    spreads: pd.DataFrame
    roles: pd.DataFrame
    criteria: pd.DataFrame
    status: Status
    status_note: str


@dataclass(frozen=True, slots=True)
class _Asked:
    """The fit, the policy's numbers and the confidence."""

    base: Base
    policy: Policy
    confidence: float

    @property
    def bound(self) -> float:
        return self.policy.value("fairness_bound")

    def level_rows(self, estimate: Floats, se: Floats, reference: str = "rao_1948") -> pd.DataFrame:
        """Rows of effects on the level scale of a middling candidate."""
        return effect_rows.rows(
            estimate,
            se,
            bound=self.bound,
            confidence=self.confidence,
            scale=self.base.on_level_scale,
            slope=self.base.level_slope,
            suffix="level",
            reference=reference,
        )


@entry()
def candidate_groups(placements: pd.DataFrame, field: str) -> pd.Series:
    """Group of each candidate from their placements, missing where not recorded or where records differ.

    Parameters
    ----------
    placements
        ``Records.placements``.
    field
        A column of it, such as ``entry_route``.

    Returns
    -------
    Series
        Indexed by candidate, named after the field; labels as text.
    """
    need_columns(placements.columns, ("candidate", field), where="placements")
    given_labels = placements[["candidate", field]].dropna()
    labels = given_labels[field].astype(object).map(str)
    by = labels.groupby(given_labels["candidate"].astype("str").to_numpy())
    agreed = by.first().where(by.nunique() == 1)
    every = pd.Index(sorted(placements["candidate"].dropna().astype("str").unique()), name="candidate")
    return agreed.reindex(every).rename(field)


@entry()
def fairness(
    base: Base,
    groups: pd.Series,
    policy: Policy,
    *,
    reference: str | None = None,
    confidence: float | None = None,
) -> Fairness:
    """Compare how raters, roles and criteria treat groups of candidates.

    Parameters
    ----------
    base
        The base fit.
    groups
        Group of each candidate, indexed by candidate; missing where not recorded.
    policy
        Rules ``minimum_group_size``, ``fairness_candidates``, ``fairness_bound``,
        ``fairness_spread_bound`` and, unless given, ``confidence``.
    reference
        Group that others are compared with; otherwise each is compared with all others together.

    Raises
    ------
    ArgumentError
        ``groups`` is no Series, a candidate stands in it twice, or the reference is no group that is large
        enough.

    Notes
    -----
    Groups of fewer candidates than the minimum enter no comparison, on neither side. Errors of raters'
    and roles' differences are for the raters in the records.
    """
    if not isinstance(groups, pd.Series):
        raise ArgumentError(
            f"groups is a {type(groups).__name__}",
            allowed="a pandas Series of one group a candidate, indexed by candidate",
            remedy="For a table of placements use candidate_groups(placements, field).",
        )
    if groups.index.has_duplicates:
        raise ArgumentError("a candidate stands in groups twice", remedy="Give one group a candidate.")
    field = str(groups.name or "group")
    level = policy.value("confidence") if confidence is None else confidence
    if not has_value(base.status):
        return _nothing(field, base.status, base.status_note, None)
    labels = base.rows["candidate"].astype("str").map(groups.rename(index=str))
    counted = sizes(base, labels, policy.rule("minimum_group_size").met, "candidate")
    shown = counted.loc[counted["status"] == Status.OK, "group"].tolist()
    if len(shown) < 2:
        note = "fewer than two groups have as many candidates as the smallest group that is shown"
        return _nothing(field, Status.TOO_FEW_TO_SHOW, note, counted)
    asked = _Asked(base, policy, level)
    tables: dict[str, list[pd.DataFrame]] = {key: [] for key in _TABLES}
    for sides in compared(labels, shown, reference):
        for key, table in zip(_TABLES, _of_sides(asked, sides), strict=True):
            table.insert(0, "group", sides.group)
            table.insert(1, "against", sides.against)
            tables[key].append(table)
    made = {key: pd.concat(parts, ignore_index=True) for key, parts in tables.items()}
    return Fairness(field, counted, **made, status=Status.OK, status_note="")


_TABLES = ("raters", "between", "spreads", "roles", "criteria")


def _nothing(field: str, status: Status, note: str, groups: pd.DataFrame | None) -> Fairness:
    empty = pd.DataFrame({"group": [], "n_candidates": [], "n_ratings": [], "status": [], "status_note": []})
    none = {key: pd.DataFrame() for key in _TABLES}
    return Fairness(field, empty if groups is None else groups, **none, status=status, status_note=note)


def _of_sides(asked: _Asked, sides: Sides) -> tuple[pd.DataFrame, ...]:
    seen = rater_groups.seen(asked.base, sides, asked.policy.rule("fairness_candidates"))
    found = rater_groups.severity(asked.base, sides, seen.chosen)
    return (
        _raters(asked, seen, found),
        _between(asked, seen, found),
        _spreads(asked, sides, seen),
        _roles(asked, sides),
        _criteria(asked, sides),
    )


def _whole(chosen: NDArray[np.int64], values: Floats, count: int) -> Floats:
    out = np.full(count, np.nan)
    out[chosen] = values
    return out


def _with_seen(base: Base, seen: rater_groups.Seen, effects: pd.DataFrame) -> pd.DataFrame:
    """Effects beside who they are of; whoever is not compared says why."""
    apart = seen.status != Status.OK.value
    effects["status"] = np.where(apart, seen.status, effects["status"])
    effects["status_note"] = np.where(apart, seen.note, effects["status_note"])
    table = pd.concat([rater_groups.counted(base, seen), effects], axis=1)
    table["p_adjusted"] = table.groupby("rater_role")["p"].transform(
        lambda p: effect_rows.adjusted(p.to_numpy())
    )
    return table.sort_values(["rater_role", "rater"], ignore_index=True)


def _raters(asked: _Asked, seen: rater_groups.Seen, found: Step) -> pd.DataFrame:
    estimates, errors = (_whole(seen.chosen, each, len(asked.base.raters)) for each in found.alone())
    return _with_seen(asked.base, seen, asked.level_rows(estimates, errors))


def _between(asked: _Asked, seen: rater_groups.Seen, found: Step) -> pd.DataFrame:
    """Variance of raters' differences in each role, and the test that there is none."""
    of_chosen = asked.base.raters["rater_role"].to_numpy()[seen.chosen]
    rows = []
    for role in sorted(asked.base.raters["rater_role"].unique()):
        at = np.flatnonzero(of_chosen == role)
        told = between(members(found.score[at], found.information[np.ix_(at, at)]), asked.confidence)
        enough = told.df > 1
        sd = np.array(told.sd) * asked.base.level_slope
        numbers = {
            "variance": told.variance,
            "sd_level": sd[0],
            "sd_level_low": sd[1],
            "sd_level_high": sd[2],
            "statistic": told.statistic,
            "p": told.p,
        }
        rows.append(
            {
                "rater_role": role,
                "n_raters": len(at),
                **(numbers if enough else dict.fromkeys(numbers, np.nan)),
                "df": told.df,
                "confidence": asked.confidence,
                "interval_method": "generalised_q_profile" if enough else "none",
                "status": (Status.OK if enough else _why_not(len(at))).value,
                "status_note": "" if enough else "too few raters of the role saw enough of both sides",
                "reference": "viechtbauer_2007",
            }
        )
    return pd.DataFrame(rows)


def _why_not(raters: int) -> Status:
    return Status.ONE_RATER if raters == 1 else Status.NOT_IDENTIFIED


def _spreads(asked: _Asked, sides: Sides, seen: rater_groups.Seen) -> pd.DataFrame:
    count = len(asked.base.raters)
    estimates, errors = (
        _whole(seen.chosen, each, count) for each in rater_groups.spread(asked.base, sides, seen.chosen)
    )
    bound = float(np.log(asked.policy.value("fairness_spread_bound")))
    effects = effect_rows.rows(
        estimates,
        errors,
        bound=bound,
        confidence=asked.confidence,
        scale=lambda values: values,
        slope=1.0,
        suffix="log",
        reference="rao_1948",
    ).drop(columns=["contrast_log", "contrast_log_low", "contrast_log_high"])
    for suffix in ("", "_low", "_high"):
        effects[f"ratio{suffix}"] = np.exp(effects[f"contrast{suffix}"])
    return _with_seen(asked.base, seen, effects)


def _roles(asked: _Asked, sides: Sides) -> pd.DataFrame:
    """Each pair of roles: how much more one gives the group than the other does, same candidates."""
    roles = sorted(asked.base.rows["rater_role"].unique())
    pairs = [(one, other) for i, one in enumerate(roles) for other in roles[i + 1 :]]
    made = [_pair(asked, sides, one, other) for one, other in pairs]
    return pd.concat(made, ignore_index=True) if made else pd.DataFrame()


def _pair(asked: _Asked, sides: Sides, one: str, other: str) -> pd.DataFrame:
    base, met = asked.base, asked.policy.rule("minimum_group_size").met
    role, candidate = base.rows["rater_role"].to_numpy(), base.rows["candidate"]
    both = _rated_by(role == one, candidate) & _rated_by(role == other, candidate)
    counts = [candidate[both & side].nunique() for side in (sides.inside, sides.rest)]
    place = {"rater_role": one, "other_role": other}
    numbers = {"n_candidates_group": counts[0], "n_candidates_rest": counts[1]}
    estimate, error = np.array([np.nan]), np.array([np.nan])
    if all(map(met, counts)):
        estimate, error = within_candidates(base, sides, one, other)
    table = asked.level_rows(estimate, error, "mundlak_1978")
    if not all(map(met, counts)):
        linked = any(counts)
        table["status"] = (Status.TOO_FEW_TO_SHOW if linked else Status.NOT_IDENTIFIED).value
        table["status_note"] = "too few candidates were rated by both roles"
    return pd.concat([pd.DataFrame([place | numbers]), table], axis=1)


def _rated_by(rows: NDArray[np.bool_], candidate: pd.Series) -> NDArray[np.bool_]:
    return pd.Series(rows).groupby(candidate.to_numpy()).transform("any").to_numpy(dtype=bool)


def within_candidates(base: Base, sides: Sides, one: str, other: str) -> tuple[Floats, Floats]:
    """Difference of two roles in how they treat the group, from candidates that both rated.

    The share of ``one`` among each candidate's ratings by the two roles, alone and for the group, is set
    aside, so that differences between candidates, true or not, say nothing [mundlak_1978].

    Returns
    -------
    tuple
        Estimate and error, (1,) each.
    """
    role, weight = base.rows["rater_role"].to_numpy(), base.information
    of_one, of_two = role == one, (role == one) | (role == other)
    by = pd.Series(weight * of_two).groupby(base.rows["candidate"].to_numpy())
    total = by.transform("sum").to_numpy()
    own = pd.Series(weight * of_one).groupby(base.rows["candidate"].to_numpy()).transform("sum").to_numpy()
    share = np.divide(own, total, out=np.zeros(len(total)), where=total > 0)
    inside, neither = sides.inside.astype(float), (~sides.known).astype(float)
    columns = [of_one * inside, inside, share, share * inside]
    if neither.any():
        columns += [neither, share * neither, of_one * neither]
    elsewhere = within(base, sides.inside & ~of_two, "rater_role").toarray()
    columns += list(elsewhere[:, elsewhere.any(axis=0)].T)
    found = step(base.at, shifts(sparse.csr_array(np.column_stack(columns))))
    return given(found, np.arange(len(columns)) == 0).alone()


def _criteria(asked: _Asked, sides: Sides) -> pd.DataFrame:
    found = shifts_of(asked.base, sides, asked.policy.rule("minimum_group_size").met)
    table = criterion_rows(asked.base, found, bound=asked.bound, confidence=asked.confidence)
    if table.empty:
        return table
    codes, names = pd.factorize(asked.base.rows["criterion_of_version"], sort=True)
    counts = [
        pd.Series(candidates(asked.base, codes.astype(np.int64), side, len(names)), index=names)
        for side in (sides.inside, sides.rest)
    ]
    table.insert(3, "n_candidates_group", counts[0].loc[table["measure"]].to_numpy())
    table.insert(4, "n_candidates_rest", counts[1].loc[table["measure"]].to_numpy())
    test = found.tests["criteria"]
    return table.drop(columns="measure").assign(
        statistic=test.statistic, df=test.df, p_joint=test.p, scatter=test.scatter
    )
