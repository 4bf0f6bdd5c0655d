"""Influence values are derivatives, and the intervals made of them cover."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import coefficients, family, weights
from mentorstats.agreement.tabulate import from_grid
from mentorstats.errors import ArgumentError

STEP = 1e-6
DERIVATIVE = 2e-6  # a central difference with this step is right to about the square of it


def table(seed=0, n=60, raters=4, missing=0.4):
    rng = np.random.default_rng(seed)
    truth = rng.integers(0, 4, n)
    codes = np.where(rng.random((n, raters)) < 0.6, truth[:, None], rng.integers(0, 4, (n, raters)))
    return from_grid(np.where(rng.random((n, raters)) < missing, -1, codes), q=4, cluster=None)


def derivative(of, given, pattern):
    ends = []
    for step in (STEP, -STEP):
        units = given.units.copy()
        units[pattern] += step
        ends.append(of(replace(given, units=units)))
    return (ends[0] - ends[1]) / (2 * STEP)


QUADRATIC = weights.matrix("quadratic", np.arange(4.0))


@pytest.mark.parametrize(
    "chance", [family.chance_pooled, family.chance_gwet, family.chance_by_rater, family.chance_uniform]
)
@pytest.mark.parametrize("w", [np.eye(4), QUADRATIC], ids=["identity", "quadratic"])
def test_influence_is_the_derivative(chance, w):
    given = table()

    def of(t):
        return family.beyond_chance(family.observed(t, w), chance(t, w))

    influence = of(given).influence
    for pattern in range(0, len(given.units), 7):
        numeric = derivative(lambda t: of(t).value, given, pattern)
        assert influence[pattern] == pytest.approx(numeric, abs=DERIVATIVE)


@pytest.mark.parametrize("w", [np.eye(4), QUADRATIC, None], ids=["nominal", "interval", "ordinal"])
def test_influence_of_alpha_is_the_derivative(w):
    given = table().only_pairable()
    n = float(given.units @ given.per_unit)

    def uncorrected(t):  # the published influence leaves the small-sample term out
        found = family.alpha(t, w)
        n_t = float(t.units @ t.per_unit)
        return 1 - (1 - found.value) / (1 - 1 / n_t)

    influence = family.alpha(given, w).influence
    assert n > 100
    for pattern in range(0, len(given.units), 5):
        assert influence[pattern] == pytest.approx(derivative(uncorrected, given, pattern), abs=DERIVATIVE)


def clustered(rng, clusters, per_cluster):
    """Pairs whose wish to disagree differs by cluster; the true agreement is known by construction."""
    tendency = rng.beta(2, 2, clusters)
    truth = rng.integers(0, 4, (clusters, per_cluster))
    disagree = rng.random((clusters, per_cluster)) < tendency[:, None]
    other = np.where(disagree, rng.integers(0, 4, (clusters, per_cluster)), truth)
    unit = np.arange(clusters * per_cluster)
    cluster = np.repeat(np.arange(clusters), per_cluster)
    sides = [
        pd.DataFrame({"unit": unit, "cluster": cluster, "rater": name, "level": x.ravel()})
        for name, x in (("one", truth), ("two", other))
    ]
    return pd.concat(sides, ignore_index=True)


def test_cluster_intervals_cover_where_naive_ones_do_not():
    """Simulation with known truth: kappa is .5 by construction; 400 data sets, Monte Carlo s.e. .011."""
    truth, hits = 0.5, {"cluster": 0, None: 0}
    for child in np.random.SeedSequence(20260901).spawn(400):
        ratings = clustered(np.random.default_rng(child), clusters=40, per_cluster=15)
        for cluster in hits:
            row = coefficients(
                ratings, unit="unit", rater="rater", level="level", levels=range(4), cluster=cluster
            ).loc["cohen_kappa"]
            hits[cluster] += row.low <= truth <= row.high
    assert 0.92 <= hits["cluster"] / 400 <= 0.98
    assert hits[None] / 400 < 0.85


def test_single_ratings_do_not_inflate_the_error():
    """Simulation: two in three units rated once. The linearised error fits the spread."""
    values, ours, handbook = [], [], []
    for child in np.random.SeedSequence(7).spawn(300):
        rng = np.random.default_rng(child)
        truth = rng.integers(0, 4, 240)
        second = np.where(rng.random(240) < 0.85, truth, rng.integers(0, 4, 240))
        single = rng.random(240) < 2 / 3
        ratings = pd.DataFrame(
            {
                "unit": np.tile(np.arange(240), 2),
                "rater": np.repeat(["one", "two"], 240),
                "level": np.concatenate([truth, np.where(single, -1, second)]),
            }
        )
        ratings["level"] = ratings["level"].where(ratings["level"] >= 0)
        for interval, into in (("auto", ours), ("handbook", handbook)):
            found = coefficients(
                ratings, unit="unit", rater="rater", level="level", levels=range(4), interval=interval
            ).loc["fleiss_kappa"]
            into.append(found.se)
        values.append(found.value)
    spread = np.std(values, ddof=1)
    assert np.mean(ours) == pytest.approx(spread, rel=0.1)
    assert np.mean(handbook) > 1.4 * spread


def crossed(seed=1, n=600):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({"unit": np.repeat(np.arange(n), 2), "rater": np.tile(["one", "two"], n)})
    frame["candidate"] = np.repeat(rng.integers(0, 40, n), 2)
    frame["supervisor"] = np.repeat(rng.integers(0, 25, n), 2)
    frame["site"] = frame["candidate"] % 12
    truth = np.repeat(rng.integers(0, 4, n), 2)
    frame["level"] = np.where(rng.random(2 * n) < 0.7, truth, rng.integers(0, 4, 2 * n))
    return frame


def error(frame, cluster):
    found = coefficients(frame, unit="unit", rater="rater", level="level", levels=range(4), cluster=cluster)
    return found.se, found.n_clusters


def test_crossed_clusters_add_up_less_their_combinations():
    """V_a + V_b - V_ab, from three runs with one column each [cameron_2011]."""
    frame = crossed()
    frame["both"] = frame["candidate"].astype(str) + "/" + frame["supervisor"].astype(str)
    parts = {name: error(frame, name)[0] ** 2 for name in ("candidate", "supervisor", "both")}
    together, clusters = error(frame, ["candidate", "supervisor"])
    expected = np.sqrt(parts["candidate"] + parts["supervisor"] - parts["both"])
    np.testing.assert_allclose(together, expected, rtol=1e-10)
    assert (clusters == 25).all()


@pytest.mark.parametrize("columns", [["candidate", "site"], ["site", "candidate"], ["site", "site"]])
def test_a_nested_cluster_column_adds_nothing(columns):
    frame = crossed()
    together, clusters = error(frame, columns)
    alone, own = error(frame, "site")
    np.testing.assert_allclose(together, alone, rtol=1e-12)
    assert (clusters == own).all()


def test_crossed_clusters_are_not_resampled():
    with pytest.raises(ArgumentError, match="crossed"):
        coefficients(
            crossed(),
            unit="unit",
            rater="rater",
            level="level",
            levels=range(4),
            cluster=["candidate", "supervisor"],
            interval="bca",
        )
