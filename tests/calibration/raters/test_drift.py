"""Differences in drift: planted ones come back, others are spread as chance has it, refits agree."""

import tomllib

import numpy as np
import pandas as pd
import pytest

from mentorstats import places
from mentorstats.calibration import base_fit, drift, drift_between
from mentorstats.calibration.base.base import Base, fit_again
from mentorstats.calibration.base.rows import WEEKS
from mentorstats.calibration.drift_refit import refit
from mentorstats.errors import ArgumentError
from mentorstats.mixed import by
from mentorstats.sources import SOURCES

WITHIN = 3.0  # standard errors: what planted effects are asked to come back within
STEP = 0.4  # of an error: one Newton step towards a drift of five errors against the refit
SAMPLES = 5  # data sets of 24 blameless raters: the spread of 120 z is known to .065
RATERS = 24


def programme(
    seed: int,
    *,
    candidates: int = 48,
    weeks: tuple[int, ...] = (1, 3, 5, 8, 10, 12),
    slope: float = 0.2,
    drifts: np.ndarray | None = None,
    cohorts: int = 1,
) -> pd.DataFrame:
    """Draw candidates with a change of their own and two raters each, on four levels of three criteria."""
    rng = np.random.default_rng(seed)
    ability, own = rng.normal(0, 1, candidates), rng.normal(0, slope, candidates)
    severity = rng.normal(0, 0.7, RATERS)
    drifts = np.zeros(RATERS) if drifts is None else drifts
    grid = np.meshgrid(np.arange(candidates), np.array(weeks), [0, 1], np.arange(3), indexing="ij")
    c, week, side, criterion = (axis.ravel() for axis in grid)
    rater = np.where(side == 0, c % RATERS, (c + 1 + c // RATERS) % RATERS)
    lesson = rng.normal(0, 0.5, (candidates, max(weeks) + 1))[c, week]
    cohort = c * cohorts // candidates
    time = cohort - (cohorts - 1) / 2 if cohorts > 1 else week - np.mean(weeks)
    latent = ability[c] + severity[rater] + own[c] * (week - np.mean(weeks)) + drifts[rater] * time
    rank = 1 + np.searchsorted(
        [-1.5, 0.3, 2.0], latent + 0.3 * criterion + lesson + rng.logistic(size=len(c))
    )
    return pd.DataFrame(
        {
            "observation": [f"o{a}-{b}" for a, b in zip(c, week, strict=True)],
            "candidate": [f"c{a}" for a in c],
            "cohort": [f"cycle {a}" for a in cohort],
            "week": week,
            "rater": [f"r{a:02}" for a in rater],
            "rater_role": "supervisor",
            "rubric": "invented",
            "rubric_version": "1",
            "criterion": [f"k{a}" for a in criterion],
            "rank": pd.array(rank, dtype="Int8"),
        }
    )


def without_slopes(base: Base) -> Base:
    """Fit the same model with candidates who all change alike."""
    made = fit_again(base, {}, grouped=[by("candidate"), *base.model.declared.grouped[1:]])
    return Base(made, base.rows)


PLANTED = np.where(np.arange(RATERS) == 3, -0.3, 0.0)


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(5, drifts=PLANTED))


@pytest.fixture(scope="module")
def found(base):
    return drift_between(base)


@pytest.fixture(scope="module")
def spreads():
    """How blameless raters' z are spread, with candidates' own slopes in the model and without them."""
    z: dict[str, list[float]] = {"with": [], "without": []}
    for seed in range(100, 100 + SAMPLES):
        own = base_fit(programme(seed))
        for name, base in (("with", own), ("without", without_slopes(own))):
            raters = drift(base)
            z[name] += list(raters["contrast"] / raters["contrast_se"])
    return {name: float(np.sqrt(np.mean(np.square(values)))) for name, values in z.items()}


def test_planted_drift_comes_back_in_the_invented_programme(invented, invented_base) -> None:
    raters = drift(invented_base).set_index("rater")
    truth = invented.truth.raters
    supervisors = truth[truth["role"] == "supervisor"].set_index("rater")["drift"]
    middle = supervisors.reindex(raters.index[raters["contrast"].notna()]).dropna().mean()
    row = raters.loc[supervisors.idxmin()]
    assert abs(row["contrast"] - (supervisors.min() - middle)) < WITHIN * row["contrast_se"]
    assert row["p"] < 1e-4
    assert row["contrast_level_high"] < 0
    supervisors_only = raters[raters["rater_role"] == "supervisor"]
    assert supervisors_only["p"].idxmin() == supervisors.idxmin()


def test_planted_drift_is_found_and_no_other(found) -> None:
    raters = found.raters.set_index("rater")
    expected = PLANTED - PLANTED.mean()
    assert (np.abs(raters["contrast"] - expected) < 3.3 * raters["contrast_se"]).all()
    assert raters["p"].idxmin() == "r03"
    assert raters.loc["r03", "effect"] > raters.loc["r03", "contrast"]


def test_blameless_raters_are_spread_as_chance_has_it(spreads) -> None:
    assert spreads["with"] == pytest.approx(1.0, abs=0.15)


def test_without_candidates_own_slopes_blameless_raters_would_be_called(spreads) -> None:
    assert spreads["without"] > 1.1 * spreads["with"]
    assert spreads["without"] > 1.15


def test_a_refit_agrees_with_the_step(base) -> None:
    checked = refit(base, ["r07", "r03"])
    assert list(checked["rater"]) == ["r03", "r07"]
    assert checked["change_in_se"].abs().max() < STEP
    assert checked["se"].to_numpy() == pytest.approx(checked["one_step_se"], rel=0.05)
    own = base.rows["rater"] == "r03"
    weeks = base.rows[WEEKS] - np.average(base.rows.loc[own, WEEKS], weights=base.information[own])
    again = fit_again(base, {"own": np.where(own, weeks, 0.0)}, more=["own"]).coefficients.loc["own"]
    alone = refit(base, ["r03"]).iloc[0]
    assert alone["estimate"] == pytest.approx(again["estimate"], rel=1e-4)
    assert alone["se"] == pytest.approx(again["se"], rel=0.05)  # there the variances are not held


def test_the_spread_of_drift_is_that_of_a_model_with_raters_slopes() -> None:
    drifts = np.random.default_rng(8).normal(0, 0.2, RATERS)
    base = base_fit(programme(9, candidates=96, slope=0.1, drifts=drifts))
    ours = drift_between(base)
    grouped = [
        by("rater", slope=WEEKS, correlated=False) if term.name == "rater" else term
        for term in base.model.declared.grouped
    ]
    full = fit_again(base, {}, grouped=grouped)
    sd = float(np.sqrt(full.model.fitted.covariances()[1][1, 1]))
    role = ours.roles.iloc[0]
    assert role["sd"] == pytest.approx(sd, rel=0.1)  # moments of one step against likelihood
    assert role["low"] < 0.2 < role["high"]
    joint = Base(full, base.rows).joint
    slopes = joint.b[joint.part(1)].reshape(-1, 2)[:, 1]
    assert np.corrcoef(ours.raters["effect"], slopes)[0, 1] > 0.99
    inside = (ours.raters["low"] <= drifts) & (drifts <= ours.raters["high"])
    assert inside.mean() >= 0.75


def test_severity_is_not_touched(base) -> None:
    """A rater's slope, centred, leaves nothing to the rater's level at the weights of the fit."""
    raters = drift(base)
    own = base.rater_of_row
    weeks = base.rows[WEEKS].to_numpy()
    mean = np.bincount(own, base.information * weeks) / np.bincount(own, base.information)
    assert np.bincount(own, base.information * (weeks - mean[own])) == pytest.approx(0.0, abs=1e-9)
    assert len(raters) == RATERS


def test_a_drift_that_all_raters_share_is_taken_for_a_change_of_candidates() -> None:
    bases = [base_fit(programme(12, drifts=np.full(RATERS, size))) for size in (0.0, 0.15)]
    still, moving = (drift_between(base) for base in bases)
    change = [base.joint.beta[-1] for base in bases]  # weeks, the last fixed column
    assert change[1] - change[0] == pytest.approx(0.15, abs=0.02)
    moved = (moving.raters["contrast"] - still.raters["contrast"]) / still.raters["contrast_se"]
    assert np.sqrt(np.mean(moved**2)) < 0.8  # the same draws fall between other cut-points
    assert moving.roles["p"].item() > 0.05


def test_detectable_is_what_a_test_finds_with_the_power_asked_for(base, found) -> None:
    row = found.raters.iloc[0]
    rng = np.random.default_rng(0)
    size = (1.959964 + 0.841621) * row["contrast_se"]
    z = (size + row["contrast_se"] * rng.normal(size=20_000)) / row["contrast_se"]
    assert np.mean(np.abs(z) > 1.959964) == pytest.approx(0.8, abs=0.01)
    both = base.on_level_scale(10 * np.array([size, -size]))
    assert row["detectable"] == pytest.approx((both[0] - both[1]) / 2, rel=1e-5)
    role = found.roles.iloc[0]
    assert found.raters["detectable"].min() <= role["detectable"] <= found.raters["detectable"].max()


def test_change_over_cycles() -> None:
    drifts = np.where(np.arange(RATERS) == 2, 2.5, 0.0)
    table = programme(15, candidates=96, weeks=(2, 6, 10), cohorts=2, slope=0.05, drifts=drifts)
    base = base_fit(table)
    raters = drift(base, per="cycle").set_index("rater")
    assert raters.loc["r02", "n_periods"] == 2
    expected = 2.5 - drifts.mean()
    assert abs(raters.loc["r02", "contrast"] - expected) < WITHIN * raters.loc["r02", "contrast_se"]
    assert raters["p"].idxmin() == "r02"
    one = drift_between(base_fit(programme(5)), per="cycle")
    assert set(one.raters["status"]) == {"not_identified"}
    assert one.roles["n_raters"].item() == 0


def test_raters_with_too_few_weeks_have_a_row_without_value() -> None:
    table = programme(5)
    late = (table["rater"] == "r01") & (table["week"] > 3)
    raters = drift(base_fit(table[~late])).set_index("rater")
    row = raters.loc["r01"]
    assert row["status"] == "not_identified"
    assert "fewer than" in row["status_note"]
    assert np.isnan(row["contrast"])
    assert raters["contrast"].notna().sum() == RATERS - 1


def test_the_only_rater_of_a_role_has_nobody_to_differ_from() -> None:
    table = programme(5)
    table.loc[table["rater"] == "r04", "rater_role"] = "mentor"
    found = drift_between(base_fit(table))
    alone = found.raters[found.raters["rater_role"] == "mentor"].iloc[0]
    assert alone["status"] == "not_identified"
    assert "No other rater" in alone["status_note"]
    assert found.raters["contrast"].notna().sum() == RATERS - 1
    assert found.roles.set_index("rater_role")["status"].to_dict()["mentor"] == "not_identified"


def test_without_weeks_or_ratings_there_is_a_reason() -> None:
    table = programme(5)
    same = base_fit(table.assign(week=1))
    flat = drift_between(same)
    assert set(flat.raters["status"]) == {"not_identified"}
    assert "week" in flat.raters["status_note"].iloc[0]
    assert refit(same, ["r01"])["estimate"].isna().all()
    few = drift_between(base_fit(table[table["rater"].isin(["r00", "r01", "r02"])]))
    assert set(few.raters["status"]) == {"few_levels"}


def test_rows_are_in_the_order_of_role_and_code(found) -> None:
    keys = found.raters[["rater_role", "rater"]].apply(tuple, axis=1).tolist()
    assert keys == sorted(keys)


def test_columns_statuses_and_references(base, found) -> None:
    vocabulary = places.data_dictionary() / "vocabulary"
    columns = set(tomllib.loads((vocabulary / "result_columns.toml").read_text(encoding="utf-8")))
    statuses = set(tomllib.loads((vocabulary / "statuses.toml").read_text(encoding="utf-8")))
    for table in (found.raters, found.roles, refit(base, ["r03"]), drift(base, per="cycle")):
        assert set(table.columns) <= columns
        assert set(table["status"]) <= statuses
        assert set(table["reference"]) <= set(SOURCES)


def test_bad_input_is_refused(base) -> None:
    with pytest.raises(ArgumentError, match="per"):
        drift(base, per="month")
    with pytest.raises(ArgumentError, match="confidence"):
        drift(base, confidence=95)
    with pytest.raises(ArgumentError, match="no rater 'nobody'"):
        refit(base, ["nobody"])
