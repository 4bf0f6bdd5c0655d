"""Change in rated level against the general machinery, arithmetic by hand, and the planted truth."""

import closed_lists
import numpy as np
import pandas as pd
import pytest
from scipy import stats
from test_cohorts import ratings

from mentorstats import programme
from mentorstats.calibration.base.rows import MEASURE, WEEKS
from mentorstats.errors import ArgumentError
from mentorstats.mixed.local.expansion import Expansion
from mentorstats.programme import change

SAME = 1e-6  # one model evaluated in two ways
NEAR = 0.12  # three programmes of 80 candidates: the mean squared correlation has an error of about .05


@pytest.fixture(scope="module")
def model():
    return programme.fit_ratings(ratings(candidates=60))


@pytest.fixture(scope="module")
def found(model):
    return programme.rated_change(model)


def test_the_change_of_each_criterion_is_the_coefficient_of_the_fit(model):
    table = model.fit.coefficients["estimate"]
    own = table[[name for name in table.index if name.startswith(f"{WEEKS} × ")]]
    groups = model.fit.model.found.threshold_groups
    slopes = []
    for group in groups:
        rows = model.design_of_criterion(group, np.array([0.0, 1.0]))
        slopes.append(model.combine(rows[1:] - rows[:1]).value[0])
    assert slopes[0] == pytest.approx(table[WEEKS], abs=SAME)
    np.testing.assert_allclose(np.array(slopes[1:]) - slopes[0], own, atol=SAME)
    rows = model.design(WEEKS, np.array([0.0, 1.0]))
    assert model.combine(rows[1:] - rows[:1]).value[0] == pytest.approx(np.mean(slopes), abs=SAME)


def test_the_curve_runs_over_the_weeks_of_lessons_and_rises(found):
    assert found.curve["week"].tolist() == list(range(2, 12))
    assert found.curve.set_index("moment")["week"].drop("").to_dict() == {"start": 2, "middle": 6, "end": 11}
    assert found.curve["value"].is_monotonic_increasing
    assert ((found.curve["reach_low"] < found.curve["reach"]) & (found.curve["reach"] < 1)).all()
    row = found.total.iloc[0]
    by_curve = found.curve["value"].iloc[-1] - found.curve["value"].iloc[0]
    assert row["value"] == pytest.approx(by_curve, abs=SAME)
    assert row["low"] < row["value"] < row["high"]


def test_criteria_are_adjusted_together_by_hand(found):
    p = found.criteria["p"].sort_values()
    by_hand = np.minimum(np.maximum.accumulate(p.to_numpy() * np.arange(len(p), 0, -1)), 1.0)
    np.testing.assert_allclose(found.criteria["p_adjusted"].loc[p.index], by_hand)
    np.testing.assert_allclose(found.criteria["end"] - found.criteria["start"], found.criteria["value"])


def test_the_error_of_one_candidate_is_that_of_the_covariance_matrix(model, found):
    """For one candidate, w'Vw with the whole matrix V of the ratings' errors, written out."""
    variances = change._error_variances(model)
    week = model.rows["week"].astype(float)
    errors = []
    for _, rows in model.rows.groupby("candidate"):
        early, late = (week[rows.index] <= 5).to_numpy(), (week[rows.index] >= 8).to_numpy()
        weight = late / late.sum() - early / early.sum()
        whole = variances["residual"] * np.eye(len(rows))
        for name in ("rater", "observation"):
            same = rows[name].to_numpy()
            whole += variances[name] * (same[:, None] == same[None, :])
        both = (rows["rater"] + rows[MEASURE]).to_numpy()
        whole += variances[f"rater × {MEASURE}"] * (both[:, None] == both[None, :])
        errors.append(np.sqrt(weight @ whole @ weight))
    assert found.reliable["sem"].iloc[0] == pytest.approx(np.median(errors))
    assert found.reliable["n_expected"].iloc[0] == pytest.approx(60 * 0.025)


def test_without_change_no_more_candidates_change_than_by_chance():
    long = ratings(seed=9, candidates=120, shift=(0.0, 0.0))
    flat = long.assign(
        week=np.random.default_rng(4).permutation(long["week"].unique())[pd.factorize(long["week"])[0]]
    )
    row = programme.rated_change(programme.fit_ratings(flat)).reliable.iloc[0]
    beyond = row["n_up"] + row["n_down"]
    assert stats.binom.sf(beyond - 1, row["n_candidates"], 0.1) > 0.001, "drawn with a small slope left in"


def test_reliability_is_the_squared_correlation_with_true_changes():
    """Of estimated with true slopes, over programmes with known slopes: the definition of reliability."""
    told, seen = [], []
    for seed in range(3):
        long, slopes = with_slopes(seed)
        model = programme.fit_ratings(long)
        told.append(programme.rated_change(model).slopes["reliability"].iloc[0])
        members = model.fit.model.members[0]
        place = members.find(pd.DataFrame({"candidate": slopes.index}))
        estimated = Expansion(model.fit.model).joint.effects(0)[0][place, 1]
        seen.append(np.corrcoef(estimated, slopes)[0, 1] ** 2)
    assert np.mean(told) == pytest.approx(np.mean(seen), abs=NEAR)


def with_slopes(seed, candidates=80, sd=0.15):
    """Four lessons of five criteria by a rater each, candidates whose change a week differs by ``sd``."""
    rng = np.random.default_rng(seed)
    long = ratings(seed=seed, candidates=candidates, shift=(0.0, 0.0))
    slope = pd.Series(rng.normal(0, sd, candidates), index=[f"c{i:02}" for i in range(candidates)])
    lesson = long["observation"].str[1:].astype(int).to_numpy()
    at = long["candidate"].map(slope).to_numpy() * (long["week"] - 6.5).to_numpy(dtype=float)
    at = at + rng.normal(0, 0.8, candidates)[lesson // 4] + rng.normal(0, 0.3, candidates * 4)[lesson]
    levels = 1 + np.searchsorted([-2.0, 0.0, 2.0], at + rng.logistic(size=len(long)))
    return long.assign(rank=pd.array(levels, dtype="Int8")), slope


def test_what_cannot_be_told_is_a_status():
    long = ratings()
    for rows in (long.assign(week=pd.NA), long.assign(week=3), long.iloc[:1], long.assign(rank=pd.NA)):
        found = programme.rated_change(programme.fit_ratings(rows))
        assert closed_lists.outside(found) == []
        assert np.isnan(found.total["value"].iloc[0])
        assert found.total["status_note"].iloc[0]
    with pytest.raises(ArgumentError, match="target"):
        programme.rated_change(programme.fit_ratings(long.iloc[:40]), target=1)


def test_the_planted_change_of_the_demo_lies_in_its_interval(invented, invented_records):
    found = programme.rated_change(programme.fit_ratings(invented_records.linked()))
    assert closed_lists.outside(found) == []
    week = invented.truth.sizes.set_index("name").loc["change a week", "level"]
    row, span = found.total.iloc[0], found.curve["week"].iloc[-1] - found.curve["week"].iloc[0]
    assert row["low"] < week * span < row["high"]
    assert 0 < found.slopes["reliability"].iloc[0] < 1
    assert found.reliable["n_up"].iloc[0] > found.reliable["n_expected"].iloc[0] > 3
