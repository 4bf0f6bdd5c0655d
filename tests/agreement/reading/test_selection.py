"""Lessons drawn by lot are like the rest, chosen ones are not, and weights bring back that of all lessons."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats import policy
from mentorstats.agreement import double_scored
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.reading import selection
from mentorstats.agreement.reading.balance import effective_size

RUBRICS = pd.DataFrame(
    [("r", "1", "k", rank) for rank in range(1, 5)], columns=["rubric", "version", "criterion", "rank"]
)


def programme(chosen, n=3000, seed=5):
    """Mentors rate every lesson, supervisors some; in early weeks raters agree far less.

    ``chosen`` gives the probability of a supervisor's visit by half of the placement (early, late).
    """
    rng = np.random.default_rng(seed)
    late = rng.integers(0, 2, n)
    truth = rng.integers(1, 5, n)
    rows = []
    for role, sure in (("mentor", 0.95), ("supervisor", np.where(late, 0.9, 0.2))):
        rank = np.where(rng.random(n) < sure, truth, rng.integers(1, 5, n))
        kept = np.ones(n, dtype=bool) if role == "mentor" else rng.random(n) < np.where(late, *chosen[::-1])
        rows.append(
            pd.DataFrame(
                {
                    "observation": [f"o{place:05}" for place in range(n)],
                    "candidate": [f"c{place // 3}" for place in range(n)],
                    "cohort": "2025",
                    "site": np.where(np.arange(n) % 2, "Moss", "Reed"),
                    "week": np.where(late, 12, 2) + rng.integers(0, 3, n),
                    "rater": f"{role}-1",
                    "rater_role": role,
                    "rubric": "r",
                    "rubric_version": "1",
                    "criterion": "k",
                    "rank": rank,
                    "level": rank.astype(str),
                    "independent": True,
                }
            )[kept]
        )
    long = pd.concat(rows, ignore_index=True)
    return long.astype({"rank": "Int8", "independent": "boolean"})


def found(long, **more):
    return selection.compare(long, double_scored(long), RUBRICS, policy.read(), **more)


def kappa(made, ratings):
    return made.agreement.loc[(ratings, "r", "1", "cohen_kappa")]


def test_lessons_drawn_by_lot_are_alike_and_have_no_weights():
    made = found(programme((0.3, 0.3)))
    assert made.n_beyond == 0
    assert made.weights is None
    assert made.agreement.empty
    assert made.likeness["value_weighted"].isna().all()
    sizes = made.likeness.iloc[0][["n_double_scored", "n_single_scored"]].astype(float)
    lines = 1 - 0.95 ** (1 / made.n_compared)
    assert made.by_chance == pytest.approx(stats.norm.isf(lines / 2) * math.sqrt((1 / sizes).sum()))


def test_the_largest_difference_of_lessons_drawn_by_lot_seldom_passes_the_limit():
    rng, passed, draws = np.random.default_rng(3), 0, 400
    for _ in range(draws):
        lessons = pd.DataFrame(
            {
                "double_scored": rng.random(160) < 0.4,
                "week": rng.integers(1, 12, 160).astype(float),
                "site": rng.choice(["a", "b", "c"], 160),
                "level": rng.normal(size=160),
            }
        )
        made = selection.likeness(lessons, ["week", "site", "level"])
        sizes = lessons["double_scored"].sum(), (~lessons["double_scored"]).sum()
        passed += made["value"].abs().max() > selection.largest_by_chance(*sizes, len(made))
    assert 0.02 <= passed / draws <= 0.05 + 2 * 0.011  # lines hang together, so it may be below .05


def test_weights_bring_the_agreement_of_all_lessons_back():
    """Late lessons, on which raters agree, are visited eight times as often as early ones."""
    wanted = found(programme((1.0, 1.0), n=30_000), more=None)
    assert wanted.weights is None  # nothing to compare with
    all_lessons = programme((1.0, 1.0), n=30_000)
    chosen = found(programme((0.1, 0.8), n=30_000))
    assert chosen.n_beyond > 0
    assert chosen.likeness.loc["week", "value"].abs().max() > 1
    assert chosen.likeness.loc["week", "value_weighted"].abs().max() < 0.1
    whole = by_version.by_version(double_scored(all_lessons), RUBRICS, by=()).loc[("r", "1", "cohen_kappa")]
    plain, weighted = (kappa(chosen, name)["value"] for name in (selection.ALIKE, selection.WEIGHTED))
    assert plain - whole["value"] > 0.1
    assert weighted == pytest.approx(whole["value"], abs=0.04)  # three standard errors


def test_the_effective_number_is_that_of_the_lessons_of_a_version():
    long = programme((0.1, 0.8))
    made = found(long)
    twice = long["observation"].value_counts() == 2
    weights = made.weights.weights[twice.index[twice]].to_numpy()
    assert kappa(made, selection.WEIGHTED)["n_effective"] == pytest.approx(effective_size(weights))
    assert kappa(made, selection.ALIKE)["n_effective"] == len(weights) == twice.sum()
    assert kappa(made, selection.WEIGHTED)["n_units"] == twice.sum()


def test_further_columns_of_lessons_are_compared():
    long = programme((0.3, 0.3))
    modes = pd.DataFrame({"observation": sorted(set(long["observation"]))})
    twice = modes["observation"].map(long["observation"].value_counts()) == 2
    modes["visit_mode"] = np.where(twice & (np.arange(len(modes)) % 4 > 0), "in_person", "recording")
    made = found(long, more=modes)
    assert made.likeness.loc[("visit_mode", "in_person"), "value"] > 1
    assert made.weights is not None


def test_weights_that_cannot_be_had_are_named():
    long = programme((0.3, 0.3))
    long["week"] = np.where(long["observation"].map(long["observation"].value_counts()) == 2, 12, 2)
    made = found(long)
    assert made.n_beyond == 1
    assert made.weights.status == "separated"
    assert made.agreement.empty
    assert made.likeness["value_weighted"].isna().all()


def test_one_role_alone_has_nothing_to_compare():
    long = programme((0.3, 0.3))
    made = found(long[long["rater_role"] == "mentor"])
    assert made.n_compared == 0
    assert made.weights is None
    assert math.isnan(made.by_chance)
