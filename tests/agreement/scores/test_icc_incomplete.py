"""Intraclass correlations where raters differ from unit to unit."""

import itertools

import numpy as np
import pandas as pd
import pytest
from engine import REFERENCE
from scipy import stats

from mentorstats.agreement import icc, icc_incomplete
from mentorstats.agreement.scores import variance_draws
from mentorstats.agreement.scores.overlap import harmonic_mean, sharing
from mentorstats.errors import ArgumentError

COLUMNS = {"unit": "unit", "rater": "rater", "level": "level"}
OPTIMUM = 2e-5  # relative; lme4 stops where its criterion no longer changes


def crossed(seed, n=40, k=6, share=1.0, variances=(1.0, 0.3, 0.7)):
    """Scores of k raters, each cell there with probability ``share``, in groups of four units."""
    of_unit, of_rater, of_rest = np.sqrt(variances)
    generator = np.random.default_rng([seed, 7])
    grid = of_unit * generator.normal(size=(n, 1)) + of_rater * generator.normal(size=(1, k))
    grid = grid + of_rest * generator.normal(size=(n, k))
    unit, rater = np.nonzero(generator.random((n, k)) < share)
    return pd.DataFrame({"unit": unit, "rater": rater, "level": grid[unit, rater], "candidate": unit // 4})


def pairwise_q(ratings):
    """q by its definition, pair by pair."""
    raters = ratings.groupby("unit")["rater"].agg(set)
    shared = [len(a & b) / (len(a) * len(b)) for a, b in itertools.combinations(raters, 2)]
    return np.mean([1 / len(a) for a in raters]) - np.mean(shared)


@pytest.mark.parametrize("seed", range(4))
def test_complete_data_give_the_mean_squares_answer(seed):
    ratings = crossed(seed, n=12, k=4)
    whole, parts = icc(ratings, **COLUMNS), icc_incomplete(ratings, **COLUMNS)
    assert (parts["status"] == "ok").all()
    for column in ("value", "sem", "observed_sd"):
        wanted = whole.loc[parts.index, column].to_numpy()
        assert parts[column].to_numpy() == pytest.approx(wanted, abs=1e-9)
    assert parts.loc["icc_c_k", "q"] == pytest.approx(0, abs=1e-12)
    assert parts.loc["icc_c_1", ["low", "high"]].to_numpy(dtype=float) == pytest.approx(
        whole.loc["icc_c_1", ["low", "high"]].to_numpy(dtype=float), abs=0.01
    )


def test_forty_percent_of_cells_missing():
    """Components by lme4, coefficients from them in R: tests/reference/icc_incomplete."""
    folder = REFERENCE / "icc_incomplete"
    ratings = pd.read_csv(folder / "data" / "ratings.csv")
    values = pd.read_csv(folder / "values.csv").set_index("quantity")["value"]
    found = icc_incomplete(ratings, unit="unit", rater="rater", level="score", k=6)
    assert found.loc["icc_a_1", "n_ratings"] == 144
    for name in ("icc_a_1", "icc_c_1", "icc_a_k"):
        assert found.loc[name, "value"] == pytest.approx(values[name], rel=OPTIMUM)
    error = values["rater"] + values["Residual"]
    assert found.loc["icc_a_1", "sem"] == pytest.approx(np.sqrt(error), rel=OPTIMUM)
    own = icc_incomplete(ratings, unit="unit", rater="rater", level="score")
    q, k = pairwise_q(ratings), own.loc["icc_a_1", "k_harmonic"]
    error = q * values["rater"] + values["Residual"] / k
    wanted = values["unit"] / (values["unit"] + error)
    assert own.loc["icc_c_k", "value"] == pytest.approx(wanted, rel=OPTIMUM)


@pytest.mark.parametrize("share", [0.3, 0.6, 1.0])
def test_q_is_its_definition(share):
    ratings = crossed(3, n=17, k=5, share=share)
    found = icc_incomplete(ratings, **COLUMNS)
    assert found.loc["icc_c_k", "q"] == pytest.approx(pairwise_q(ratings), abs=1e-12)
    harmonic = 1 / np.mean(1 / ratings.groupby("unit").size())
    assert found["k_harmonic"].to_numpy() == pytest.approx(harmonic)
    assert found.loc["icc_a_k", "q"] == pytest.approx(1 / harmonic)


def test_q_is_the_weight_of_severity_in_differences():
    """Half the mean squared difference of the scores that severity alone would give."""
    ratings = crossed(5, n=9, k=4, share=0.6)
    unit = pd.factorize(ratings["unit"])[0]
    weights = pd.crosstab(ratings["unit"], ratings["rater"], normalize="index").to_numpy()
    pairs = itertools.combinations(range(len(weights)), 2)
    wanted = np.mean([((weights[i] - weights[j]) ** 2).sum() / 2 for i, j in pairs])
    assert sharing(unit, ratings["rater"].to_numpy()).apart == pytest.approx(wanted, abs=1e-12)
    assert harmonic_mean(np.array([0, 0, 1, 1, 1, 1])) == pytest.approx(8 / 3)


def test_q_runs_from_crossed_to_nested():
    ratings = crossed(1, n=10, k=3)
    nested = ratings.assign(rater=range(len(ratings)))
    found = icc_incomplete(nested, **COLUMNS)
    assert found.loc["icc_c_k", "q"] == pytest.approx(1 / 3)
    assert found.loc["icc_c_k", "value"] == pytest.approx(found.loc["icc_a_k", "value"])


def test_raters_nested_in_units_are_not_identified():
    """What is left is the one-way form; consistency of one rating cannot be told."""
    ratings = crossed(1, n=20, k=3)
    found = icc_incomplete(ratings.assign(rater=range(len(ratings))), **COLUMNS)
    assert found.loc["icc_c_1", "status"] == "not_identified"
    assert np.isnan(found.loc["icc_c_1", "value"])
    assert np.isnan(found.loc["icc_c_1", "sem"])
    assert found.loc["icc_a_1", "value"] == pytest.approx(icc(ratings, **COLUMNS).loc["icc_1_1", "value"])
    fixed = icc_incomplete(ratings.assign(rater=range(len(ratings))), **COLUMNS, fixed_raters=True)
    assert set(fixed["status"]) == {"not_identified"}


def test_one_rating_a_unit_is_no_double_score():
    ratings = crossed(1).drop_duplicates("unit")
    ratings["rater"] = ratings["unit"] % 4
    assert set(icc_incomplete(ratings, **COLUMNS)["status"]) == {"no_double_scores"}


def test_disjoint_panels_have_an_answer():
    ratings = crossed(2, n=30, k=6)
    panels = ratings[(ratings["unit"] < 15) == (ratings["rater"] < 3)]
    found = icc_incomplete(panels, **COLUMNS)
    assert (found["status"] == "ok").all()
    assert found.loc["icc_c_k", "q"] == pytest.approx(pairwise_q(panels))


def test_additive_scores_are_saturated():
    ratings = crossed(1, n=10, k=3)
    ratings["level"] = ratings["unit"] + ratings["rater"]
    found = icc_incomplete(ratings.drop(index=[3, 8]), **COLUMNS)
    assert set(found["status"]) == {"saturated"}
    assert found["value"].isna().all()


def test_negative_is_zero_with_an_interval():
    grid = np.array([[1, 2, 3], [2, 3, 1], [3, 1, 2], [1, 3, 2], [2, 1, 3]])
    ratings = pd.DataFrame(
        {"unit": np.repeat(range(5), 3), "rater": np.tile(range(3), 5), "level": grid.ravel()}
    )
    found = icc_incomplete(ratings, **COLUMNS)
    assert set(found["status"]) == {"boundary"}
    assert (found["value"] == 0).all()
    assert (found["low"] == 0).all()
    assert (found["high"] > 0.05).all()


def test_no_rater_variance_still_has_an_upper_limit_for_it():
    ratings = next(
        data
        for seed in range(40)
        if (
            (data := crossed(seed, share=0.6, variances=(1, 0, 0.7))) is not None
            and "rater variance is estimated as zero"
            in icc_incomplete(data, **COLUMNS)["status_note"].iloc[0]
        )
    )
    found = icc_incomplete(ratings, **COLUMNS)
    assert found.loc["icc_a_1", "value"] == found.loc["icc_c_1", "value"]
    assert found.loc["icc_a_1", "low"] < found.loc["icc_c_1", "low"]


def test_k_scales_the_mean():
    ratings = crossed(2, share=0.6)
    own, two = icc_incomplete(ratings, **COLUMNS), icc_incomplete(ratings, **COLUMNS, k=2)
    assert two.loc["icc_a_1", "value"] == own.loc["icc_a_1", "value"]
    single = own.loc["icc_a_1", "value"]
    assert two.loc["icc_a_k", "value"] == pytest.approx(2 * single / (1 + single))
    assert two.loc["icc_c_k", "q"] * 2 == pytest.approx(own.loc["icc_c_k", "q"] * own.loc["icc_c_k", "k"])


def test_fixed_raters_leave_no_severity():
    ratings = crossed(2)
    fixed, whole = icc_incomplete(ratings, **COLUMNS, fixed_raters=True), icc(ratings, **COLUMNS)
    assert (fixed["q"] == 0).all()
    assert fixed.loc["icc_a_1", "value"] == pytest.approx(whole.loc["icc_c_1", "value"], abs=1e-9)
    assert fixed.loc["icc_a_k", "value"] == pytest.approx(whole.loc["icc_c_k", "value"], abs=1e-9)


def test_candidate_and_lesson_are_different_coefficients():
    """Complete and balanced: the components of a nested analysis of variance."""
    generator = np.random.default_rng(3)
    ratings = crossed(4, n=48, k=3)
    ratings["level"] += np.repeat(generator.normal(size=12), 12)
    found = icc_incomplete(ratings, **COLUMNS, nested="candidate")
    assert found.index.names == ["object", "coefficient"]
    grid = ratings["level"].to_numpy().reshape(12, 4, 3)
    lesson, candidate, rater = grid.mean(axis=2), grid.mean(axis=(1, 2)), grid.mean(axis=(0, 1))
    between = 12 * candidate.var(ddof=1)
    within = 3 * ((lesson - candidate[:, None]) ** 2).sum() / 36
    severity = 48 * rater.var(ddof=1)
    left = ((grid - lesson[:, :, None] - rater + grid.mean()) ** 2).sum() / 94
    c, u, r, e = (between - within) / 12, (within - left) / 3, (severity - left) / 48, left
    assert min(c, u, r) > 0
    wanted = {
        ("unit", "icc_a_1"): (c + u) / (c + u + r + e),
        ("unit", "icc_c_k"): (c + u) / (c + u + e / 3),
        ("candidate", "icc_a_1"): c / (c + u + r + e),
        ("candidate", "icc_c_1"): c / (c + u + e),
        ("candidate", "icc_a_k"): c / (c + u / 4 + r / 3 + e / 12),
        ("candidate", "icc_c_k"): c / (c + u / 4 + e / 12),
    }
    for key, value in wanted.items():
        assert found.loc[key, "value"] == pytest.approx(value, abs=1e-9)
    assert (found.loc["candidate", "n_clusters"] == 12).all()
    clustered = icc_incomplete(ratings, **COLUMNS, cluster="candidate")
    pd.testing.assert_frame_equal(clustered, found.loc["unit"])


def test_the_error_of_measurement_has_the_exact_interval_of_its_mean_square():
    """Complete data, one rater for all scores: the residual alone, whose interval is chi-squared."""
    ratings = crossed(4, n=30, k=4)
    grid = ratings["level"].to_numpy().reshape(30, 4)
    left = grid - grid.mean(axis=1, keepdims=True) - grid.mean(axis=0) + grid.mean()
    df, ss = 29 * 3, (left**2).sum()
    low, high = (np.sqrt(ss / stats.chi2.ppf(tail, df)) for tail in (0.975, 0.025))
    found = icc_incomplete(ratings, **COLUMNS, replicates=200_000)
    of = found.loc["icc_c_1"]
    assert of["sem"] == pytest.approx(np.sqrt(ss / df))
    assert (of["sem_low"], of["sem_high"]) == pytest.approx((low, high), rel=0.004)  # 200,000 draws
    mean = found.loc["icc_c_k"]
    assert (mean["sem_low"] * 2, mean["sem_high"] * 2) == pytest.approx((of["sem_low"], of["sem_high"]))
    assert ((found["sem_low"] < found["sem"]) & (found["sem"] < found["sem_high"])).all()


def test_no_interval_of_the_coefficient_no_interval_of_the_error(monkeypatch):
    monkeypatch.setattr(variance_draws, "MOST", 5)
    found = icc_incomplete(crossed(6, share=0.6), **COLUMNS)
    assert found["sem"].notna().all()
    assert found[["sem_low", "sem_high"]].isna().all(axis=None)


def nested_layers(seed=0, sites=6, per_site=5, per_candidate=4, raters=3):
    """Complete and balanced: units in candidates in sites, crossed with raters."""
    generator = np.random.default_rng([seed, 2])
    shape = (sites, per_site, per_candidate, raters)
    scores = sum(
        sd * generator.normal(size=[size if place in kept else 1 for place, size in enumerate(shape)])
        for sd, kept in ((0.9, (0,)), (0.8, (0, 1)), (0.7, (0, 1, 2)), (0.5, (3,)), (0.6, (0, 1, 2, 3)))
    )
    site, candidate, unit, rater = np.indices(shape).reshape(4, -1)
    candidate = candidate + per_site * site
    unit = unit + per_candidate * candidate
    table = {"unit": unit, "rater": rater, "level": scores.ravel(), "candidate": candidate, "site": site}
    return pd.DataFrame(table), scores


def test_several_clusters_are_the_layers_of_a_nested_analysis_of_variance():
    ratings, grid = nested_layers()
    s, c, u, r = grid.shape
    means = {
        kept: grid.mean(axis=tuple(set(range(4)) - set(kept)), keepdims=True)
        for kept in ((), (0,), (0, 1), (0, 1, 2), (3,))
    }

    def square(values, df, times):
        return times * (values**2).sum() / df

    of_site = square(means[0,] - means[()], s - 1, c * u * r)
    of_candidate = square(means[0, 1] - means[0,], s * (c - 1), u * r)
    of_unit = square(means[0, 1, 2] - means[0, 1], s * c * (u - 1), r)
    of_rater = square(means[3,] - means[()], r - 1, s * c * u)
    left = square(grid - means[0, 1, 2] - means[3,] + means[()], (s * c * u - 1) * (r - 1), 1)
    parts = [
        (of_site - of_candidate) / (c * u * r),
        (of_candidate - of_unit) / (u * r),
        (of_unit - left) / r,
    ]
    severity = (of_rater - left) / (s * c * u)
    assert min(*parts, severity) > 0
    signal = sum(parts)
    found = icc_incomplete(ratings, **COLUMNS, cluster=["candidate", "site"])
    assert found.loc["icc_a_1", "value"] == pytest.approx(signal / (signal + severity + left), abs=1e-9)
    assert found.loc["icc_c_k", "value"] == pytest.approx(signal / (signal + left / r), abs=1e-9)
    assert set(found["components"]) == {"unit, candidate, site, rater, residual"}
    assert (found["n_clusters"] == s).all()
    turned = icc_incomplete(ratings, **COLUMNS, cluster=["site", "candidate"])
    pd.testing.assert_frame_equal(turned, found)


def test_cluster_columns_that_add_nothing_change_nothing():
    ratings = crossed(4, n=48, k=3).assign(again=lambda x: x["candidate"] + 7, each=lambda x: x["unit"])
    one = icc_incomplete(ratings, **COLUMNS, cluster="candidate")
    found = icc_incomplete(ratings, **COLUMNS, cluster=["each", "candidate", "again"])
    assert set(found["components"]) == {"unit, candidate, rater, residual"}
    pd.testing.assert_frame_equal(found, one)


def test_clusters_widen_the_interval():
    generator = np.random.default_rng(8)
    ratings = crossed(4, n=48, k=3, variances=(0.1, 0.1, 0.5))
    ratings["level"] += np.repeat(generator.normal(size=12), 12)
    plain, clustered = (
        icc_incomplete(ratings, **COLUMNS),
        icc_incomplete(ratings, **COLUMNS, cluster="candidate"),
    )
    width = {"plain": plain["high"] - plain["low"], "clustered": clustered["high"] - clustered["low"]}
    assert (width["clustered"] > width["plain"]).all()


def test_designs_too_large_for_an_interval_say_so(monkeypatch):
    ratings = crossed(6, share=0.6)
    monkeypatch.setattr(variance_draws, "MOST", 5)
    found = icc_incomplete(ratings, **COLUMNS)
    monkeypatch.undo()
    wanted = icc_incomplete(ratings, **COLUMNS)
    assert found["value"].to_numpy() == pytest.approx(wanted["value"].to_numpy(), abs=1e-4)
    assert set(found["interval_method"]) == {"none"}
    assert found["status_note"].str.contains("No interval").all()


def test_members_that_cannot_be_told_from_units():
    ratings = crossed(6, share=0.6)
    alike = icc_incomplete(ratings.assign(candidate=ratings["unit"]), **COLUMNS, nested="candidate")
    assert set(alike.loc["candidate", "status"]) == {"not_identified"}
    assert alike.loc["candidate", ["value", "sem"]].isna().all(axis=None)
    assert alike.loc["unit", "value"].tolist() == icc_incomplete(ratings, **COLUMNS)["value"].tolist()
    single = icc_incomplete(ratings.assign(candidate="x"), **COLUMNS, nested="candidate")
    assert set(single["status"]) == {"not_identified"}
    assert single["status_note"].str.contains("candidate has 1 member").all()


def test_nested_refusals_keep_their_shape():
    ratings = crossed(6, share=0.6)
    empty = icc_incomplete(ratings.iloc[:0], **COLUMNS, nested="candidate")
    assert len(empty) == 8
    assert set(empty["status"]) == {"no_records"}
    same = icc_incomplete(ratings.assign(level=ratings["unit"]), **COLUMNS, nested="candidate")
    assert set(same.loc["unit", "status"]) == {"no_disagreement"}
    assert set(same.loc["candidate", "status"]) == {"saturated"}


def test_a_cluster_without_a_score_changes_nothing():
    ratings = crossed(6, share=0.6)
    blank = ratings.copy()
    blank.loc[blank["candidate"] == 3, "level"] = np.nan
    kept = ratings[ratings["candidate"] != 3]
    for argument in ("cluster", "nested"):
        found, wanted = (icc_incomplete(r, **COLUMNS, **{argument: "candidate"}) for r in (blank, kept))
        pd.testing.assert_frame_equal(found.drop(columns="n_left_out"), wanted.drop(columns="n_left_out"))


def test_same_seed_same_answer():
    ratings = crossed(6, share=0.6)
    one, again = (icc_incomplete(ratings, **COLUMNS, seed=3) for _ in range(2))
    pd.testing.assert_frame_equal(one, again)
    assert (icc_incomplete(ratings, **COLUMNS, seed=4)["low"] != one["low"]).all()


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"k": 0}, "k is 0"),
        ({"cluster": "candidate", "nested": "candidate"}, "nested alone"),
        ({"cluster": "site"}, "no column 'site'"),
        ({"cluster": "rater"}, "two clusters"),
        ({"replicates": 10}, "replicates"),
    ],
)
def test_bad_arguments_are_named(more, message):
    with pytest.raises(ArgumentError, match=message):
        icc_incomplete(crossed(1), **COLUMNS, **more)
