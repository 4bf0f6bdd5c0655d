"""Central tendency and range restriction: derivatives, truth, and that the two are told apart."""

import numpy as np
import pandas as pd
import pytest
from crossed import programme as plain_programme
from spread_simulation import outside, programme

from mentorstats.calibration import base_fit, central_tendency, range_restriction, redraws
from mentorstats.calibration.base.base import fit_again
from mentorstats.calibration.raters.between import between_sd, information_inverse, shrunken
from mentorstats.calibration.raters.spread import expected_squares, middle_levels, squares
from mentorstats.errors import ArgumentError
from mentorstats.mixed.local.score_test import dispersions, step, stretches

ONE_STEP = 0.2  # of a standard error: a Newton step from the fit against the optimum
HELD = 0.12  # of it: a step holds the variances, a refit does not, so its error is larger
DIFFERENCES = 1e-6  # numerical derivatives
WITHIN = 3.0  # standard errors in which a planted value has to be found


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4, candidates=40))


def test_moves_are_derivatives_of_the_distances(base) -> None:
    problem = base.model.levels.problem
    _, tau, _, _ = problem.split(base.model.levels.state.psi)
    groups = problem.cut.groups
    middle = (np.bincount(groups, tau) / np.bincount(groups))[groups]

    def upper(delta, zeta):
        moved = middle + (tau - middle) / (1 - delta)
        return problem.edges(moved, base.predictor, np.full(len(base.rows), np.exp(zeta)))[0]

    h = 1e-5
    inside = problem.up >= 0
    by_delta = (upper(h, 0.0) - upper(-h, 0.0)) / (2 * h)
    by_zeta = (upper(0.0, h) - upper(0.0, -h)) / (2 * h)
    everybody = np.ones((len(base.rows), 1))
    stretched, scattered = (
        move(base.at, everybody).upper.toarray().ravel() for move in (stretches, dispersions)
    )
    assert stretched[inside] == pytest.approx(by_delta[inside], abs=DIFFERENCES)
    assert scattered[inside] == pytest.approx(by_zeta[inside], abs=DIFFERENCES)
    assert (stretched[~inside] == 0).all()


def test_scores_of_all_raters_together_vanish_where_the_fit_is_at_its_optimum(base) -> None:
    """Stretching everybody's cut-points is moving the cut-points, which the fit has already done."""
    whole = step(base.at, stretches(base.at, np.ones((len(base.rows), 1))))
    assert whole.information[0, 0] == 0.0
    scores = step(base.at, stretches(base.at, base.by_rater())).score
    assert abs(scores.sum()) < 1e-3 * np.abs(scores).max()


def test_a_step_in_dispersion_reaches_what_a_refit_finds(base) -> None:
    group = (base.rows["candidate"].str[1:].astype(int) % 3 == 0).to_numpy(np.int64)
    found = step(base.at, dispersions(base.at, np.eye(2)[group]))
    difference = np.array([-1.0, 1.0])
    covariance, _ = information_inverse(found)
    estimate, se = difference @ covariance @ found.score, np.sqrt(difference @ covariance @ difference)
    refit = fit_again(base, {"other": group}, scale=["other"])
    there = refit.coefficients
    row = there[there.index.str.contains("other")].iloc[0]
    assert estimate == pytest.approx(row["estimate"], abs=ONE_STEP * row["se"])
    assert se == pytest.approx(row["se"], rel=HELD)


def test_shrinkage_is_the_textbook_one_for_equal_errors() -> None:
    rng = np.random.default_rng(2)
    delta, error = rng.normal(0, 1.0, 200) + rng.normal(0, 0.5, 200), 0.25
    errors = error * np.eye(200)
    sd = between_sd(delta, errors)
    assert sd**2 == pytest.approx(delta.var(ddof=1) - error, abs=1e-6)
    effect, se = shrunken(delta, errors, sd)
    share = sd**2 / (sd**2 + error)
    assert effect == pytest.approx(share * (delta - delta.mean()), abs=0.02)
    assert se == pytest.approx(np.sqrt(share * error), rel=0.05)
    assert between_sd(np.full(5, 0.1), np.eye(5)) == 0.0


def test_middle_levels() -> None:
    assert [middle_levels(n).tolist() for n in (2, 3, 4, 5)] == [[1, 2], [2], [2, 3], [3]]


def test_expected_squares_are_the_mean_over_draws() -> None:
    rng = np.random.default_rng(1)
    shares = rng.dirichlet(np.ones(4), 12)
    ranks = 1.0 + (rng.random((12, 200_000))[:, :, None] > shares.cumsum(axis=1)[:, None, :-1]).sum(axis=2)
    expected, variance = shares @ [1, 2, 3, 4], shares @ [1, 4, 9, 16] - (shares @ [1, 2, 3, 4]) ** 2
    sums = np.ones((1, 12))
    n = np.array([12.0])
    assert squares(sums, n, ranks).mean() == pytest.approx(
        expected_squares(sums, n, expected[:, None], variance[:, None])[0, 0], rel=0.005
    )
    assert squares(sums, n, ranks[:, :1])[0, 0] == pytest.approx(ranks[:, 0].var() * 12)


def test_the_planted_rater_is_found(invented, invented_base, invented_draws) -> None:
    planted = invented.truth.planted.set_index("effect").loc["central_tendency"]
    found = central_tendency(invented_base, invented_draws).set_index("rater").loc[planted["rater"]]
    assert abs(found["contrast"] - (1 - 1 / planted["size"])) < WITHIN * found["contrast_se"]
    assert found["factor"] == pytest.approx(1 / (1 - found["contrast"]))
    assert found["p"] < 1e-6
    assert found["dispersion"] < -WITHIN * found["dispersion_se"]
    assert found["share_middle"] > found["share_middle_expected_high"]
    assert 0 < found["effect"] < found["contrast"]


def test_central_tendency_and_range_restriction_are_two_things() -> None:
    """Raters who draw everything to the middle, to the low end, to the high end, and a plainly severe one."""
    drawn_to = {0: (0.0, 0.5), 1: (-3.0, 0.45), 2: (3.5, 0.45)}
    severe = {0: 0.0, 1: -0.5, 2: 0.5, 3: -2.5}
    base = base_fit(programme(1, candidates=90, toward=drawn_to, shift=severe))
    drawn = redraws(base, draws=100, seed=1)
    central, restricted = central_tendency(base, drawn), range_restriction(base, drawn)
    assert central["p"][0] < 1e-4
    assert central["contrast"][0] > 0.2
    assert (central["p"][1:3] > 0.5).all()
    assert (restricted["p"][:3] < 1e-3).all()
    assert (restricted["contrast"][:3] < -0.1).all()
    assert restricted["p"][3] > 0.001
    assert restricted["sd_expected"][3] < restricted["sd_average_rater"][3]


def test_one_step_finds_the_share_and_not_the_log_of_the_factor() -> None:
    found = []
    for seed in range(3):
        base = base_fit(programme(seed, candidates=90, toward={0: (0.0, 0.625)}, shift={0: 0.0}))
        found.append(central_tendency(base, redraws(base, draws=50)).iloc[0])
    rows = pd.DataFrame(found)
    se = np.sqrt((rows["contrast_se"] ** 2).sum()) / 3
    assert abs(rows["contrast"].mean() - 0.375) < 2 * se
    assert np.log(1.6) - rows["contrast"].mean() > se


def test_draws_are_the_same_again_and_scatter_as_the_ratings_do(base) -> None:
    one, two = redraws(base, draws=60, seed=5), redraws(base, draws=60, seed=5)
    assert (one.ranks == two.ranks).all()
    assert (one.predictor == two.predictor).all()
    assert (redraws(base, draws=60, seed=6).ranks != one.ranks).any()
    assert one.ranks.mean() == pytest.approx(base.ranks.mean(), abs=0.05)
    assert one.predictor.std(axis=0).mean() == pytest.approx(base.predictor.std(), rel=0.05)
    with pytest.raises(ArgumentError, match="draws"):
        redraws(base, draws=3)


def test_shares_of_the_draws_are_those_of_the_fit(base) -> None:
    from mentorstats.calibration.base.simulated import cutpoint_rows, moments, shares

    found = shares(base, base.predictor, cutpoint_rows(base))
    assert pytest.approx(base.shares, abs=1e-12) == found.T
    expected, variance = moments(found)
    assert expected == pytest.approx(base.expected)
    assert variance == pytest.approx(base.variance)


def test_raters_without_anything_to_compare_get_a_status() -> None:
    table = plain_programme(4)
    lonely = table["rater"] == "r00"
    table.loc[lonely, "rater_role"] = "trainer"
    base = base_fit(table)
    central = central_tendency(base, redraws(base, draws=50)).set_index("rater")
    assert central.loc["r00", "status"] == "not_identified"
    assert np.isnan(central.loc["r00", "contrast"])
    assert (central.drop(index="r00")["status"] == "ok").all()
    assert list(central["rater_role"]) == sorted(central["rater_role"])


def test_raters_of_versions_without_a_rater_in_common_are_compared_apart() -> None:
    table = plain_programme(4, candidates=36)
    rater = table["rater"].str[1:].astype(int)
    table["rubric_version"] = np.where(rater < 6, "1", "2")
    apart = table[table["candidate"].isin(table.loc[rater < 6, "candidate"]) & (rater < 6) | (rater >= 6)]
    base = base_fit(apart.reset_index(drop=True))
    found = central_tendency(base, redraws(base, draws=50))
    assert (found["status"] == "ok").all()
    for version in (found["rater"] < "r06", found["rater"] >= "r06"):
        assert found.loc[version, "effect"].sum() == pytest.approx(0.0, abs=1e-6)


def test_two_levels_have_no_middle() -> None:
    table = plain_programme(4)
    table["rank"] = (table["rank"] > 2).astype("Int8") + 1
    base = base_fit(table)
    found = central_tendency(base, redraws(base, draws=50))
    assert set(found["status"]) == {"not_identified"}
    assert found["share_middle"].isna().all()


def test_a_fit_without_value_is_a_table_with_its_status() -> None:
    table = plain_programme(4)
    table["rank"] = 2
    base = base_fit(table)
    for found in (central_tendency(base), range_restriction(base)):
        assert len(found) == 12
        assert found["contrast"].isna().all()
        assert set(found["status"]) == {base.status.value}


def test_limits_hold_blameless_raters(base) -> None:
    drawn = redraws(base, draws=100)
    restricted = range_restriction(base, drawn)
    assert outside(restricted, "sd", "sd_expected").sum() <= 3
