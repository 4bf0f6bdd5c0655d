"""Programmes drawn from the model with raters planted in them: what do intervals and marks do?

Thirty supervisors visit 120 candidates three times each; every lesson is rated on three criteria. Severities
of supervisors are drawn from the model; none, three or six of them are planted at 2 or 3 standard deviations,
severe or lenient by the toss of a coin. Each visit of a candidate is by another supervisor, drawn without a
plan, and reliability of the unshrunken contrast is about .7. In one situation raters do not differ. In the
last two a candidate's own supervisor makes all visits, or two of the three, and two fifths of the variance of
candidates lie between the own supervisors.

A mark is false where the rater's true shift on the level scale is no larger than the policy's smallest
effect; marks of raters who were not planted are counted beside it, although many of those do differ by more.

``python tests/calibration/truth.py rows.csv 1000`` appends a row a programme until each situation has 1,000
and goes on where it stopped; ``python tests/calibration/truth.py rows.csv`` then writes truth.csv.
"""

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit
from scipy.stats import norm
from statsmodels.stats.multitest import multipletests

from mentorstats import policy
from mentorstats.calibration import base_fit
from mentorstats.calibration.flags import expected_by_chance, flag
from mentorstats.calibration.raters.rater_effects import rater_effects
from mentorstats.calibration.raters.severity import severity

TABLE = Path(__file__).parent / "truth.csv"
SEED, SUBSET = 20261125, 3
SUPERVISORS, CANDIDATES, VISITS, CRITERIA = 30, 120, 3, 3
CANDIDATE, LESSON, RATER, RATER_CRITERION = 1.0, 0.4, 0.8, 0.4  # standard deviations, logits
CUTS = np.array([-2.2, -0.2, 2.0])
BETWEEN = 0.4
Q, SMALLEST = policy.read().value("flag_q"), policy.read().value("smallest_effect_level")
CHECKS = {}  # name to a function of the base fit; what it gives is counted beside the rest


@dataclass(frozen=True)
class Situation:
    name: str
    planted: int = 0
    size: float = 0.0  # standard deviations between raters
    rater: float = RATER
    own_visits: int = 0  # by a candidate's own supervisor; then candidates are not assigned at random


SITUATIONS = (
    Situation("none planted"),
    Situation("3 at 2 SD", 3, 2.0),
    Situation("3 at 3 SD", 3, 3.0),
    Situation("6 at 2 SD", 6, 2.0),
    Situation("6 at 3 SD", 6, 3.0),
    Situation("raters alike", rater=0.0),
    Situation("not at random, own supervisor only", own_visits=3),
    Situation("not at random, one visit of three by another", own_visits=2),
)


def draw(situation, rng):
    """The long table of one programme, and the supervisors' true effects."""
    true = rng.normal(0, 1, SUPERVISORS) * situation.rater
    signs = rng.choice([-1.0, 1.0], SUPERVISORS)
    planted = np.arange(SUPERVISORS) < situation.planted
    true = np.where(planted, situation.size * situation.rater * signs, true)
    visitors = rng.random((CANDIDATES, SUPERVISORS)).argsort(axis=1)
    ability = rng.normal(0, CANDIDATE, CANDIDATES)
    if situation.own_visits:
        own = np.repeat(np.arange(SUPERVISORS), CANDIDATES // SUPERVISORS)
        kind = rng.normal(0, CANDIDATE, SUPERVISORS)[own]
        ability = np.sqrt(1 - BETWEEN) * ability + np.sqrt(BETWEEN) * kind
        other = np.where(visitors[:, 0] == own, visitors[:, 1], visitors[:, 0])
        visitors = np.column_stack([own, own, other if situation.own_visits < VISITS else own])
    return _ratings(ability, visitors[:, :VISITS], true, rng), true


def _ratings(ability, visitors, true, rng):
    shape = (CANDIDATES, VISITS, CRITERIA)
    candidate, visit, criterion = (part.ravel() for part in np.indices(shape))
    who = visitors[candidate, visit]
    latent = (
        ability[candidate]
        + rng.normal(0, LESSON, (CANDIDATES, VISITS))[candidate, visit]
        + true[who]
        + rng.normal(0, RATER_CRITERION, (SUPERVISORS, CRITERIA))[who, criterion]
        + rng.logistic(size=len(who))
    )
    return pd.DataFrame(
        {
            "observation": [f"o{c:03}-{v}" for c, v in zip(candidate, visit, strict=True)],
            "candidate": [f"c{c:03}" for c in candidate],
            "cohort": "one",
            "week": 3 + 4 * visit,
            "rater": [f"s{r:02}" for r in who],
            "rater_role": "supervisor",
            "rubric": "invented",
            "rubric_version": "1",
            "criterion": [f"k{k}" for k in criterion],
            "rank": 1 + np.searchsorted(CUTS, latent),
        }
    )


def on_level_scale(shift):
    """True shift of a middling candidate's expected rank."""
    return (expit(np.asarray(shift)[:, None] - CUTS) - expit(-CUTS)).sum(axis=1)


def outcome(situation, number):
    """What is counted in one programme, name to number; NaN where there is nothing to count."""
    rng = np.random.default_rng([SEED, SITUATIONS.index(situation), number])
    long, true = draw(situation, rng)
    base = base_fit(long)
    raters = rater_effects(base)[0]
    found = flag(severity(base), q=Q, smallest=SMALLEST, by_assumption=True)
    if found["contrast"].isna().any():
        return {"no value": 1.0}
    chance = expected_by_chance(found, q=Q, smallest=SMALLEST, by_assumption=True)
    planted = np.arange(SUPERVISORS) < situation.planted
    marked = found["flagged"].to_numpy(dtype=bool)
    false = np.abs(on_level_scale(true)) <= SMALLEST
    inside = ((found["low"] <= true) & (true <= found["high"])).to_numpy(dtype=float)
    inside[found["low"].isna()] = np.nan
    return {
        "no value": 0.0,
        "marks": marked.sum(),
        "marks by chance": chance["flagged_by_chance"].iloc[0],
        "false discovery proportion": (marked & false).sum() / max(marked.sum(), 1),
        "share of marks not planted": (marked & ~planted).sum() / max(marked.sum(), 1),
        "raters not planted who are marked": marked[~planted].mean(),
        "planted raters who are marked": marked[planted].mean() if planted.any() else np.nan,
        "intervals of raters not planted": inside[~planted].mean(),
        "intervals of planted raters": inside[planted].mean() if planted.any() else np.nan,
        "intervals of all raters": inside.mean(),
        **_errors(base, raters, found, true, planted, false),
        **_spread(raters, situation),
        **{name: float(check(base)) for name, check in CHECKS.items()},
    }


def _errors(base, raters, found, true, planted, false):
    """Do unshrunken contrasts err by as much as they say, one at a time and all together?"""
    at_once, error = raters.together()
    off = ((found["contrast"] - true) / found["contrast_se"]).to_numpy()
    half = norm.ppf(0.975) * error
    low, high = base.on_level_scale(np.array([at_once - half, at_once + half]))
    passed = multipletests(2 * norm.sf(np.abs(at_once / error)), alpha=Q, method="fdr_bh")[0]
    marked = passed & ((low > SMALLEST) | (high < -SMALLEST))
    return {
        "squared error over its square, one at a time": np.square(off)[~planted].mean(),
        "squared error over its square, together": np.square((at_once - true) / error)[~planted].mean(),
        "false discovery proportion, together": (marked & false).sum() / max(marked.sum(), 1),
        "planted raters who are marked, together": marked[planted].mean() if planted.any() else np.nan,
    }


def _spread(raters, situation):
    low, high = raters.sd_limits(0.95)
    error = raters.contrast()[1]
    return {
        "reliability of a contrast": raters.sd**2 / (raters.sd**2 + np.square(error).mean()),
        "sd between raters": raters.sd,
        "sd inside its interval": np.nan if situation.planted else float(low <= situation.rater <= high),
        "homogeneity rejected": float(raters.homogeneity()[1] <= 0.05),
    }


def append(path, programmes):
    """Add rows until each situation has so many programmes, one of each situation at a time."""
    done = {(name, int(number)) for name, number, *_ in _rows(path)}
    with path.open("a", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        for number in range(programmes):
            for situation in SITUATIONS:
                if (situation.name, number) not in done:
                    found = outcome(situation, number).items()
                    writer.writerow([situation.name, number, *(f"{k}={float(v)!r}" for k, v in found)])
                    handle.flush()


def _rows(path):
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.reader(handle))


def summary(rows):
    """Programmes with a number, their mean with its Monte Carlo error, and the sum over the first few.

    One row a situation and quantity; programmes count that every situation has.
    """
    frame = pd.DataFrame(
        [(name, int(number), *item.rsplit("=", 1)) for name, number, *items in rows for item in items],
        columns=["situation", "number", "quantity", "value"],
    )
    frame["value"] = frame["value"].astype(float)
    whole = frame.groupby("number")["situation"].nunique() == len({name for name, *_ in rows})
    frame = frame[frame["number"].isin(whole.index[whole]) & frame["value"].notna()]
    frame["early"] = frame["value"].where(frame["number"] < SUBSET, 0.0)
    found = frame.groupby(["situation", "quantity"], sort=False).agg(
        programmes=("value", "size"), mean=("value", "mean"), error=("value", "sem"), first=("early", "sum")
    )
    return found.reset_index()


def again(situation, programmes):
    """The same table for one situation, made now."""
    made = [
        [situation.name, number, *(f"{name}={float(value)!r}" for name, value in found.items())]
        for number in range(programmes)
        for found in [outcome(situation, number)]
    ]
    return summary(made).set_index("quantity")


def main(path, programmes=None):
    if programmes is not None:
        append(path, programmes)
    else:
        summary(_rows(path)).to_csv(TABLE, index=False, float_format="%.10g", lineterminator="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:]))
