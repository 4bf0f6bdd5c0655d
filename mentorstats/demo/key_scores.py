"""The certification exercise of the invented programme: recordings with a key, and who scored them how.

Every rating hits the key with the rater's own chance, and is otherwise one level off, where both exist up
or down as likely, but for one rater who moves from above the key to below it. Recordings are independent of
everything else in the programme, and each rater has them in an order of their own, a few at a sitting.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.demo.frames import STARTS, Codes
from mentorstats.demo.plan import Plan
from mentorstats.demo.rubric import Rubric

VERSION = "2"  # of the rubric, under which the recordings were keyed
BANK = 24  # key-scored recordings
KEY_SHARES = (0.08, 0.32, 0.45, 0.15)  # of the levels among key levels, lowest first

# Recordings scored, chance of an exact rating, and the verdict that this makes all but sure.
PLANTED = ((BANK, 0.95, "pass"), (BANK, 0.45, "fail"), (4, 0.90, "too_few"))
MOVING = (BANK, 0.60, None)  # one whose errors go up at the first sitting and down at the last
OTHERS = (BANK, 0.80, None)  # at the usual threshold itself: the verdict is left to chance
WANTED = (*PLANTED, MOVING, *([OTHERS] * 6))

SITTING = 3  # recordings
BETWEEN = 14  # days from one sitting to the next

_LETTERS, _DIGITS = "bcdfghjkmnpqrstvwxyz", "23456789"


@dataclass(frozen=True, slots=True)
class Recorded:
    """The table of key-scored ratings, and what is planted on whom."""

    table: pd.DataFrame
    planted: pd.DataFrame


def draw(plan: Plan, codes: Codes, rubric: Rubric, rng: np.random.Generator) -> Recorded:
    """Draw keys, raters (supervisors of the last cycle), and scores from the summer before it onwards."""
    criteria, levels = list(rubric.versions[VERSION]), np.array(rubric.levels)
    key = rng.choice(len(levels), size=(BANK, len(criteria)), p=KEY_SHARES)
    recordings = _recordings(rng)
    raters = _raters(plan, codes, rng)
    parts = []
    for number, (rater, (size, exact, _)) in enumerate(zip(raters, WANTED, strict=True)):
        chosen = rng.choice(BANK, size, replace=False)
        sitting = np.arange(size) // SITTING
        down = sitting / sitting.max() if WANTED[number] is MOVING else np.full(size, 0.5)
        given = _scored(key[chosen], exact, down, len(levels), rng)
        first = pd.Timestamp(STARTS[-1]) - pd.Timedelta(days=int(rng.integers(10, 40)))
        days = first + pd.to_timedelta(BETWEEN * sitting, unit="D")
        parts.append(
            pd.DataFrame(
                {
                    "rater": rater,
                    "recording": np.repeat(recordings[chosen], len(criteria)),
                    "criterion": np.tile(criteria, size),
                    "level": given.ravel(),
                    "key_level": key[chosen].ravel(),
                    "date": np.repeat(days, len(criteria)),
                }
            )
        )
    table = pd.concat(parts, ignore_index=True)
    ordered = pd.CategoricalDtype(list(levels), ordered=True)
    for name in ("level", "key_level"):
        table[name] = pd.Categorical.from_codes(table[name], dtype=ordered)
    table = table.assign(rubric=rubric.name, rubric_version=VERSION)
    sizes, shares, verdicts = zip(*WANTED, strict=True)
    planted = pd.DataFrame({"rater": raters, "recordings": sizes, "exact": shares, "verdict": list(verdicts)})
    planted["moves"] = [one is MOVING for one in WANTED]
    return Recorded(table, planted)


def _scored(
    key: np.ndarray, exact: float, down: np.ndarray, levels: int, rng: np.random.Generator
) -> np.ndarray:
    """Levels given for these key levels: the key, or one level off, down with a recording's own chance."""
    step = np.where(rng.random(key.shape) < down[:, None], -1, 1)
    step = np.where(key + step < 0, 1, np.where(key + step >= levels, -1, step))
    return key + np.where(rng.random(key.shape) < exact, 0, step)


def _recordings(rng: np.random.Generator) -> np.ndarray:
    """Draw codes that say nothing: a letter, a digit, a letter, a digit."""
    drawn = rng.choice((len(_LETTERS) * len(_DIGITS)) ** 2, BANK, replace=False)
    first, second = np.divmod(drawn, len(_LETTERS) * len(_DIGITS))
    pairs = [letter + digit for letter in _LETTERS for digit in _DIGITS]
    return np.array([pairs[a] + pairs[b] for a, b in zip(first, second, strict=True)], dtype=object)


def _raters(plan: Plan, codes: Codes, rng: np.random.Generator) -> np.ndarray:
    """Codes of supervisors of the last cycle, in an order that says nothing."""
    last = plan.placements["cycle"] == plan.placements["cycle"].max()
    serving = np.unique(plan.placements.loc[last, "supervisor"])
    chosen: np.ndarray = codes.raters[rng.permutation(serving)[: len(WANTED)]]
    return chosen
