"""The base fit and its one-step updates, against refits, differences and closed forms."""

import numpy as np
import pandas as pd
import pytest
from crossed import programme

from mentorstats.calibration import base_fit
from mentorstats.calibration.base.rows import MEASURE, WEEKS
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import has_value
from mentorstats.mixed import by, fit

ONE_STEP = 0.05  # of a standard error: a Newton step from the fit against the optimum with the column
DIFFERENCES = 1e-6  # numerical derivatives


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4))


def test_a_step_reaches_what_a_refit_finds(base) -> None:
    group = (base.rows["candidate"].str[1:].astype(int) % 5 == 0).to_numpy(float)
    estimates, covariance = base.one_step(group[:, None]).together()
    refit = fit(
        base.rows.assign(group=group),
        response="rank",
        kind="ordinal",
        levels=[1, 2, 3, 4],
        fixed=("cohort", WEEKS, "group"),
        grouped=(
            by("candidate", slope=WEEKS, correlated=False),
            by("rater"),
            by("observation"),
            by("rater", "observation"),
            by("rater", "criterion"),
        ),
        thresholds_by=MEASURE,
    )
    there = refit.coefficients.loc["group"]
    assert estimates[0] == pytest.approx(there["estimate"], abs=ONE_STEP * there["se"])
    assert np.sqrt(covariance[0, 0]) == pytest.approx(there["se"], rel=ONE_STEP)


def test_score_and_information_are_derivatives_of_the_log_probability(base) -> None:
    step = 1e-4
    level, measure = base.model.rows.response.astype(int), base.model.rows.threshold_group
    at = np.arange(len(level))

    def logs(shift):
        return np.log(base.shares_at(base.predictor + shift, measure)[at, level])

    second = (logs(step) - 2 * logs(0.0) + logs(-step)) / step**2
    assert base.information == pytest.approx(-second, abs=1e-5)


def test_expectations_add_up(base) -> None:
    assert base.shares.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
    assert base.expected == pytest.approx(base.shares @ [1, 2, 3, 4])
    assert base.expected.mean() == pytest.approx(base.ranks.mean(), abs=0.01)
    assert (base.variance > 0).all()


def test_columns_that_the_fit_holds_have_no_information_left(base) -> None:
    weeks = base.rows[WEEKS].to_numpy()[:, None]
    cohort = (base.rows["cohort"] == "first").to_numpy(float)[:, None]
    estimates, errors = base.one_step(np.concatenate([weeks, cohort], axis=1)).alone()
    assert np.isnan(estimates).all()
    assert np.isnan(errors).all()


def test_the_level_scale_is_the_expected_rank_of_a_middling_candidate(base) -> None:
    moved = base.on_level_scale(np.array([-1.0, 0.0, 1.0, np.nan]))
    assert moved[1] == pytest.approx(0.0, abs=1e-12)
    assert moved[0] < 0 < moved[2]
    assert np.isnan(moved[3])
    slope = (base.on_level_scale(np.array(1e-5)) - base.on_level_scale(np.array(-1e-5))) / 2e-5
    assert base.level_slope == pytest.approx(float(slope), abs=DIFFERENCES)


def test_each_rating_belongs_to_its_rater(base) -> None:
    own = base.by_rater()
    assert own.sum() == len(base.rows)
    names = base.raters["rater"].to_numpy()[base.rater_of_row]
    assert (names == base.rows["rater"].to_numpy()).all()
    effects = base.fit.effects("rater")
    assert base.joint.b[base.raters["column"]] == pytest.approx(effects["effect"].to_numpy())


def test_bad_input_is_refused(base) -> None:
    table = programme(4)
    with pytest.raises(ColumnError, match="week"):
        base_fit(table.drop(columns="week"))
    with pytest.raises(ArgumentError, match="more than once"):
        base_fit(pd.concat([table, table.iloc[:1]], ignore_index=True))
    with pytest.raises(ArgumentError, match="rows of columns"):
        base.one_step(np.ones((3, 1)))


def test_ratings_that_were_not_independent_or_have_no_level_are_left_out() -> None:
    table = programme(4).assign(independent=True)
    table.loc[:9, "independent"] = False
    table.loc[10:19, "rank"] = pd.NA
    assert len(base_fit(table).rows) == len(table) - 20


def test_lessons_without_a_week_stand_at_the_mean_and_a_note_says_so() -> None:
    table = programme(4, lessons=2)
    some = base_fit(table.assign(week=table["week"].astype("Int64").where(table.index % 7 > 0)))
    assert (some.rows.loc[some.rows["week"].isna(), WEEKS] == 0).all()
    assert any("stand at the mean week" in note for note in some.notes)
    none = base_fit(table.assign(week=pd.NA))
    assert has_value(none.status)
    assert WEEKS not in none.model.names


def test_what_cannot_be_fitted_has_a_status() -> None:
    table = programme(4, lessons=1)
    assert base_fit(table.iloc[:0]).status == "no_records"
    assert base_fit(table.assign(rank=2)).status == "one_level_used"
    alone = base_fit(table.query("rater == 'r01'"))
    assert has_value(alone.fit.status)
    assert not has_value(alone.status)
    assert alone.status_note


def test_a_declared_level_that_nobody_gave_counts_as_a_level() -> None:
    table = programme(4, lessons=1)
    names = pd.CategoricalDtype(["support", "part", "reliable", "adapts", "beyond"], ordered=True)
    level = pd.Categorical.from_codes(table["rank"].to_numpy(int) - 1, dtype=names)
    shares = base_fit(table.assign(level=level)).shares
    assert shares.shape[1] == 5
    assert (shares[:, 4] == 0).all()


def test_columns_that_add_up_to_one_the_fit_holds_share_the_least_solution(base) -> None:
    step = base.one_step(base.by_rater(base.rows[WEEKS].to_numpy()))
    estimates, covariance = step.together()
    assert np.linalg.matrix_rank(covariance, tol=1e-6) == len(estimates) - 1
    assert step.information @ estimates == pytest.approx(step.score - step.score.mean(), abs=1e-4)
