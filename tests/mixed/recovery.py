"""Ratings with known components and effects: do intervals cover and tests keep their level?

Candidates of two cohorts have lessons in four weeks; each lesson gets 2, 5 or 10 ratings by raters drawn
without a plan. Candidates, lessons and raters are drawn anew in every data set, so that the coverage of
shrunken effects is averaged over members. A profile-likelihood interval covers a variance when holding it at
its true value makes minus twice the log-likelihood worse by less than the squared normal quantile; that is
what is counted here, one constrained fit instead of the search for both limits.

Run ``python tests/mixed/recovery.py > rows.csv`` to make the rows of recovery.csv again, or with the numbers
of some cells to make theirs (three hours on one core).
"""

import csv
import itertools
import sys
import time
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

from mentorstats.mixed import fit, likelihood_ratio
from mentorstats.mixed.profile.limits import residual_drop, variance_drop
from mentorstats.mixed.tables.coefficients import inference, judged

TABLE = Path(__file__).parent / "recovery.csv"
SEED = 20261126
DATA_SETS, SUBSET = {"linear": 2000, "ordinal": 1000}, 10
WEEK, COHORT = 0.1, 0.3
SHARES = {"candidate": 0.25, "lesson": 0.10, "rater": 0.15}
SPREAD = {"linear": 0.5, "ordinal": np.pi**2 / 3}  # variance of a rating given all effects
QUANTILE = norm.ppf(0.975)
NAMES = ("candidate", "lesson", "rater")


@dataclass(frozen=True)
class Cell:
    kind: str
    candidates: int
    raters: int
    ratings: int  # a lesson
    rater_variance: str  # share or zero

    def seed(self):
        return [SEED, CELLS.index(self)]


CELLS = [
    Cell(kind, candidates, raters, ratings, rater)
    for kind, (candidates, raters), ratings, rater in itertools.product(
        ("linear", "ordinal"), ((10, 10), (40, 20)), (2, 5, 10), ("share", "zero")
    )
    if kind == "linear" or rater == "share" or (candidates == 40 and ratings == 10)
]


def variances(cell):
    found = {name: share / 0.5 * SPREAD[cell.kind] for name, share in SHARES.items()}
    if cell.rater_variance == "zero":
        found["rater"] = 0.0
    return found


def draw(cell, rng):
    """One data set, and the true effects."""
    lessons = cell.candidates * 4
    lesson = np.repeat(np.arange(lessons), cell.ratings)
    candidate = lesson // 4
    rater = rng.random((lessons, cell.raters)).argsort(axis=1)[:, : cell.ratings].ravel()
    week = (np.tile([2.0, 4.0, 7.0, 9.0], cell.candidates) + rng.integers(0, 2, lessons))[lesson]
    sds = {name: np.sqrt(value) for name, value in variances(cell).items()}
    effects = {
        "candidate": rng.normal(0, sds["candidate"], cell.candidates),
        "lesson": rng.normal(0, sds["lesson"], lessons),
        "rater": rng.normal(0, sds["rater"], cell.raters),
    }
    unit = np.sqrt(SPREAD[cell.kind])
    latent = unit * (WEEK * week + COHORT * (candidate % 2))
    latent = latent + effects["candidate"][candidate] + effects["lesson"][lesson] + effects["rater"][rater]
    noise = rng.logistic(size=len(latent)) if cell.kind == "ordinal" else rng.normal(0, unit, len(latent))
    latent = latent + noise
    frame = pd.DataFrame({"candidate": candidate, "lesson": lesson, "rater": rater, "week": week})
    frame["cohort"] = np.where(candidate % 2, "b", "a")
    if cell.kind == "ordinal":
        middle = unit * (WEEK * 6 + COHORT / 2)
        total = np.sqrt(sum(variances(cell).values()) + SPREAD["ordinal"])
        frame["rating"] = 1 + np.searchsorted(middle + total * np.array([-1.2, 0.0, 1.0]), latent)
    else:
        frame["rating"] = latent
    return frame, effects


def ask(cell, frame, grouped):
    more = {"kind": "ordinal", "levels": [1, 2, 3, 4]} if cell.kind == "ordinal" else {}
    return fit(frame, response="rating", fixed=["week", "cohort"], grouped=list(grouped), **more)


def outcome(cell, rng):
    """What is counted in one data set: hits by name, None where there is no interval."""
    frame, effects = draw(cell, rng)
    found = ask(cell, frame, NAMES)
    if found.status != "ok":
        return None
    unit = np.sqrt(SPREAD[cell.kind])
    truth = {"week": unit * WEEK, "cohort: b": unit * COHORT}
    hits = {}
    table = found.coefficients
    for term, value in truth.items():
        hits[term] = bool(table.loc[term, "low"] <= value <= table.loc[term, "high"])
    if cell.kind == "linear":
        hits |= _kenward_roger(found, truth)
    for t, (name, value) in enumerate(variances(cell).items()):
        hits[f"variance {name}"] = bool(variance_drop(found.model, t, 0, value) <= QUANTILE**2)
    if cell.kind == "linear":
        hits["variance residual"] = bool(residual_drop(found.model, SPREAD["linear"]) <= QUANTILE**2)
    for name in NAMES:
        shrunken = found.effects(name)
        true = effects[name][shrunken.index.astype(int)]
        inside = (shrunken["low"] <= true) & (true <= shrunken["high"])
        hits[f"effects {name}"] = float(inside.mean()) if shrunken["low"].notna().any() else None
    if cell.rater_variance == "zero":
        test = likelihood_ratio(ask(cell, frame, NAMES[:2]), found)
        hits["test of no rater variance"] = bool(test.p > 0.05)
    return hits


def _kenward_roger(found, truth):
    adjusted = inference(found.model, "kenward_roger")
    names, beta = found.model.names, found.model.linear.joint.beta
    places = [names.index(term) for term in truth]
    df = np.array([adjusted.of_contrast(np.eye(len(names))[j]) for j in places])
    errors = np.sqrt(np.diag(adjusted.covariance))[places]
    table = judged(beta[places], errors, df, 0.95)
    values = np.array(list(truth.values()))
    inside = (table["low"] <= values) & (values <= table["high"])
    return {f"{term}, Kenward-Roger": bool(hit) for term, hit in zip(truth, inside, strict=True)}


def run(cell, data_sets):
    """Counts over data sets: quantity to (data sets with an interval, hits)."""
    totals = {}
    for number in range(data_sets):
        hits = outcome(cell, np.random.default_rng([*cell.seed(), number]))
        for name, hit in (hits or {"no fit": True}).items():
            count, total = totals.get(name, (0, 0.0))
            totals[name] = (count + (hit is not None), total + (hit or 0.0))
    return totals


def main(chosen):
    begun = time.time()
    writer = csv.writer(sys.stdout, lineterminator="\n")
    for cell in [CELLS[number] for number in chosen]:
        first = run(cell, SUBSET)
        for name, (count, total) in run(cell, DATA_SETS[cell.kind]).items():
            few = first.get(name, (0, 0.0))[1]
            writer.writerow([*astuple(cell), name, count, f"{total:.6f}", f"{few:.6f}"])
        sys.stdout.flush()
        print(cell, f"{time.time() - begun:.0f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main(map(int, sys.argv[1:] or range(len(CELLS))))
