"""What enters the base fit: rows of the long table, fixed terms and groupings that they allow."""

from __future__ import annotations

import pandas as pd

from mentorstats.errors import ArgumentError
from mentorstats.mixed import by
from mentorstats.mixed.design.terms import FixedTerm, Grouping

COLUMNS = (
    "observation",
    "candidate",
    "cohort",
    "week",
    "rater",
    "rater_role",
    "rubric",
    "rubric_version",
    "criterion",
    "rank",
)
FORM = "rater × observation"
MEASURE = "criterion_of_version"  # criteria of different versions have nothing in common here
WEEKS = "weeks_from_mean"
ABSENT = (
    "Give what there is only one of (cohort, rubric, rubric_version) as one value in every row, a week that "
    "nobody noted as missing, and the level as a whole number from 1 in rank."
)
FEWEST_OF_A_ROLE = 5  # raters from which a role has a variance of its own


def highest(rows: pd.DataFrame) -> int:
    """Rank of the highest level, of those declared where the levels are ordered categories."""
    seen = int(rows["rank"].max()) if len(rows) else 2
    level = rows["level"].dtype if "level" in rows else None
    if isinstance(level, pd.CategoricalDtype) and level.ordered:
        return max(seen, len(level.categories))
    return seen


def used_rows(long: pd.DataFrame) -> pd.DataFrame:
    """Rows with a rank that were given independently, with the columns that the base model needs more."""
    rows = long[long["rank"].notna()]
    if "independent" in rows:
        rows = rows[rows["independent"].astype("boolean").fillna(True).to_numpy(dtype=bool)]
    weeks = pd.to_numeric(rows["week"]).astype("Float64")
    version = rows["rubric"].astype("str") + " " + rows["rubric_version"].astype("str")
    ready = rows.assign(
        rank=rows["rank"].astype("int64"),
        rater=rows["rater"].astype("str"),
        rater_role=rows["rater_role"].astype("str"),
    )
    ready[MEASURE] = rows["criterion"].astype("str") + " · " + version
    ready[WEEKS] = (weeks - weeks.mean()).fillna(0.0).astype("float64")
    return ready.reset_index(drop=True)


def check_once(rows: pd.DataFrame) -> None:
    """Raise where a rater rated one criterion of one lesson twice."""
    keys = ["observation", "rater", MEASURE]
    twice = rows[rows.duplicated(keys, keep=False)]
    if len(twice):
        first = twice.iloc[0]
        raise ArgumentError(
            f"{first['rater']!r} rated {first['criterion']!r} of {first['observation']!r} more than once",
            where=f"{len(twice)} rows of long",
            remedy="Keep one rating of a rater for each lesson and criterion; `mentorstats check` lists all.",
        )


def fixed_terms(rows: pd.DataFrame) -> list[FixedTerm]:
    """Fixed terms that the rows can tell apart."""
    fixed: list[FixedTerm] = [name for name in ("rater_role", "cohort") if rows[name].nunique() > 1]
    return [*fixed, WEEKS] if has_weeks(rows) else fixed


def has_weeks(rows: pd.DataFrame) -> bool:
    """Whether lessons of more than one week are known."""
    return bool(rows["week"].nunique() > 1)


def groupings(rows: pd.DataFrame) -> list[Grouping]:
    """Whose effects differ: of candidates, raters, lessons, forms, raters' criteria, those that rows tell."""
    of_role = rows.groupby("rater_role")["rater"].nunique()
    apart = len(of_role) > 1 and of_role.min() >= FEWEST_OF_A_ROLE
    raters = by("rater", within="rater_role", correlated=False) if apart else by("rater")
    several = rows.groupby("candidate", observed=True)["week"].nunique().max() > 1
    slope = WEEKS if has_weeks(rows) and several else None
    candidates = by("candidate", slope=slope, correlated=False) if slope else by("candidate")
    forms = rows.groupby("observation", observed=True)["rater"].nunique().max() > 1
    both = [by("observation")] + ([by("rater", "observation")] if forms else [])
    criteria = [by("rater", "criterion")] if rows["criterion"].nunique() > 1 else []
    return [candidates, raters, *both, *criteria]
