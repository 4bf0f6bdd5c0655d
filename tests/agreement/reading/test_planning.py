"""Plans against the published variance and against simulated double-scoring with the default interval."""

import tomllib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import simulation

from mentorstats import places
from mentorstats.agreement import coefficients, disagreement_correlation, double_scores_needed, precision
from mentorstats.agreement.coefficients.coefficients import estimate
from mentorstats.agreement.coefficients.members import Asked, kinds
from mentorstats.agreement.reading.planning import joint, of_joint
from mentorstats.errors import ArgumentError

DATA_SETS = 600
OF_POWER = 0.06  # three Monte Carlo errors of a probability near .8 in 600 data sets
OF_SPREAD = 0.12  # three relative Monte Carlo errors of a standard deviation in 600, and small-sample terms
UNEVEN = (0.02, 0.18, 0.70, 0.10)
COLUMNS = set(
    tomllib.loads(
        (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    )
)


@pytest.mark.parametrize("weights", ["identity", "linear", "quadratic"])
def test_one_pair_has_the_published_variance(weights):
    """The plan's standard error is that of `coefficients` for a table with exactly these shares."""
    table = np.array([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
    first, second = np.unravel_index(np.repeat(np.arange(9), table.ravel()), (3, 3))
    unit = np.arange(len(first))
    ratings = pd.concat(
        [pd.DataFrame({"unit": unit, "rater": r, "level": x + 1}) for r, x in ((1, first), (2, second))]
    )
    found = coefficients(
        ratings, unit="unit", rater="rater", level="level", levels=[1, 2, 3], weights=weights
    ).loc["cohen_kappa"]
    pair = of_joint(table / table.sum(), weights=weights)
    assert pair.kappa == pytest.approx(found.value, abs=1e-12)
    assert np.sqrt(pair.of_mean(table.sum(), 1, 0.0)) == pytest.approx(found.se, rel=1e-12)
    row = precision(int(table.sum()), kappa=pair.kappa, margins=table / table.sum(), weights=weights).iloc[0]
    assert (row.low, row.high) == pytest.approx((found.low, found.high), abs=1e-12)


@pytest.mark.parametrize("weights", ["identity", "linear", "quadratic"])
def test_the_mixture_has_its_kappa(weights):
    assert of_joint(joint(0.6, UNEVEN), weights=weights).kappa == pytest.approx(0.6)


CELLS = {
    "no correlation": simulation.Cell("candidate", 0.0, 5, "even", 4, 0.6, 50),
    "shared tendency": simulation.Cell("candidate", 0.2, 5, "even", 4, 0.6, 50),
    "uneven": simulation.Cell("candidate", 0.05, 5, "uneven", 4, 0.6, 200),
    "many pairs": simulation.Cell("candidate", 0.05, 20, "even", 3, 0.6, 20),
}


def of_observed(cell, weights):
    """Intracluster correlation of observed (weighted) agreement, from that of the tendency to differ."""
    pi, d = np.array(simulation.MARGINS[cell.margins, cell.levels]), 1 - cell.kappa
    pair = of_joint(joint(cell.kappa, pi), weights=weights)
    # The agreement expected in a cluster is 1 − d (1 − p_e); over (1 − p_e)² that leaves d alone.
    return cell.correlation * d * (1 - d) / pair.disagreement


@pytest.mark.parametrize("cell", CELLS.values(), ids=CELLS)
@pytest.mark.parametrize("weights", ["identity", "quadratic"])
def test_against_simulated_double_scoring(cell, weights):
    """The spread of kappa, and how often its interval lies above a floor, come out as planned."""
    margins, floor = simulation.MARGINS[cell.margins, cell.levels], 0.45
    planned = precision(
        cell.clusters,
        kappa=cell.kappa,
        margins=margins,
        pairs=cell.pairs,
        correlation=of_observed(cell, weights),
        floor=floor,
        weights=weights,
    ).iloc[0]
    asked = Asked(tuple(range(1, cell.levels + 1)), weights, "auto", 2000, 0.95, 0)
    kappa = next(kind for kind in kinds(asked, 2) if kind.name == "cohen_kappa")
    rng = np.random.default_rng(20261125)
    rows = [estimate(kappa, table, asked, None, None) for table in simulation.tables(cell, rng, DATA_SETS)]
    spread = np.std([row.value for row in rows])
    assert spread == pytest.approx(planned.se, rel=OF_SPREAD)
    assert np.mean([row.low > floor for row in rows]) == pytest.approx(planned.power, abs=OF_POWER)
    half = np.median([(row.high - row.low) / 2 for row in rows])
    assert half == pytest.approx(planned.half_width, rel=OF_SPREAD)


def test_the_fewest_clusters():
    asked = {"kappa": 0.6, "margins": UNEVEN, "pairs": 8, "lessons": 1, "correlation": 0.1}
    found = double_scores_needed(**asked, half_width=0.1, floor=0.4)
    assert set(found.columns) <= COLUMNS
    assert found.index.tolist() == ["half_width", "power"]
    for what, row in found.iterrows():
        fewer = precision([row.n_clusters - 1, row.n_clusters], **asked, floor=0.4)
        reached = fewer[what] <= 0.1 if what == "half_width" else fewer[what] >= 0.8
        assert reached.tolist() == [False, True]
        assert row.n_lessons == row.n_clusters
        assert row.n_units == 8 * row.n_clusters


def test_correlation_costs_lessons():
    asked = {"kappa": 0.6, "margins": UNEVEN, "pairs": 8, "half_width": 0.1}
    needed = [double_scores_needed(**asked, correlation=r).n_clusters.iloc[0] for r in (0, 0.05, 0.2)]
    assert needed == sorted(set(needed))


def test_never_fewer_than_an_interval_needs():
    found = double_scores_needed(kappa=0.9, margins=(0.5, 0.5), pairs=1000, half_width=0.5)
    assert found.n_clusters.tolist() == [8]
    assert found.status.tolist() == ["few_clusters"]
    few = precision([3, 8, 20], kappa=0.6, margins=(0.5, 0.5), floor=0.2)
    assert few.status.tolist() == ["too_few_clusters", "few_clusters", "ok"]
    assert few[["low", "power"]].isna().all(axis=1).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({}, "nothing is asked for"),
        ({"floor": 0.7}, "not below kappa"),
        ({"half_width": 1e-9}, "no number of clusters"),
        ({"half_width": 0.1, "margins": (0.5, 0.6)}, "margins are no shares"),
        ({"half_width": 0.1, "margins": (1.0, 0.0)}, "only one level"),
        ({"half_width": 0.1, "margins": [[0.5, 0.0], [0.0, 0.5]]}, "table of pairs has"),
        ({"half_width": 0.1, "kappa": 1.0}, "cannot be had"),
        ({"half_width": 0.1, "correlation": 2}, "correlation is 2"),
        ({"half_width": 0.1, "pairs": 0}, "0 pairs"),
        ({"half_width": 0.1, "confidence": 95}, "confidence is 95"),
    ],
)
def test_what_cannot_be_planned_is_refused(change, message):
    with pytest.raises(ArgumentError, match=message):
        double_scores_needed(**{"kappa": 0.6, "margins": UNEVEN, **change})


def in_long(cell, rng):
    """One simulated data set as a long table."""
    counts = simulation.draw(cell, rng, 1)[0]
    cluster, pattern = np.nonzero(counts)
    times = counts[cluster, pattern]
    cluster, pattern = np.repeat(cluster, times), np.repeat(pattern, times)
    unit = np.arange(len(cluster))
    sides = (pattern // cell.levels, pattern % cell.levels)
    return pd.concat(
        [
            pd.DataFrame({"unit": unit, "rater": r, "level": x, "cluster": cluster})
            for r, x in enumerate(sides)
        ]
    )


def test_the_correlation_comes_back_from_ratings():
    cell = replace(CELLS["shared tendency"], clusters=2000)
    found = disagreement_correlation(
        in_long(cell, np.random.default_rng(3)),
        unit="unit",
        rater="rater",
        level="level",
        levels=range(4),
        cluster="cluster",
    ).iloc[0]
    assert found.value == pytest.approx(of_observed(cell, "identity"), abs=0.03)  # Monte Carlo error .01
    assert found.n_clusters == 2000


def test_no_correlation_without_what_it_needs():
    ratings = pd.DataFrame(
        {"unit": [0, 0, 1, 1], "rater": [0, 1] * 2, "level": [1, 2, 2, 2], "cluster": [0, 0, 1, 1]}
    )
    how = {"unit": "unit", "rater": "rater", "level": "level", "levels": [1, 2], "cluster": "cluster"}
    assert disagreement_correlation(ratings, **how).status.tolist() == ["not_identified"]
    same = pd.concat([ratings, ratings.assign(unit=ratings.unit + 2)]).assign(level=1)
    assert disagreement_correlation(same, **how).status.tolist() == ["no_spread"]
