"""Fit and use of levels by rater: by hand, against planted noise, and how often the blameless stand out."""

import numpy as np
import pandas as pd
import pytest
from spread_simulation import PROGRAMMES, TABLE, programme, rates

from mentorstats.calibration import (
    base_fit,
    criterion_fit,
    level_use,
    mean_squares,
    never_used,
    rating_fit,
    redraws,
)
from mentorstats.errors import ArgumentError

NOMINAL = 0.05  # what limits and p-values promise
ERRORS = 3.0  # Monte Carlo standard errors


def noisy(seed, rater, share):
    """Replace a share of a rater's ratings by levels from a hat."""
    table = programme(seed)
    rng = np.random.default_rng(seed)
    own = np.flatnonzero(table["rater"] == rater)
    chosen = rng.choice(own, int(share * len(own)), replace=False)
    table.loc[chosen, "rank"] = rng.integers(1, 5, len(chosen))
    return table


@pytest.fixture(scope="module")
def base():
    return base_fit(noisy(5, "r03", 0.5))


@pytest.fixture(scope="module")
def drawn(base):
    return redraws(base, draws=100, seed=5)


@pytest.mark.parametrize("kind", ["information", "response"])
def test_mean_squares_are_those_of_the_pure_function(base, drawn, kind) -> None:
    found = rating_fit(base, drawn, kind=kind).set_index("rater")
    own = (base.rows["rater"] == "r03").to_numpy()
    levels = np.arange(1, 5)
    fourth = (base.shares * (levels - base.expected[:, None]) ** 4).sum(axis=1)
    by_hand = mean_squares(base.ranks[own], base.expected[own], base.variance[own], fourth[own], axis=0)
    assert found.loc["r03", "fit"] == pytest.approx(float(getattr(by_hand, kind)))


@pytest.mark.parametrize("kind", ["information", "response"])
def test_a_rater_with_levels_from_a_hat_stands_out(base, drawn, kind) -> None:
    found = rating_fit(base, drawn, kind=kind).set_index("rater")
    assert found.loc["r03", "fit"] > found.loc["r03", "fit_expected_high"]
    assert found.loc["r03", "p"] < 1e-4
    assert found["p"].idxmin() == "r03"


def test_a_rater_who_is_too_regular_stands_out() -> None:
    table = base_fit(programme(6))
    regular = table.rows.assign(rank=table.rows["rank"].astype("Int8"))
    own = (regular["rater"] == "r01").to_numpy()
    regular.loc[own, "rank"] = np.rint(table.expected[own]).astype(int)
    again = base_fit(regular)
    found = rating_fit(again, redraws(again, draws=100)).set_index("rater")
    assert found.loc["r01", "contrast_high"] < -0.2
    assert found.loc["r01", "p"] < 1e-4


def test_criteria_have_rows_of_their_own(base, drawn) -> None:
    found = criterion_fit(base, drawn, kind="response")
    assert found["criterion"].tolist() == [f"k{i}" for i in range(5)]
    assert (found["n_ratings"] == 360).all()
    squares = (base.ranks - base.expected) ** 2 / base.variance
    first = squares[(base.rows["criterion"] == "k0").to_numpy()].mean()
    assert found.loc[0, "fit"] == pytest.approx(first)


def test_an_unknown_kind_is_refused(base, drawn) -> None:
    with pytest.raises(ArgumentError, match="kind"):
        rating_fit(base, drawn, kind="both")


def test_use_of_levels_adds_up(base, drawn) -> None:
    found = level_use(base, drawn)
    assert len(found) == 12 * 4
    by_rater = found.groupby("rater")
    assert (by_rater["n"].sum() == by_rater["n_ratings"].first()).all()
    assert by_rater["observed_share"].sum().to_numpy() == pytest.approx(1.0)
    assert by_rater["expected_share"].sum().to_numpy() == pytest.approx(1.0, abs=0.02)
    counts = base.rows.groupby(["rater", "rank"]).size()
    first = found.iloc[0]
    assert first["n"] == counts.loc[(first["rater"], first["level"])]


def test_a_level_that_is_avoided_is_told() -> None:
    table = programme(7)
    own = table["rater"] == "r05"
    table.loc[own & (table["rank"] == 4), "rank"] = 3
    base = base_fit(table)
    found = level_use(base, redraws(base, draws=100))
    avoided = never_used(found).set_index(["rater", "level"])
    assert ("r05", 4) in avoided.index
    row = avoided.loc[("r05", 4)]
    assert row["p_unused"] < 0.05
    assert row["expected_share_low"] > 0


def test_few_ratings_are_told() -> None:
    table = programme(8)
    few = table[(table["rater"] != "r00") | (table["observation"] == table["observation"].iloc[0])]
    base = base_fit(few)
    drawn = redraws(base, draws=50)
    for found in (rating_fit(base, drawn), level_use(base, drawn)):
        own = found[found["rater"] == "r00"]
        assert set(own["status"]) == {"sparse_raters"}
        assert own["n_ratings"].iloc[0] == 5


def test_a_fit_without_value_is_a_table_with_its_status() -> None:
    table = programme(1)
    table["rank"] = 2
    base = base_fit(table)
    for found in (rating_fit(base), criterion_fit(base), level_use(base)):
        assert set(found["status"]) == {base.status.value}
    assert level_use(base)["expected_share"].isna().all()


def test_blameless_raters_stand_out_no_more_often_than_promised() -> None:
    """Rates over all programmes of the table; what limits at the shrunken effects would do stands beside."""
    rate = pd.read_csv(TABLE).set_index("rule")["rate"]
    error = np.sqrt(NOMINAL * (1 - NOMINAL) / (12 * PROGRAMMES))
    naive = rate.index.str.contains("draws at the shrunken effects")
    residual = rate.index == "halo, residual correlation, interval"  # an interval of its own, not of draws
    assert (rate[~naive & ~residual] < NOMINAL + ERRORS * error).all()
    assert rate[residual].item() < 2 * NOMINAL
    assert (rate[naive] > 3 * NOMINAL).all()
    assert rate["fit by information, limits"] > NOMINAL / 2


def test_the_table_of_false_alarms_comes_from_the_code() -> None:
    stored = pd.read_csv(TABLE)
    fresh = rates(range(1))
    assert fresh["rule"].tolist() == stored["rule"].tolist()
    assert fresh["alarmed"].tolist() == stored["first_programme"].tolist()
