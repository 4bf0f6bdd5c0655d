"""From a programme's long table to one score a visit: which ratings count, and how criteria are weighted."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.errors import ArgumentError, need_columns
from mentorstats.mixed.design.terms import FixedTerm
from mentorstats.printed import Shown
from mentorstats.tables import version_number

COLUMNS = ("candidate", "observation", "rater", "rater_role", "criterion", "rank", "week")
SCORE = "mean rank"
BESIDE = ("site", "week")
_KEYS = ["candidate", "observation", "rater", "rater_role"]


@dataclass(frozen=True, repr=False)
class VisitScores(Shown):
    """Scores of visits and what they were made of.

    Attributes
    ----------
    table
        A row a rater and lesson: candidate, observation, rater, rater_role, ``mean rank``, week, and site
        where it is known.
    rows
        The ratings behind them, with ``weight``.
    weights
        Weight of each criterion.
    notes
        What was left out, and how criteria were weighted.
    """

    about_people = True

    table: pd.DataFrame
    rows: pd.DataFrame
    weights: pd.Series
    notes: tuple[str, ...]

    @property
    def nested(self) -> dict[str, str]:
        """`nesting` of all scores."""
        return nesting(self.table)

    @property
    def covariates(self) -> list[FixedTerm]:
        """Weeks, which would pass for lessons, and roles, where they differ."""
        found: list[FixedTerm] = []
        if self.table["week"].notna().all() and self.table["week"].nunique() > 1:
            found.append("week")
        if self.table["rater_role"].nunique() > 1:
            found.append("rater_role")
        return found

    @property
    def beside(self) -> list[str]:
        """Columns that are known, are no facets, and may hide in one."""
        return [name for name in BESIDE if name in self.table and self.table[name].notna().any()]


def nesting(table: pd.DataFrame) -> dict[str, str]:
    """What lies in what: lessons in candidates; raters too where none of several has met two."""
    nested = {"observation": "candidate"}
    met = table.groupby("rater")["candidate"].nunique()
    if 1 < table["candidate"].nunique() < len(met) and met.max() == 1:
        nested["rater"] = "candidate"
    return nested


def visit_scores(
    ratings: pd.DataFrame, rubrics: pd.DataFrame | None = None, *, enough: int | None = None
) -> VisitScores:
    """Average the criteria of each lesson and rater.

    Parameters
    ----------
    ratings
        The long table: candidate, observation, rater, rater_role, criterion, rank, week; where there are
        ``rubric`` and ``rubric_version``, one version is used, and where there is ``independent``, ratings
        that are not independent are left out, as are those without a candidate.
    rubrics
        Declared rubrics with ``weight``: a mean is weighted by them, over the criteria that were rated.
        Where a weight is missing, or without rubrics, criteria weigh the same.
    enough
        Candidates under the newest version from which it is the one used; else, or where it is None, the
        version with most ratings is.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or no criterion weighs more than zero.
    """
    need_columns(ratings.columns, COLUMNS, where="ratings")
    rows, notes = _used(ratings, enough)
    weights, said = _weights(rows, rubrics)
    rows = rows.assign(weight=rows["criterion"].astype("str").map(weights).astype("float64"))
    rows = rows[rows["weight"] > 0]
    return VisitScores(_averaged(rows), rows, weights, (*notes, said))


def _used(ratings: pd.DataFrame, enough: int | None) -> tuple[pd.DataFrame, list[str]]:
    """Rows with a rank and a candidate, of one version of the rubric, given independently."""
    rows, notes = ratings[ratings["rank"].notna()], []
    nobody = rows["candidate"].isna()
    if nobody.any():
        notes.append(f"{int(nobody.sum())} ratings without a candidate were left out.")
        rows = rows[~nobody]
    if "independent" in rows:
        dependent = rows["independent"].astype("boolean").fillna(True).eq(False).to_numpy(dtype=bool)
        if dependent.any():
            notes.append(f"{int(dependent.sum())} ratings that were not independent were left out.")
        rows = rows[~dependent]
    version = [name for name in ("rubric", "rubric_version") if name in rows]
    if version and len(rows):
        by = rows.groupby(version, observed=True)
        chosen, why = _version(by.size(), by["candidate"].nunique(), enough)
        if by.ngroups > 1:
            notes.append(f"Of {by.ngroups} versions of the rubric the {why} was used.")
        rows = rows[rows.set_index(version).index == chosen]
    return rows, notes


def _version(counts: pd.Series, candidates: pd.Series, enough: int | None) -> tuple[object, str]:
    """The version used, and why: the newest with enough candidates, else the one with most ratings."""
    last = candidates.index.get_level_values(-1)
    newest = max(range(len(last)), key=lambda place: (version_number(str(last[place])), str(last[place])))
    if enough is not None and candidates.iloc[newest] >= enough:
        return candidates.index[newest], "newest"
    return counts.idxmax(), "one with most ratings"


def _weights(rows: pd.DataFrame, rubrics: pd.DataFrame | None) -> tuple[pd.Series, str]:
    """Weight of each criterion of the version used, and the sentence about it."""
    criteria = sorted(rows["criterion"].astype("str").unique())
    same = pd.Series(1.0, index=criteria, dtype="float64")
    declared = _declared(rows, rubrics).reindex(criteria)
    missing = list(declared.index[declared.isna()])
    if missing and len(missing) < len(criteria):
        return same, f"Criteria weigh the same: the rubric gives no weight for {', '.join(missing)}."
    if missing or not criteria or (declared.nunique() == 1 and declared.iloc[0] > 0):
        return same, "Criteria weigh the same."
    if not (declared >= 0).all() or not declared.sum() > 0:
        raise ArgumentError(
            "weights of the criteria are below zero or all zero",
            where="rubrics",
            remedy="Give each criterion a weight of 0 or more, and one at least more than 0.",
        )
    told = ", ".join(f"{name} {weight:g}" for name, weight in declared.items())
    return declared, f"Criteria are weighted as the rubric declares: {told}."


def _declared(rows: pd.DataFrame, rubrics: pd.DataFrame | None) -> pd.Series:
    nothing = pd.Series(dtype="float64", index=pd.Index([], dtype="str"))
    if rubrics is None or "weight" not in rubrics or not len(rows):
        return nothing
    chosen = rubrics
    for mine, theirs in (("rubric", "rubric"), ("rubric_version", "version")):
        if mine in rows and theirs in rubrics:
            chosen = chosen[chosen[theirs].astype("str") == str(rows[mine].iloc[0])]
    return chosen.assign(criterion=chosen["criterion"].astype("str")).groupby("criterion")["weight"].first()


def _averaged(rows: pd.DataFrame) -> pd.DataFrame:
    """Σ weight × rank / Σ weight over the criteria that a rater rated in a lesson."""
    given = rows["rank"].astype("float64") * rows["weight"]
    kept = rows.assign(**{SCORE: given, "week": rows["week"].astype("float64")})
    for name in _KEYS:
        kept[name] = kept[name].astype("str")
    by = kept.groupby(_KEYS)
    table = by[[SCORE, "weight"]].sum().assign(week=by["week"].mean())
    table[SCORE] = table[SCORE] / table.pop("weight")
    if "site" in kept:
        table["site"] = by["site"].first()
    return table.reset_index()
