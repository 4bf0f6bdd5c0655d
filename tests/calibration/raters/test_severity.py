"""Severity against closed forms, refits and the fit's own tables; statuses; planted severities."""

import tomllib

import numpy as np
import pandas as pd
import pytest
from crossed import programme
from scipy.linalg import block_diag
from truth import Situation, draw

from mentorstats import places
from mentorstats.calibration import base_fit, linkage
from mentorstats.calibration.base.base import fit_again
from mentorstats.calibration.base.rows import WEEKS
from mentorstats.calibration.raters.rater_effects import RaterEffects, rater_effects
from mentorstats.calibration.raters.separation import COLUMNS as OF_ROLES
from mentorstats.calibration.raters.separation import separation
from mentorstats.calibration.raters.severity import COLUMNS, severity
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status
from mentorstats.mixed import by, likelihood_ratio
from mentorstats.mixed.profile.limits import variance_limits

EXACT = 1e-9  # linear algebra
ONE_STEP = 0.05  # of a standard error: a normal likelihood near the fit against a fit of its own
NEAR = 0.05  # share: errors and limits of the two ways
PLANTED = 3.0  # standard errors


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4))


@pytest.fixture(scope="module")
def little():
    """Thirty supervisors who hardly differ, and the fit's likelihood ratio against none."""
    long, _ = draw(Situation("little", rater=0.25), np.random.default_rng(8))
    return base_fit(long)


# The normal likelihood -----------------------------------------------------------------------------


def crossed(seed=1, raters=6, candidates=15):
    """Linear mixed model with known variances: y, fixed columns, raters' columns, error without raters."""
    rng = np.random.default_rng(seed)
    candidate = np.repeat(np.arange(candidates), 4)
    rater = rng.integers(0, raters, len(candidate))
    week = rng.uniform(0, 1, len(candidate))
    fixed = np.column_stack([np.ones(len(week)), week])
    own = (rater[:, None] == np.arange(raters)).astype(float)
    of_candidate = (candidate[:, None] == np.arange(candidates)).astype(float)
    rest = 0.8 * of_candidate @ of_candidate.T + np.eye(len(week))
    y = own @ rng.normal(0, 0.7, raters) + of_candidate @ rng.normal(0, 0.9, candidates) + rng.normal(size=60)
    return y, fixed, own, rest


def least_squares(y, x, covariance):
    """Generalised least squares: estimates and their covariance."""
    weight = np.linalg.inv(covariance)
    found = np.linalg.inv(x.T @ weight @ x)
    return found @ x.T @ weight @ y, found


def of_linear(sd):
    """Raters' effects of the linear model from Henderson's equations [henderson_1975]."""
    y, fixed, own, rest = crossed()
    weight, x = np.linalg.inv(rest), np.column_stack([fixed, own])
    penalty = block_diag(np.zeros((2, 2)), np.eye(own.shape[1]) / sd**2)
    covariance = np.linalg.inv(x.T @ weight @ x + penalty)
    effect, error = (covariance @ x.T @ weight @ y)[2:], covariance[2:, 2:]
    precision = np.linalg.inv(error)
    information = precision - np.eye(len(effect)) / sd**2
    return RaterEffects(np.arange(6), information, precision @ effect, sd, 0.2, 1.0), effect, error


def test_a_contrast_is_the_rater_as_a_fixed_term_with_the_others_random() -> None:
    raters, effect, error = of_linear(0.7)
    y, fixed, own, rest = crossed()
    contrast, se = raters.contrast()
    rho = 1 - np.diagonal(error) / 0.7**2
    assert contrast == pytest.approx(effect / rho, abs=EXACT)
    assert se**2 == pytest.approx(np.diagonal(error) / rho, abs=EXACT)
    for i in range(6):
        others = np.delete(own, i, axis=1)
        alone = least_squares(y, np.column_stack([fixed, own[:, i]]), rest + 0.49 * others @ others.T)
        assert contrast[i] == pytest.approx(alone[0][-1], abs=EXACT)
        assert se[i] ** 2 == pytest.approx(alone[1][-1, -1], abs=EXACT)


def test_raters_together_are_fixed_terms_that_add_up_to_zero() -> None:
    y, fixed, own, rest = crossed()
    estimate, covariance = least_squares(y, np.column_stack([own, fixed[:, 1]]), rest)
    centre = np.eye(6) - 1 / 6
    found, se = of_linear(0.7)[0].together()
    assert found == pytest.approx(centre @ estimate[:6], abs=1e-7)
    assert se**2 == pytest.approx(np.diagonal(centre @ covariance[:6, :6] @ centre), abs=1e-7)


def test_effects_at_another_variance_are_those_of_a_model_with_it() -> None:
    raters = of_linear(0.7)[0]
    _, effect, error = of_linear(1.3)
    assert raters.at(1.3)[0] == pytest.approx(effect, abs=1e-7)
    assert raters.at(1.3)[1] == pytest.approx(np.diagonal(error), abs=1e-7)


def test_the_deviance_is_that_of_the_restricted_likelihood() -> None:
    y, fixed, own, rest = crossed()

    def restricted(sd):
        v = rest + sd**2 * own @ own.T
        beta, covariance = least_squares(y, fixed, v)
        left = y - fixed @ beta
        logs = np.linalg.slogdet(v)[1] - np.linalg.slogdet(covariance)[1]
        return logs + left @ np.linalg.solve(v, left)

    raters = of_linear(0.7)[0]
    for sd in (0.2, 0.7, 2.0):
        assert raters.deviance(sd) == pytest.approx(restricted(sd) - restricted(0.0), abs=1e-6)


def test_the_contrast_has_a_limit_where_raters_do_not_differ() -> None:
    raters = of_linear(0.7)[0]
    none = RaterEffects(raters.rows, raters.information, raters.score, 0.0, np.nan, 1.0)
    nearly = RaterEffects(raters.rows, raters.information, raters.score, 1e-3, 0.2, 1.0)
    hardly = RaterEffects(raters.rows, raters.information, raters.score, 1e-6, 0.2, 1.0)
    for one, two, three in zip(none.contrast(), hardly.contrast(), nearly.contrast(), strict=True):
        assert one == pytest.approx(three, rel=1e-4, abs=1e-6)
        assert two == pytest.approx(three, rel=1e-4, abs=1e-6)
    assert (none.shrunken[0] == 0).all()


# The base fit --------------------------------------------------------------------------------------


def test_a_contrast_is_what_a_refit_with_the_rater_fixed_finds(base) -> None:
    table = severity(base).set_index("rater")
    for name in ("r00", "r10"):
        refit = fit_again(base, {"own": (base.rows["rater"] == name).astype(float)}, more=["own"])
        there, row = refit.coefficients.loc["own"], table.loc[name]
        own = refit.model.fitted.covariances()[1][0, 0]  # the rater's random effect is still in the refit
        error = np.sqrt(there["se"] ** 2 - own)
        assert row["contrast"] == pytest.approx(there["estimate"], abs=2 * ONE_STEP * error)
        assert row["contrast_se"] == pytest.approx(error, rel=2 * NEAR)


def test_shrunken_effects_are_the_fits_and_their_errors_allow_for_the_unknown_variance(base) -> None:
    table, there = severity(base).set_index("rater"), base.fit.effects("rater")
    assert table["effect"].to_numpy() == pytest.approx(there["effect"].to_numpy(), abs=1e-9)
    held = np.sqrt(rater_effects(base)[0].shrunken[1])
    assert (table["se"].to_numpy() > held).all()
    assert table["se"].to_numpy() == pytest.approx(there["se"].to_numpy(), rel=2 * NEAR)


def test_limits_of_the_spread_are_those_of_the_full_profile(base) -> None:
    low, high = rater_effects(base)[0].sd_limits(0.95)
    t = base.rater_grouping
    assert [low, high] == pytest.approx(np.sqrt(variance_limits(base.model, 0.95, t, 0)), rel=NEAR)


def test_the_likelihood_ratio_is_that_of_a_fit_without_raters(little) -> None:
    rest = [by("candidate", slope=WEEKS, correlated=False), by("observation"), by("rater", "criterion")]
    without = fit_again(little, {}, grouped=rest)
    test = likelihood_ratio(without, little.fit)
    row = separation(little, severity(little)).iloc[0]
    assert row["p_method"] == "likelihood_ratio"
    assert row["statistic"] == pytest.approx(test.statistic, abs=1e-3)
    assert row["p"] == pytest.approx(test.p, rel=1e-2)
    near = separation(little, severity(little), refit=False).iloc[0]
    assert near["p_method"] == "likelihood_ratio_near_the_fit"
    assert np.sqrt(near["statistic"]) == pytest.approx(np.sqrt(test.statistic), abs=0.5)


def test_separation_is_spread_over_unshrunken_errors(base) -> None:
    table = severity(base)
    row = separation(base, table).iloc[0]
    g = row["sd"] / np.sqrt((table["contrast_se"] ** 2).mean())
    assert row["spread_to_error"] == pytest.approx(g)
    assert row["distinguishable_groups"] == pytest.approx((4 * g + 1) / 3)  # [wright_masters_1982]
    assert row["reliability"] == pytest.approx(g**2 / (1 + g**2))
    for end in ("_low", "_high"):
        limit = row["spread_to_error" + end]
        assert row["distinguishable_groups" + end] == pytest.approx((4 * limit + 1) / 3)
        assert row["reliability" + end] == pytest.approx(limit**2 / (1 + limit**2))
    assert row["reliability"] == pytest.approx(table["rater_reliability"].mean(), abs=0.005)
    assert row["sd_low"] < row["sd"] < row["sd_high"]


def test_shifts_on_the_level_scale_are_those_of_a_middling_candidate(base) -> None:
    table = severity(base)
    for name in ("effect", "contrast"):
        at = base.on_level_scale(table[name].to_numpy())
        assert table[f"{name}_level"].to_numpy() == pytest.approx(at)
        inside = table[f"{name}_level"].between(table[f"{name}_level_low"], table[f"{name}_level_high"])
        assert inside.all()


# Statuses ------------------------------------------------------------------------------------------


def test_no_variance_between_raters_leaves_contrasts_and_no_shrunken_interval() -> None:
    long, _ = draw(Situation("raters alike", rater=0.0), np.random.default_rng(0))
    base = base_fit(long)
    table = severity(base)
    assert set(table["status"]) == {Status.BOUNDARY.value}
    assert (table["effect"] == 0).all()
    assert table[["se", "low", "high"]].isna().all(axis=None)
    step = base.one_step(base.by_rater()).alone()
    assert table["contrast"].to_numpy() == pytest.approx(step[0])
    assert table["contrast_se"].to_numpy() == pytest.approx(step[1])
    row = separation(base, table).iloc[0]
    assert (row["sd"], row["sd_low"], row["p"]) == (0.0, 0.0, 1.0)
    assert row["sd_high"] > 0
    assert row["status"] == Status.BOUNDARY.value


def test_raters_who_share_no_candidate_are_told_apart_by_assumption() -> None:
    long, _ = draw(Situation("own only", own_visits=3), np.random.default_rng(3))
    lone = long["candidate"].isin(["c000", "c001", "c002"])
    table = severity(base_fit(long[~lone])).set_index("rater")
    assert set(table["status"]) == {Status.BY_ASSUMPTION.value}
    assert "one candidate" in table.loc["s00", "status_note"]
    assert "at random" in table.loc["s01", "status_note"]
    assert table["contrast"].notna().all()


def test_networks_given_decide_who_has_a_value(base) -> None:
    codes = base.raters["rater"]
    given = pd.DataFrame({"rater": codes, "network": 1, "status": "ok", "status_note": "linked"})
    given.loc[3, ["network", "status", "status_note"]] = [2, "not_identified", "alone at a site"]
    given = given.iloc[1:]
    table = severity(base, networks=given)
    assert table["status"].tolist()[:4] == ["not_identified", "ok", "ok", "not_identified"]
    assert table["status_note"].tolist()[:4] == [
        "No network was given for this rater.",
        "linked",
        "linked",
        "alone at a site",
    ]
    numbers = ["effect", "se", "contrast", "p", "contrast_level_low"]
    assert table.loc[[0, 3], numbers].isna().all(axis=None)
    assert table.loc[[1, 2], numbers].notna().all(axis=None)
    rows = separation(base, table)
    assert rows["network"].isna().tolist() == [True, False, False]
    assert rows["status"].tolist() == ["ok", "ok", "one_rater"]
    assert np.isnan(rows["spread_to_error"].iloc[2])
    with pytest.raises(ColumnError, match="network"):
        severity(base, networks=given.drop(columns="network"))
    with pytest.raises(ArgumentError, match="more than once"):
        severity(base, networks=pd.concat([given, given.iloc[:1]]))


def test_linkage_serves_as_networks(base) -> None:
    long = programme(4).assign(level=lambda frame: frame["rank"])
    table = severity(base, networks=linkage(long).raters)
    assert set(table["network"]) == {1}
    assert set(table["status"]) == {"ok"}


def test_a_role_of_one_rater_has_no_contrast_and_few_share_a_variance() -> None:
    long = programme(4)
    long.loc[long["rater"] == "r03", "rater_role"] = "mentor"
    base = base_fit(long)
    table = severity(base)
    assert table["rater_role"].tolist() == ["mentor", *["supervisor"] * 11]
    assert table.loc[0, "status"] == Status.ONE_RATER.value
    assert np.isnan(table.loc[0, "contrast"])
    rows = separation(base, table)
    assert rows["status"].tolist() == ["one_rater", "ok"]
    assert "one standard deviation" in rows.loc[1, "status_note"]
    assert rows.loc[1, "role_mean_low"] < rows.loc[1, "role_mean"] < rows.loc[1, "role_mean_high"]


def test_roles_of_different_cohorts_are_told_to_be_confounded() -> None:
    long = programme(4)
    long["rater_role"] = long["cohort"].map({"first": "mentor", "second": "supervisor"})
    base = base_fit(long)
    rows = separation(base, severity(base))
    assert rows["status_note"].str.contains("cohort: second is a combination").all()


def test_a_fit_without_values_gives_rows_with_its_status() -> None:
    long = programme(4).assign(rank=2)
    base = base_fit(long)
    table = severity(base)
    assert len(table) == 12
    assert set(table["status"]) == {base.status.value}
    assert table["effect"].isna().all()
    rows = separation(base, table)
    assert rows["status"].tolist() == [base.status.value]
    assert rows["sd"].isna().all()


def test_raters_whom_the_model_cannot_hold_get_its_reason() -> None:
    long = programme(4)
    own = long.assign(rater="m" + long["candidate"].str[1:])
    for rows in (
        long[long["rater"] == "r03"],
        own.drop_duplicates(["observation", "rater", "criterion"]),
    ):
        base = base_fit(rows)
        table = severity(base)
        assert len(table) == rows["rater"].nunique()
        assert set(table["status"]) == {Status.NOT_IDENTIFIED.value}
        assert table["status_note"].str.contains("rater").all()
        assert separation(base, table)["status"].tolist() == [Status.NOT_IDENTIFIED.value]
    assert severity(base_fit(long.iloc[:0])).empty


def test_columns_are_those_of_the_vocabulary(base) -> None:
    path = places.data_dictionary() / "vocabulary" / "result_columns.toml"
    listed = tomllib.loads(path.read_text(encoding="utf-8"))
    table = severity(base)
    assert list(table.columns) == COLUMNS
    assert list(separation(base, table).columns) == OF_ROLES
    assert set(COLUMNS) | set(OF_ROLES) <= set(listed)


# The invented programme ----------------------------------------------------------------------------


def test_planted_severities_come_back(invented, invented_records, invented_base) -> None:
    truth, networks = invented.truth, linkage(invented_records.long()).raters
    table = severity(invented_base, networks=networks).set_index("rater")
    planted = truth.planted[truth.planted["effect"].isin(["severe", "lenient"])]
    assert len(planted) == 3
    rows = table.loc[planted["rater"]]
    off = (rows["contrast"].to_numpy() - planted["logits"].to_numpy()) / rows["contrast_se"].to_numpy()
    assert (np.abs(off) < PLANTED).all()
    assert (rows["p"] < 0.001).all()
