"""Influence values are derivatives, and the intervals made of them cover."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import coefficients, from_codes
from mentorstats.agreement.coefficients import chance as family
from mentorstats.agreement.coefficients import weights
from mentorstats.agreement.counts.tabulate import from_grid
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
    values, ours, fixed_count = [], [], []
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
        for interval, into in (("auto", ours), ("fixed_count", fixed_count)):
            found = coefficients(
                ratings, unit="unit", rater="rater", level="level", levels=range(4), interval=interval
            ).loc["fleiss_kappa"]
            into.append(found.se)
        values.append(found.value)
    spread = np.std(values, ddof=1)
    assert np.mean(ours) == pytest.approx(spread, rel=0.1)
    assert np.mean(fixed_count) > 1.4 * spread


def crossed(seed=1, n=600, go_together=False):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({"unit": np.repeat(np.arange(n), 2), "rater": np.tile(["one", "two"], n)})
    frame["candidate"] = np.repeat(rng.integers(0, 40, n), 2)
    frame["supervisor"] = np.repeat(rng.integers(0, 25, n), 2)
    frame["site"] = frame["candidate"] % 12
    truth = np.repeat(rng.integers(0, 4, n), 2)
    alike = 0.7
    if go_together:
        alike = (rng.random(40)[frame["candidate"]] + rng.random(25)[frame["supervisor"]]) / 2
    frame["level"] = np.where(rng.random(2 * n) < alike, truth, rng.integers(0, 4, 2 * n))
    return frame


def error(frame, cluster):
    found = coefficients(frame, unit="unit", rater="rater", level="level", levels=range(4), cluster=cluster)
    return found.se, found.n_clusters


@pytest.mark.parametrize("go_together", [True, False])
def test_crossed_clusters_add_up_less_their_combinations(go_together):
    """V_a + V_b - V_ab, from three runs with one column each [cameron_2011], and not below V_a and V_b."""
    frame = crossed(go_together=go_together)
    frame["both"] = frame["candidate"].astype(str) + "/" + frame["supervisor"].astype(str)
    parts = {name: error(frame, name)[0] ** 2 for name in ("candidate", "supervisor", "both")}
    together, clusters = error(frame, ["candidate", "supervisor"])
    added = parts["candidate"] + parts["supervisor"] - parts["both"]
    largest = np.maximum(parts["candidate"], parts["supervisor"])
    assert (added > largest).all() == go_together
    np.testing.assert_allclose(together, np.sqrt(np.maximum(added, largest)), rtol=1e-10)
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


def ten_by_ten(rng):
    """One pair of each of 10 candidates with each of 10 supervisors; both bring a wish to disagree."""
    tendency = (rng.beta(2, 2, 10)[:, None] + rng.beta(2, 2, 10)[None, :]).ravel() / 2
    truth = rng.integers(0, 4, 100)
    other = np.where(rng.random(100) < tendency, rng.integers(0, 4, 100), truth)
    return np.column_stack([truth, other]), np.column_stack([np.arange(100) // 10, np.arange(100) % 10])


def test_few_crossed_clusters_cover():
    """Kappa is .5 by construction; 400 data sets, Monte Carlo s.e. .011; adding and taking off alone: .92."""
    held = 0
    for child in np.random.SeedSequence(3).spawn(400):
        codes, cluster = ten_by_ten(np.random.default_rng(child))
        row = from_codes(codes, levels=range(4), cluster=cluster).loc["cohen_kappa"]
        held += row.low <= 0.5 <= row.high
    assert 0.94 <= held / 400 <= 0.98


INTEGERS = [1, 3, 2]  # weights of units, small so that units can be repeated as often


def weighted_and_repeated(crossed_ways, raters):
    """Units with whole weights, and the same units as often as they weigh, in one cluster each."""
    frame = crossed(n=150, go_together=True)
    if raters > 2:
        frame["rater"] = np.random.default_rng(6).integers(0, raters, len(frame)).astype(str)
        frame = frame.drop_duplicates(["unit", "rater"], ignore_index=True)
    keep = np.random.default_rng(5).random(len(frame)) < 0.9
    frame = frame[keep].assign(weight=lambda rows: rows["unit"].map(lambda unit: INTEGERS[unit % 3]))
    repeated = frame.loc[frame.index.repeat(frame["weight"])]
    repeated = repeated.assign(
        original=repeated["unit"], unit=repeated["unit"] * 10 + repeated.groupby(level=0).cumcount()
    )
    weighted_by = {0: None, 1: "candidate", 2: ["candidate", "supervisor"]}[crossed_ways]
    return frame, repeated, weighted_by, weighted_by or "original"


@pytest.mark.parametrize("raters", [2, 9])
@pytest.mark.parametrize("ways", [0, 1, 2])
@pytest.mark.parametrize("weights", ["identity", "quadratic", "ordinal"])
def test_unit_weights_are_repeated_units(ways, weights, raters):
    """Value and error of a unit of weight w are those of w copies of it in one cluster."""
    frame, repeated, weighted_by, repeated_by = weighted_and_repeated(ways, raters)
    asked = {"unit": "unit", "rater": "rater", "level": "level", "levels": range(4), "weights": weights}
    found = coefficients(frame, **asked, cluster=weighted_by, unit_weights="weight")
    copied = coefficients(repeated, **asked, cluster=repeated_by)
    rest = found.index.drop("krippendorff_alpha")  # its small-sample term counts ratings, not copies
    for column in ("value", "se", "n_clusters", "p_observed", "p_expected"):
        np.testing.assert_allclose(found.loc[rest, column], copied.loc[rest, column], rtol=1e-10)
    np.testing.assert_allclose(found["se"], copied["se"], rtol=1e-10)
    both = frame.groupby("unit").size() == 2
    assert found.n_units["gwet_ac"] == both.sum()
    assert found.n_ratings["fleiss_kappa"] == len(frame)


def test_only_ratios_of_unit_weights_matter_and_equal_ones_change_nothing():
    frame = crossed(n=150).assign(one=1.0)
    frame["some"] = frame["unit"] % 3 + 0.5
    frame["tenfold"] = frame["some"] * 10
    asked = {"unit": "unit", "rater": "rater", "level": "level", "levels": range(4), "cluster": "candidate"}
    pd.testing.assert_frame_equal(
        coefficients(frame, **asked, unit_weights="one"), coefficients(frame, **asked), rtol=1e-10
    )
    pd.testing.assert_frame_equal(
        coefficients(frame, **asked, unit_weights="some"),
        coefficients(frame, **asked, unit_weights="tenfold"),
        rtol=1e-10,
    )
    drawn = coefficients(frame, **asked, unit_weights="some", interval="bca", replicates=300)
    assert (drawn["low"].dropna() < drawn["value"][drawn["low"].notna()]).all()


def test_weighted_groups_are_those_of_their_own_tables():
    frame = crossed(n=200).assign(weight=lambda rows: rows["unit"] % 4 + 1.0)
    asked = {"unit": "unit", "rater": "rater", "level": "level", "levels": range(4)}
    asked |= {"cluster": "candidate", "unit_weights": "weight"}
    both = coefficients(frame, **asked, by="site")
    for site, rows in frame.groupby("site"):
        pd.testing.assert_frame_equal(both.loc[site], coefficients(rows, **asked))


def test_intervals_of_weighted_units_cover():
    """Double-scored more often where raters agree less; weights undo it. Kappa .5, 300 data sets."""
    held = {"weight": 0, None: 0}
    for child in np.random.SeedSequence(11).spawn(300):
        rng = np.random.default_rng(child)
        ratings = clustered(rng, clusters=60, per_cluster=12)
        hard = rng.random(720) < 0.5
        unit = np.arange(720)
        first = rng.integers(0, 4, 720)
        apart = rng.random(720) < np.where(hard, 0.8, 0.2)
        second = np.where(apart, rng.integers(0, 4, 720), first)
        ratings["level"] = np.concatenate([first, second])
        chance = np.where(hard, 0.8, 0.3)
        chosen = unit[rng.random(720) < chance]
        ratings["weight"] = np.tile(1 / chance, 2)
        for weight in held:
            row = coefficients(
                ratings[ratings["unit"].isin(chosen)],
                unit="unit",
                rater="rater",
                level="level",
                levels=range(4),
                cluster="cluster",
                unit_weights=weight,
            ).loc["cohen_kappa"]
            held[weight] += row.low <= 0.5 <= row.high
    assert 0.92 <= held["weight"] / 300 <= 0.98
    assert held[None] / 300 < 0.3
