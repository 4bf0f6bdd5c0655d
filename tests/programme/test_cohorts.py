"""Contrasts of cohorts and sites against the general machinery, hand arithmetic, and the planted truth."""

import tomllib

import closed_lists
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats import places, programme
from mentorstats.calibration.base.rows import WEEKS
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status

SAME = 1e-6  # one model evaluated in two ways, one of them by numerical differences
HELD = 0.1  # share by which an error may differ whose variances are held


def ratings(seed=3, candidates=48, shift=(0.0, 0.9), raters=6, sites=2, apart=False):
    """Ratings of two cohorts, the later one higher by ``shift``; with ``apart`` no rater serves in both."""
    rng = np.random.default_rng(seed)
    c = np.repeat(np.arange(candidates), 4)
    cohort = c % len(shift)
    rater = rng.integers(raters, size=len(c)) + apart * raters * cohort
    lessons = pd.DataFrame(
        {
            "observation": [f"o{i}" for i in range(len(c))],
            "candidate": [f"c{i:02}" for i in c],
            "cohort": [f"202{k}" for k in cohort],
            "site": [f"s{k}" for k in (c // 2) % sites],
            "week": np.tile([2, 5, 8, 11], candidates),
            "rater": [f"r{i:02}" for i in rater],
            "rater_role": "supervisor",
            "rubric": "r",
            "rubric_version": "1",
        }
    )
    place = rng.normal(0, 1, candidates)[c] + np.array(shift)[cohort] + 0.06 * (lessons["week"] - 6.5)
    place = place + rng.normal(0, 0.5, raters * (1 + apart))[rater] + rng.normal(0, 0.4, len(c))
    out = lessons.loc[np.repeat(lessons.index, 3)].assign(criterion=["a", "b", "d"] * len(c))
    latent = np.repeat(place.to_numpy(), 3) + rng.logistic(size=len(out))
    out["rank"] = pd.array(1 + np.searchsorted([-2.0, 0.0, 2.0], latent), dtype="Int8")
    return out.reset_index(drop=True)


@pytest.fixture(scope="module")
def model():
    return programme.fit_ratings(ratings(sites=5, candidates=60))


def test_adjusted_values_are_those_of_the_fit(model):
    rows = model.design("cohort", ["2020", "2021"])
    found, table = model.combine(rows), model.fit.means("cohort")
    np.testing.assert_allclose(found.value, table["value"], rtol=SAME, atol=SAME)
    contrast, other = model.combine(rows[1:] - rows[0]), model.fit.contrasts("cohort")
    assert contrast.value[0] == pytest.approx(other["value"].iloc[0], abs=SAME)
    assert contrast.se[0] == pytest.approx(other["se"].iloc[0], rel=HELD)


def test_the_level_scale_is_that_of_the_fit(model):
    """At the mean of all else; members' effects are averaged over in both."""
    at = {WEEKS: 0.0, "site": "s0"}
    table = model.fit.means("cohort", at=at, scale="level", random="integrated", over="observed")
    rows = model.design("cohort", ["2020", "2021"])
    first = model.design("site", ["s0"]) - model.design("site", [f"s{i}" for i in range(5)]).mean(axis=0)
    own = model.levels(model.combine(rows + first).value)
    np.testing.assert_allclose(own, table["value"], atol=0.01)
    assert model.reaching(np.array([np.nan, 0.0]), 3)[0] != model.reaching(np.array([np.nan, 0.0]), 3)[1]
    np.testing.assert_allclose(model.shares(np.array([0.3])).sum(), 1.0)


def test_a_pair_has_its_difference_on_both_scales(model):
    found = programme.compare_groups(model, by="cohort")
    row = found.contrasts.loc[("2021", "2020")]
    assert row["low"] < row["value"] < row["high"]
    assert row["points"] > 0 < row["value"]
    assert row["moved"] == pytest.approx(row["value"] - row["raw"])
    own = (
        model.rows.groupby(["cohort", "candidate"])["rank"]
        .mean()
        .groupby("cohort")
        .agg(["mean", "std", "size"])
    )
    assert row["raw"] == pytest.approx(own["mean"].iloc[1] - own["mean"].iloc[0])
    low, high = stats.t.interval(0.95, own["size"] - 1, own["mean"], own["std"] / np.sqrt(own["size"]))
    np.testing.assert_allclose(found.means[["raw_low", "raw_high"]].to_numpy().T, [low, high])


def test_equivalence_is_two_one_sided_tests(model):
    wide, narrow = (
        programme.compare_groups(model, by="cohort", bound=b).contrasts.iloc[0] for b in (3.0, 0.01)
    )
    assert (wide["equivalence"], narrow["equivalence"]) == ("equivalent", "differs")
    rows = model.design("cohort", ["2020", "2021"])
    found = model.combine(rows[1:] - rows[0], 1e9)
    edge = wide["largest"]
    assert (
        programme.compare_groups(model, by="cohort", bound=edge * 1.001).contrasts["equivalence"].iloc[0]
        == "equivalent"
    )
    assert (
        programme.compare_groups(model, by="cohort", bound=edge * 0.999).contrasts["equivalence"].iloc[0]
        != "equivalent"
    )
    reach = found.value[0] + stats.norm.ppf(0.95) * found.se[0]
    assert stats.norm.sf((reach - found.value[0]) / found.se[0]) == pytest.approx(0.05), (
        "alpha on the far side"
    )


def test_many_groups_are_compared_with_their_mean_and_adjusted_by_hand(model):
    found = programme.compare_groups(model, by="site")
    assert list(found.contrasts.index.get_level_values("group")) == ["s0", "s1", "s2", "s3", "s4"]
    p = found.contrasts["p"].sort_values()
    by_hand = np.minimum(np.maximum.accumulate(p.to_numpy() * np.arange(5, 0, -1)), 1.0)
    np.testing.assert_allclose(found.contrasts["p_adjusted"].loc[p.index], by_hand)
    told = found.means["shrunken"].dropna()
    assert (told.abs() <= found.contrasts.loc[:, "value"].droplevel("against")[told.index].abs() + SAME).all()
    assert found.spread["interval_method"].iloc[0] == "q_profile"


def test_without_a_rater_in_common_there_is_no_value():
    found = programme.compare_groups(programme.fit_ratings(ratings(apart=True)), by="cohort")
    row = found.contrasts.iloc[0]
    assert (row["status"], row["n_raters_both"]) == (Status.COHORT_IS_RATER, 0)
    assert np.isnan(row["value"])
    assert not np.isnan(row["raw"])


def test_another_version_without_a_link_is_not_compared():
    long = ratings()
    long["rubric_version"] = long["cohort"].map({"2020": "1", "2021": "2"})
    row = programme.compare_groups(programme.fit_ratings(long), by="cohort").contrasts.iloc[0]
    assert (row["status"], row["versions"]) == (Status.NOT_IDENTIFIED, "1, 2")
    assert np.isnan(row["value"])


def test_one_group_and_one_rating_are_statuses():
    long = ratings(shift=(0.0,))
    found = programme.compare_groups(programme.fit_ratings(long), by="cohort")
    assert found.means["status"].tolist() == [Status.ONE_UNIT]
    for rows in (long.iloc[:1], long.assign(rater="r1"), long.assign(rank=pd.array([2] * len(long), "Int8"))):
        for by in ("cohort", "site", "licensure_area"):
            found = programme.compare_groups(programme.fit_ratings(rows), by=by)
            assert closed_lists.outside(found) == []


def test_bad_input_is_refused(model):
    with pytest.raises(ArgumentError, match="cohort"):
        programme.compare_groups(model, by="rater")
    with pytest.raises(ArgumentError, match="alpha"):
        programme.compare_groups(model, alpha=0.7)
    with pytest.raises(ColumnError, match="week"):
        programme.fit_ratings(ratings().drop(columns="week"))


def test_what_is_planted_in_the_demo_lies_in_its_interval(invented, invented_records):
    """Candidates of the second cycle were drawn better than planted, by the mean of their own effects."""
    found = programme.compare_groups(programme.fit_ratings(invented_records.linked()), by="cohort")
    assert closed_lists.outside(found) == []
    truth = invented.truth
    logits, levels = (truth.sizes.set_index("name")[name] for name in ("logits", "level"))
    own = truth.candidates.groupby("cohort")["effect"].mean()
    later = found.contrasts.loc[("2025-26", "2023-24")]
    assert later["low"] < levels["cohort 2025-26"] < later["high"]
    drawn = logits["cohort 2024-25"] + own["2024-25"] - own["2023-24"]
    second = found.contrasts.loc[("2024-25", "2023-24")]
    assert second["low"] < drawn * levels["cohort 2024-25"] / logits["cohort 2024-25"] < second["high"]
    assert second["p_adjusted"] < 0.05
    sites = programme.compare_groups(programme.fit_ratings(invented_records.linked()), by="site").contrasts
    assert (sites["status"] == Status.UNLINKED).sum() == 1
    assert sites.index[sites["status"] == Status.UNLINKED][0][0] == truth.unlinked_site


def test_columns_are_those_of_the_vocabulary(model):
    path = places.data_dictionary() / "vocabulary" / "result_columns.toml"
    known = set(tomllib.loads(path.read_text(encoding="utf-8")))
    found = [programme.compare_groups(model, by="site"), programme.rated_change(model)]
    for _, table in (item for one in found for item in closed_lists.tables(one)):
        assert set(table.columns) <= known
