"""Control charts and mean drift on key-scored recordings, against the handbook, tables and statsmodels."""

import math
import tomllib

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from mentorstats import places
from mentorstats.errors import ArgumentError, ColumnError, DuplicateRatingError
from mentorstats.key_scores import average_run_length, control_charts, key_trend
from mentorstats.key_scores.recordings import recordings
from mentorstats.key_scores.weighted_means import weighted_errors, weighted_means
from mentorstats.sources import SOURCES

LEVELS = [1, 2, 3, 4]
ROUNDING = 1e-9

# Worked example of the handbook [nist_sematech_2012]: twenty values, target 50, sd 2.0539, weight .3.
HANDBOOK = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
HANDBOOK_SMOOTHED = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip

# [lucas_saccucci_1990], from memory: weight, width, and average run lengths at shifts of 0, .5 and 1.
RUN_LENGTHS = [
    (0.05, 2.615, 500, 28.8, 11.4),
    (0.10, 2.814, 500, 31.3, 10.3),
    (0.20, 2.962, 500, 41.8, 10.5),
    (0.25, 2.998, 500, 48.2, 11.1),
    (0.40, 3.054, 500, 71.2, 14.3),
]


def exercise(
    seed: int,
    *,
    raters: int = 24,
    days: int = 10,
    each_day: int = 2,
    criteria: int = 6,
    drift: float = 0.0,
    moving: dict[int, float] | None = None,
) -> pd.DataFrame:
    """Draw raters who score recordings near the key; some move, in latent units over the whole run."""
    rng = np.random.default_rng(seed)
    keys = np.random.default_rng(900).integers(1, 5, (days * each_day, criteria))
    rows = []
    for r in range(raters):
        own = rng.normal(0, 0.2)
        order = rng.permutation(days * each_day)
        for place, recording in enumerate(order):
            day = place // each_day
            time = day / (days - 1)
            shift = own + drift * time + (moving or {}).get(r, 0.0) * time + rng.normal(0, 0.15)
            key = keys[recording]
            level = np.clip(np.rint(key + shift + rng.normal(0, 0.45, criteria)), 1, 4).astype(int)
            for criterion in range(criteria):
                rows.append(
                    (f"r{r:02}", f"v{recording}", f"k{criterion}", level[criterion], key[criterion], day)
                )
    table = pd.DataFrame(rows, columns=["rater", "recording", "criterion", "level", "key_level", "day"])
    table["date"] = pd.Timestamp("2026-01-05") + pd.to_timedelta(7 * table["day"], unit="D")
    return table.drop(columns="day")


@pytest.fixture(scope="module")
def moved():
    """One rater of twenty-four becomes stricter by two levels over the run."""
    return exercise(3, moving={5: -2.0})


@pytest.fixture(scope="module")
def charts(moved):
    return control_charts(moved, levels=LEVELS)


def test_weighted_means_of_the_handbook() -> None:
    found = weighted_means(np.array(HANDBOOK), 50.0, 0.3)
    assert found == pytest.approx(HANDBOOK_SMOOTHED, abs=0.0051)
    half = 3 * weighted_errors(np.ones(100, dtype=np.int64), 2.0539, 0.3)[-1]
    assert (50 + half, 50 - half) == pytest.approx((52.5884, 47.4115), abs=2e-4)  # printed with .4201 cut
    assert (np.abs(found - 50) < half).all()


@pytest.mark.parametrize(("smoothing", "width", "still", "half", "whole"), RUN_LENGTHS)
def test_published_run_lengths(smoothing, width, still, half, whole) -> None:
    assert average_run_length(smoothing, width) == pytest.approx(still, abs=0.5)
    assert average_run_length(smoothing, width, 0.5) == pytest.approx(half, abs=0.1)
    assert average_run_length(smoothing, width, 1.0) == pytest.approx(whole, abs=0.1)


def test_run_length_by_the_integral_equation() -> None:
    """A vendor's manual prints this value for weight .25, three errors and a shift of one."""
    assert average_run_length(0.25, 3.0, 1.0) == pytest.approx(11.154267016, abs=1e-8)
    assert average_run_length(1.0, 3.0) == pytest.approx(1 / (2 * stats.norm.sf(3)), rel=1e-9)


def test_errors_of_days_of_different_size_are_those_of_the_sum() -> None:
    n, sd, weight = np.array([3, 1, 2, 5]), 0.7, 0.2
    found = weighted_errors(n, sd, weight)
    for t in range(4):
        parts = [weight * (1 - weight) ** (t - s) * sd / math.sqrt(n[s]) for s in range(t + 1)]
        assert found[t] == pytest.approx(math.sqrt(sum(part**2 for part in parts)), rel=1e-12)


def test_limits_rest_on_the_variance_between_recordings_within_raters(moved, charts) -> None:
    values = recordings(moved, levels=LEVELS).rows
    fitted = sm.OLS(values["bias"], pd.get_dummies(values["rater"], dtype=float)).fit()
    spread = charts.spread.set_index("measure")
    assert spread.loc["bias", "sd"] == pytest.approx(math.sqrt(fitted.mse_resid), rel=ROUNDING)
    assert spread.loc["bias", "df"] == fitted.df_resid
    points = charts.points[(charts.points["rater"] == "r00") & (charts.points["measure"] == "bias")]
    half = 3 * math.sqrt(fitted.mse_resid / 2)
    assert (points["high"] - points["low"]).to_numpy() == pytest.approx(2 * half)
    assert points["value"].mean() == pytest.approx(values[values["rater"] == "r00"]["bias"].mean())


def test_the_rater_who_moves_signals(charts) -> None:
    runs = charts.runs[charts.runs["measure"] == "bias"].set_index("rater")
    assert runs.loc["r05", "n_smoothed_signals"] >= 2
    assert runs.loc["r05", "n_smoothed_signals"] == runs["n_smoothed_signals"].max()
    points = charts.points[(charts.points["rater"] == "r05") & (charts.points["measure"] == "bias")]
    assert (
        points.loc[points["smoothed_signal"] | points["signal"], "date"].min()
        == runs.loc["r05", "first_signal"]
    )
    assert (runs.drop("r05")["n_smoothed_signals"] > 0).mean() < 0.2  # few, and said how many


def test_the_slope_of_a_rater_is_least_squares_with_the_error_of_all(moved, charts) -> None:
    values = recordings(moved, levels=LEVELS).rows
    own = values[values["rater"] == "r05"]
    weeks = ((own["date"] - own["date"].min()).dt.days / 70).to_numpy()
    peer = sm.OLS(own["bias"].to_numpy(), sm.add_constant(weeks)).fit()
    run = charts.runs[(charts.runs["rater"] == "r05") & (charts.runs["measure"] == "bias")].iloc[0]
    spread = charts.spread.set_index("measure").loc["bias"]
    assert run["value"] == pytest.approx(peer.params[1], rel=ROUNDING)
    assert run["se"] == pytest.approx(peer.bse[1] * spread["sd"] / math.sqrt(peer.mse_resid), rel=ROUNDING)
    assert run["p"] < 1e-4
    others = charts.runs[(charts.runs["measure"] == "bias") & (charts.runs["rater"] != "r05")]
    assert 0.6 < (others["value"] / others["se"]).std() < 1.4


def test_the_planted_rater_of_the_invented_programme_moves(invented) -> None:
    runs = control_charts(invented.key_ratings).runs
    bias = runs[runs["measure"] == "bias"].set_index("rater")
    truth = invented.truth.certified.set_index("rater")
    mover = bias.loc[truth.index[truth["moves"]].item()]
    errors, edges = 1 - 0.60, 1 - 0.08 - 0.15  # share of errors; of key levels with a level on either side
    expected = -2 * errors * edges * 70 / (14 * 7)  # from all up to all down over eight sittings
    assert abs(mover["value"] - expected) < 3 * mover["se"]
    assert mover["high"] < 0
    others = bias[~truth["moves"].reindex(bias.index)]
    assert (others["value"].abs() < 3.5 * others["se"])[others["value"].notna()].all()


def test_false_signals_come_as_often_as_said() -> None:
    """Charts of raters who do not move: how many signal, beside the probabilities that were simulated."""
    seen, said = [], []
    for seed in range(2):
        runs = control_charts(exercise(seed, raters=40, criteria=4), levels=LEVELS, seed=seed).runs
        one = runs[runs["measure"] == "bias"]
        seen += list((one["n_signals"] > 0) | (one["n_smoothed_signals"] > 0))
        said.append(one["p_false_any"].mean())
        assert (one["p_false_any"] <= one["p_false"] + one["p_false_smoothed"] + ROUNDING).all()
    expected = float(np.mean(said))
    assert 0.001 < expected < 0.1
    error = math.sqrt(expected * (1 - expected) / len(seen))
    assert np.mean(seen) == pytest.approx(expected, abs=3 * error)


def test_the_same_seed_gives_the_same_answer(moved, charts) -> None:
    again = control_charts(moved, levels=LEVELS)
    pd.testing.assert_frame_equal(again.runs, charts.runs)
    pd.testing.assert_frame_equal(again.points, charts.points)


def test_shares_stay_in_their_range(charts) -> None:
    exact = charts.points[charts.points["measure"] == "exact"]
    assert (exact["high"] <= 1).all()
    assert (exact["low"] >= 0).all()
    assert exact["value"].between(0, 1).all()


def test_a_rater_with_few_days_has_points_and_no_limits(moved) -> None:
    first = moved[(moved["rater"] != "r02") | (moved["date"] < "2026-01-20")]
    found = control_charts(first, levels=LEVELS)
    runs = found.runs[found.runs["rater"] == "r02"]
    assert set(runs["status"]) == {"too_few_clusters"}
    assert runs["p_false"].isna().all()
    points = found.points[found.points["rater"] == "r02"]
    assert points["low"].isna().all()
    assert points["value"].notna().all()
    assert not points["signal"].any()


def test_recordings_of_one_day_are_one_point(moved) -> None:
    shuffled = control_charts(moved.sample(frac=1, random_state=1), levels=LEVELS)
    pd.testing.assert_frame_equal(shuffled.points, control_charts(moved, levels=LEVELS).points)
    assert (shuffled.points["n_recordings"] == 2).all()


def test_raters_who_never_differ_have_no_limits() -> None:
    table = exercise(1, raters=3)
    table["level"] = table["key_level"]
    found = control_charts(table, levels=LEVELS)
    assert set(found.spread["status"]) == {"no_spread"}
    assert found.spread["sd"].isna().all()
    assert set(found.runs["status"]) == {"no_spread"}


# Mean drift ----------------------------------------------------------------------------------------


def dummies(values, *columns):
    return pd.concat([pd.get_dummies(values[name], dtype=float) for name in columns], axis=1).to_numpy()


@pytest.mark.parametrize(
    ("term", "columns"),
    [("within raters", ("rater",)), ("within raters and recordings", ("rater", "recording"))],
)
def test_mean_drift_is_clustered_least_squares(term, columns) -> None:
    table = exercise(4, drift=-0.3)
    found = key_trend(table, levels=LEVELS).loc[term]
    values = recordings(table, levels=LEVELS).rows
    weeks = ((values["date"] - values["date"].min()).dt.days / 70).to_numpy()
    apart = dummies(values, *columns)
    # statsmodels wants full rank: partial the groups out first, which leaves the slope and its residuals
    left = [v - apart @ np.linalg.lstsq(apart, v, rcond=None)[0] for v in (weeks, values["bias"].to_numpy())]
    rater = pd.factorize(values["rater"])[0]
    peer = sm.OLS(left[1], left[0]).fit(
        cov_type="cluster", cov_kwds={"groups": rater, "use_correction": False}
    )
    whole = np.linalg.lstsq(np.column_stack([weeks, apart]), values["bias"].to_numpy(), rcond=None)[0][0]
    assert found["value"] == pytest.approx(peer.params[0], rel=ROUNDING)
    assert found["value"] == pytest.approx(whole, rel=1e-7)
    assert found["se"] == pytest.approx(peer.bse[0] * math.sqrt(24 / 23), rel=ROUNDING)
    assert found["high"] - found["value"] == pytest.approx(stats.t.ppf(0.975, 23) * found["se"], rel=ROUNDING)
    assert found["n_clusters"] == 24


def test_mean_drift_is_found_and_covered() -> None:
    covered, values = [], []
    for seed in range(40):
        table = exercise(100 + seed, raters=20, days=4, criteria=3, drift=0.0)
        one = key_trend(table, levels=LEVELS).loc["within raters"]
        covered.append(one["low"] <= 0 <= one["high"])
        values.append(one["value"])
    assert np.mean(values) == pytest.approx(0.0, abs=4 * np.std(values) / math.sqrt(40))
    assert np.mean(covered) >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / 40)
    moving = key_trend(exercise(6, drift=-0.6), levels=LEVELS)
    assert (moving["high"] < 0).all()


def test_recordings_in_one_order_for_all_cannot_be_told_from_drift() -> None:
    table = exercise(4)
    order = {f"v{n}": n for n in range(20)}
    table["date"] = pd.Timestamp("2026-01-05") + pd.to_timedelta(table["recording"].map(order), unit="D")
    found = key_trend(table, levels=LEVELS)
    assert found.loc["within raters", "status"] == "ok"
    assert found.loc["within raters and recordings", "status"] == "not_identified"
    assert "recordings" in found.loc["within raters and recordings", "status_note"]


def test_one_day_few_raters_and_groups() -> None:
    table = exercise(4)
    flat = key_trend(table.assign(date=pd.Timestamp("2026-01-05")), levels=LEVELS)
    assert set(flat["status"]) == {"not_identified"}
    assert flat["value"].isna().all()
    few = key_trend(table[table["rater"] < "r05"], levels=LEVELS)
    assert set(few["status"]) == {"too_few_clusters"}
    assert few["value"].notna().all()
    assert few["low"].isna().all()
    role = np.where(table["rater"] < "r12", "mentor", "supervisor")
    by_role = key_trend(table.assign(role=role), levels=LEVELS, by="role")
    alone = key_trend(table[role == "mentor"], levels=LEVELS)
    assert by_role.loc["mentor", "value"].to_numpy() == pytest.approx(alone["value"].to_numpy())
    assert set(by_role["status"]) == {"few_clusters"}
    hours = table.assign(date=table["date"] + pd.Timedelta(hours=9))
    pd.testing.assert_frame_equal(key_trend(hours, levels=LEVELS), key_trend(table, levels=LEVELS))


def test_nothing_scored_is_a_result() -> None:
    empty = exercise(1, raters=1).iloc[:0]
    charts, trend = control_charts(empty, levels=LEVELS), key_trend(empty, levels=LEVELS)
    assert charts.points.empty
    assert charts.runs.empty
    assert set(trend["status"]) == {"no_records"}


def test_ratings_without_a_level_are_counted() -> None:
    table = exercise(1, raters=10).astype({"level": "Int64"})
    table.loc[table.index[:3], "level"] = pd.NA
    assert set(control_charts(table, levels=LEVELS).spread["n_left_out"]) == {3}
    assert set(key_trend(table, levels=LEVELS)["n_left_out"]) == {3}


def test_columns_statuses_and_references(moved, charts) -> None:
    vocabulary = places.data_dictionary() / "vocabulary"
    columns = set(tomllib.loads((vocabulary / "result_columns.toml").read_text(encoding="utf-8")))
    statuses = set(tomllib.loads((vocabulary / "statuses.toml").read_text(encoding="utf-8")))
    for table in (charts.points, charts.runs, charts.spread, key_trend(moved, levels=LEVELS)):
        assert set(table.columns) <= columns
        assert set(table.get("status", [])) <= statuses
        assert set(table.get("reference", [])) <= set(SOURCES)


def test_bad_input_is_refused(moved) -> None:
    with pytest.raises(ColumnError, match="key_level"):
        control_charts(moved.drop(columns="key_level"), levels=LEVELS)
    with pytest.raises(ArgumentError, match="levels are not declared"):
        key_trend(moved)
    with pytest.raises(ArgumentError, match="no day"):
        control_charts(moved.assign(date=pd.NaT), levels=LEVELS)
    with pytest.raises(DuplicateRatingError, match="more than once"):
        control_charts(pd.concat([moved, moved.iloc[:1]]), levels=LEVELS)
    with pytest.raises(ArgumentError, match="smoothing"):
        control_charts(moved, levels=LEVELS, smoothing=0)
    with pytest.raises(ArgumentError, match="replicates"):
        control_charts(moved, levels=LEVELS, replicates=0)
    with pytest.raises(ArgumentError, match="confidence"):
        key_trend(moved, levels=LEVELS, confidence=95)
