"""The invented programme as clean tables: the plan and the scores under codes, dates and words."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pandas.api.types import pandas_dtype

from mentorstats import dictionary
from mentorstats.demo.plan import FAR_SITE, Plan
from mentorstats.demo.ratings import REASONS, Scores
from mentorstats.demo.rubric import Rubric

COHORTS = ("2023-24", "2024-25", "2025-26")
STARTS = ("2023-09-04", "2024-09-02", "2025-09-01")  # Mondays
SITE_NAMES = ("Tollenwick", "Fennick Reach", "Oskenford", "Mollerquay", "Grenlow Island")
LATER_SITES = (1, 3)  # placements there start a week later
VERSIONS = ("1", "1", "2")  # of the rubric, by cycle

_DTYPES = {
    "string": pandas_dtype("str"),
    "boolean": pandas_dtype("boolean"),
    "integer": pandas_dtype("Int64"),
    "number": pandas_dtype("float64"),
    "date": pandas_dtype("datetime64[us]"),
}
_LETTERS, _DIGITS = "bcdfghjkmnpqrstvwxyz", "23456789"  # no vowels: a code is never a word
_PATTERN = (_LETTERS, _DIGITS, _LETTERS, _DIGITS, _LETTERS)


@dataclass(frozen=True, slots=True)
class Codes:
    """Codes of people, placements and lessons, by their row in the plan."""

    raters: NDArray[np.object_]
    candidates: NDArray[np.object_]
    placements: NDArray[np.object_]
    lessons: NDArray[np.object_]


def draw_codes(plan: Plan, rng: np.random.Generator) -> Codes:
    """Draw codes that say nothing: five letters and digits, and six digits for a lesson."""
    sizes = [len(plan.raters), len(plan.placements), len(plan.placements)]
    drawn = rng.choice(np.prod([len(part) for part in _PATTERN]), sum(sizes), replace=False)
    letters = []
    for part in _PATTERN:
        drawn, place = np.divmod(drawn, len(part))
        letters.append(np.array(list(part))[place])
    people = np.array(["".join(code) for code in zip(*letters, strict=True)], dtype=object)
    raters, candidates, placements = np.split(people, np.cumsum(sizes)[:-1])
    numbers = rng.choice(10**6, len(plan.lessons), replace=False)
    lessons = np.array([f"{number:06d}" for number in numbers], dtype=object)
    return Codes(raters, candidates, placements, lessons)


def placements(plan: Plan, codes: Codes, rng: np.random.Generator) -> pd.DataFrame:
    """One row a placement."""
    planned, n = plan.placements, len(plan.placements)
    start = _starts(plan)
    return pd.DataFrame(
        {
            "placement": codes.placements,
            "candidate": codes.candidates,
            "mentor": codes.raters[planned["mentor"]],
            "supervisor": codes.raters[planned["supervisor"]],
            "site": np.array(SITE_NAMES)[planned["site"]],
            "cohort": np.array(COHORTS)[planned["cycle"]],
            "licensure_area": rng.choice(["primary", "languages", "mathematics", "science"], n),
            "grade_band": rng.choice(["1-3", "4-6", "7-9", "10-12"], n),
            "start": start,
            "end": start + pd.to_timedelta(7 * planned["weeks"] - 3, unit="D"),
            "status": np.where(planned["weeks"] < planned["weeks"].max(), "ended_early", "completed"),
            "first_generation": _answers({True: 0.3, False: 0.65, None: 0.05}, n, rng),
            "gender": _answers({"woman": 0.66, "man": 0.28, "another": 0.02, None: 0.04}, n, rng),
            "entry_route": np.where(planned["career_changer"], "career_changer", "school_leaver"),
        }
    )


def _answers(shares: Mapping[Any, float], n: int, rng: np.random.Generator) -> NDArray[np.object_]:
    answers = np.array(list(shares), dtype=object)
    return answers[rng.choice(len(answers), n, p=list(shares.values()))]


def _starts(plan: Plan) -> pd.Series:
    start = pd.Series(pd.to_datetime(list(STARTS)).to_numpy()[plan.placements["cycle"]])
    return start + pd.to_timedelta(7 * plan.placements["site"].isin(LATER_SITES), unit="D")


def observations(plan: Plan, codes: Codes, rng: np.random.Generator) -> pd.DataFrame:
    """One row an observed lesson."""
    lessons, n = plan.lessons, len(plan.lessons)
    date = _starts(plan)[lessons["placement"]].reset_index(drop=True)
    date = date + pd.to_timedelta(7 * (lessons["week"] - 1) + lessons["day"], unit="D")
    lag = pd.Series(rng.choice(5, n, p=[0.5, 0.25, 0.12, 0.08, 0.05])).where(rng.random(n) < 0.92)
    both = rng.random(n) < np.where(lessons["week"] <= 3, 0.7, 0.2)
    held = lag.notna()
    return pd.DataFrame(
        {
            "observation": codes.lessons,
            "placement": codes.placements[lessons["placement"]],
            "date": date,
            "minutes": rng.integers(6, 16, n) * 5,
            "purpose": np.where(both, "both_teach", "candidate_teaches"),
            "visit_mode": rng.choice(["in_person", "live_video", "recording"], n, p=[0.78, 0.14, 0.08]),
            "pre_conference": rng.random(n) < 0.75,
            "debrief_date": date + pd.to_timedelta(lag, unit="D"),
            "debrief_minutes": pd.Series(rng.integers(2, 9, n) * 5).where(held),
            "strengths_noted": pd.Series(rng.poisson(3.2, n)).where(held),
            "improvements_noted": pd.Series(rng.poisson(1.3, n)).where(held),
        }
    )


def ratings(plan: Plan, codes: Codes, scores: Scores, rubric: Rubric) -> pd.DataFrame:
    """One row a rating: forms in order, criteria in the order of their version."""
    forms, criteria = plan.forms, scores.criterion.shape[1]
    form = np.repeat(np.arange(len(forms)), criteria)
    lesson, rater = forms["lesson"].to_numpy()[form], forms["rater"].to_numpy()[form]
    cycle = plan.placements["cycle"].to_numpy()[plan.lessons["placement"].to_numpy()[lesson]]
    reason = pd.Categorical.from_codes(scores.reason.ravel(), dtype=pd.CategoricalDtype(list(REASONS)))
    levels = pd.CategoricalDtype(list(rubric.levels), ordered=True)
    rank = np.where(scores.reason < 0, scores.rank, 0).ravel()
    return pd.DataFrame(
        {
            "observation": codes.lessons[lesson],
            "rater": codes.raters[rater],
            "rater_role": plan.raters["role"].to_numpy()[rater],
            "rubric": rubric.name,
            "rubric_version": np.array(VERSIONS)[cycle],
            "criterion": np.array(rubric.codes)[scores.criterion.ravel()],
            "level": pd.Categorical.from_codes(rank - 1, dtype=levels),
            "missing_reason": reason.astype("str"),
            "independent": scores.independent[form],
        }
    )


def raters(plan: Plan, codes: Codes, rng: np.random.Generator) -> pd.DataFrame:
    """One row a rater, by code, with training in the summer before the first cycle."""
    n = len(plan.raters)
    first = pd.Series(pd.to_datetime(list(STARTS)).to_numpy()[plan.raters["first_cycle"]])
    trained = (first - pd.to_timedelta(rng.integers(7, 40, n), unit="D")).where(rng.random(n) < 0.9)
    certified = (trained + pd.to_timedelta(rng.integers(0, 6, n), unit="D")).where(rng.random(n) < 0.85)
    register = pd.DataFrame(
        {
            "rater": codes.raters,
            "role": plan.raters["role"],
            "trained_on": trained,
            "certified_on": certified,
            "expires_on": certified + pd.DateOffset(years=3),
        }
    )
    return register.sort_values("rater", ignore_index=True)


def far_site() -> str:
    """Name of the site that shares no rater with the others."""
    return SITE_NAMES[FAR_SITE]


def conform(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    """Give a table the columns and types that the dictionary describes; a level keeps its own order."""
    fields = dictionary.table(table).fields
    return pd.DataFrame({field.name: _typed(frame[field.name], field) for field in fields})


def _typed(column: pd.Series, field: dictionary.Field) -> pd.Series:
    if isinstance(column.dtype, pd.CategoricalDtype):
        return column
    if field.ordered:
        return column.astype(pd.CategoricalDtype(list(field.categories), ordered=True))
    return column.astype(_DTYPES[field.type])
