"""What mentoring was like beside the ratings: teaching load, questions, co-teaching, tutoring, orientation.

Everything has chances of its own, so that these tables change no other.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.demo.plan import Plan

TABLES = ("teaching_load", "questions", "coteaching", "tutoring", "orientation")

# Gradual release: from the first share of a week's lessons to the last, in steps of a twentieth.
FIRST_SHARE, LAST_SHARE = 0.10, 0.90
BEHIND = 0.05  # by how much the actual share lags on average
SLOW_SITE, SLOW_BEHIND = 3, 0.20  # one site holds back
_LOAD_SD, _STEP = 0.08, 0.05
_MODES = ("watches", "helps", "shares", "leads", "alone")
_MODE_FROM = (0.15, 0.30, 0.60, 0.85)  # actual share from which the next way of teaching is usual

# Questions of a lesson: expected number at each level of thinking, and growth a week of the upper three.
QUESTIONS = {
    "remember": 12.0,
    "understand": 7.0,
    "apply": 4.0,
    "analyse": 1.6,
    "evaluate": 0.8,
    "create": 0.4,
}
GROWTH = 0.04  # log rate
_UPPER = 3
SUPPORTED = (0.30, 0.55)  # share of lower and of upper questions that are followed up

ARRANGEMENTS = {
    "one_watches": 0.15, "one_helps": 0.35, "stations": 0.12, "parallel": 0.08, "small_group": 0.12,
    "re_teach": 0.06, "together": 0.12,
}  # fmt: skip
_ALONE = {"one_watches": 0.7, "one_helps": 0.3}  # of a lesson that the candidate teaches

# Tutoring: in every other placement, pupils of a class in one measure; the lowest are tutored.
PUPILS, TUTORED, GROUP = 10, 4, 2
EFFECT, GROWTH_ANYWAY = 4.0, 6.0  # points that sessions add, and that pupils gain without them
_MEAN, _SD, _NOISE = 50.0, 10.0, 5.0
SUBJECTS = ("reading", "mathematics")

ITEMS = {
    "handbook": 0.98,
    "emergency_procedures": 0.95,
    "curriculum": 0.9,
    "assessment_data": 0.75,
    "family_contact": 0.6,
}
_DUE = {
    "handbook": 4,
    "emergency_procedures": 4,
    "curriculum": 11,
    "assessment_data": 18,
    "family_contact": 25,
}


@dataclass(frozen=True, slots=True)
class Practice:
    """The tables, and the sizes that were planted in them."""

    tables: Mapping[str, pd.DataFrame]
    planted: Mapping[str, float]


def draw(
    plan: Plan, placements: pd.DataFrame, observations: pd.DataFrame, seed: np.random.SeedSequence
) -> Practice:
    """Draw the tables for a programme whose placements and lessons stand, in the plan's order."""
    chance = dict(zip(TABLES, map(np.random.default_rng, seed.spawn(len(TABLES))), strict=True))
    return Practice(
        tables={
            "teaching_load": _teaching_load(plan, placements, chance["teaching_load"]),
            "questions": _questions(plan, observations, chance["questions"]),
            "coteaching": _coteaching(observations, chance["coteaching"]),
            "tutoring": _tutoring(placements, chance["tutoring"]),
            "orientation": _orientation(placements, chance["orientation"]),
        },
        planted={
            "share_behind_plan": BEHIND,
            "share_behind_plan_at_slow_site": SLOW_BEHIND,
            "log_growth_of_upper_questions_a_week": GROWTH,
            "tutoring_effect_points": EFFECT,
            "growth_without_tutoring_points": GROWTH_ANYWAY,
        },
    )


def _teaching_load(plan: Plan, placements: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A row a week of each placement; one week in thirty nobody wrote down."""
    weeks = plan.placements["weeks"].to_numpy()
    placement = np.repeat(np.arange(len(weeks)), weeks)
    week = np.arange(len(placement)) - np.repeat(np.cumsum(weeks) - weeks, weeks)
    full = weeks.max() - 1
    planned = FIRST_SHARE + (LAST_SHARE - FIRST_SHARE) * week / full
    slow = plan.placements["site"].to_numpy()[placement] == SLOW_SITE
    actual = planned - np.where(slow, SLOW_BEHIND, BEHIND) + rng.normal(0, _LOAD_SD, len(week))
    actual = _in_steps(actual)
    known = rng.random(len(week)) >= 1 / 30
    return pd.DataFrame(
        {
            "placement": placements["placement"].to_numpy()[placement],
            "week": week + 1,
            "planned_share": _in_steps(planned),
            "actual_share": actual,
            "teaching_mode": np.array(_MODES)[np.searchsorted(_MODE_FROM, actual, side="right")],
        }
    )[known].reset_index(drop=True)


def _in_steps(share: NDArray[np.float64]) -> NDArray[np.float64]:
    steps: NDArray[np.float64] = np.round(share / _STEP) * _STEP
    return np.round(steps.clip(0, 1), 2).astype(np.float64)


def _questions(plan: Plan, observations: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A row a level of thinking, for the lessons in which questions were counted: two in five."""
    counted = np.flatnonzero(rng.random(len(observations)) < 0.4)
    week = plan.lessons["week"].to_numpy()[counted]
    grows = np.arange(len(QUESTIONS)) >= len(QUESTIONS) - _UPPER
    mean = np.array(list(QUESTIONS.values())) * np.exp(GROWTH * np.outer(week - 1, grows))
    count = rng.poisson(mean)
    supported = rng.binomial(count, np.where(grows, SUPPORTED[1], SUPPORTED[0]))
    return pd.DataFrame(
        {
            "observation": np.repeat(observations["observation"].to_numpy()[counted], len(QUESTIONS)),
            "thinking_level": np.tile(list(QUESTIONS), len(counted)),
            "count": count.ravel(),
            "supported": supported.ravel(),
        }
    )


def _coteaching(observations: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A row an arrangement that a lesson had, in spells of five minutes that fill the lesson."""
    spells = (observations["minutes"].to_numpy(dtype=np.int64) // 5).astype(np.int64)
    both = observations["purpose"].eq("both_teach").to_numpy()
    alone = np.array([_ALONE.get(name, 0.0) for name in ARRANGEMENTS])
    # A lesson keeps to few arrangements: its own shares are drawn about the usual ones.
    own = rng.dirichlet(0.7 * np.array(list(ARRANGEMENTS.values())) * len(ARRANGEMENTS), len(spells))
    share = np.where(both[:, None], own, alone)
    minutes = 5 * rng.multinomial(spells, share)
    lesson, arrangement = np.nonzero(minutes)
    return pd.DataFrame(
        {
            "observation": observations["observation"].to_numpy()[lesson],
            "arrangement": np.array(list(ARRANGEMENTS))[arrangement],
            "minutes": minutes[lesson, arrangement],
        }
    )


def _tutoring(placements: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A row a pupil: the lowest of a class by the first score are tutored, so chance alone lifts them."""
    chosen = placements["placement"].to_numpy()[::2]
    true = rng.normal(_MEAN, _SD, (len(chosen), PUPILS))
    before = true + rng.normal(0, _NOISE, true.shape)
    tutored = np.argsort(np.argsort(before, axis=1), axis=1) < TUTORED
    after = true + GROWTH_ANYWAY + EFFECT * tutored + rng.normal(0, _NOISE, true.shape)
    sessions = rng.integers(8, 21, true.shape)
    numbers = rng.choice(10**5, true.size, replace=False)
    told = tutored.ravel()
    return pd.DataFrame(
        {
            "pupil": [f"{number:05d}" for number in numbers],
            "placement": np.repeat(chosen, PUPILS),
            "subject": np.repeat(np.array(SUBJECTS)[np.arange(len(chosen)) % 2], PUPILS),
            "before": np.round(before, 1).ravel(),
            "after": np.round(after, 1).ravel(),
            "sessions": pd.Series(sessions.ravel()).where(told),
            "minutes": pd.Series(np.full(true.size, 25)).where(told),
            "group_size": pd.Series(np.full(true.size, GROUP)).where(told),
            "comparison": ~told,
        }
    )


def _orientation(placements: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A row an item of each placement; what was not done has no day."""
    n = len(placements)
    start = pd.Series(np.repeat(placements["start"].to_numpy(), len(ITEMS)))
    due = start + pd.to_timedelta(np.tile(list(_DUE.values()), n), unit="D")
    done = due + pd.to_timedelta(rng.integers(-4, 6, len(due)), unit="D")
    return pd.DataFrame(
        {
            "placement": np.repeat(placements["placement"].to_numpy(), len(ITEMS)),
            "item": np.tile(list(ITEMS), n),
            "due": due,
            "done": done.clip(lower=start).where(rng.random(len(due)) < np.tile(list(ITEMS.values()), n)),
        }
    )
