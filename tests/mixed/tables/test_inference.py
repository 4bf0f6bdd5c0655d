"""Means, errors, limits and tests of a fit against emmeans and against brute force.

Script, data and raw output of emmeans: tests/reference/mixed_means.
"""

import numpy as np
import pandas as pd
import pytest
from engine import REFERENCE
from scipy.linalg import block_diag
from scipy.optimize import minimize
from scipy.special import expit, ndtri
from scipy.stats import chi2

from mentorstats.errors import ModelError
from mentorstats.estimate import Status
from mentorstats.mixed.design.terms import by, product, spline
from mentorstats.mixed.fitting import fit
from mentorstats.mixed.result import likelihood_ratio
from mentorstats.mixed.tables.levels_scale import _share_below

RUN = REFERENCE / "mixed_means"
VALUE = 2e-5  # linear fits: both optimisers stop near the optimum
ERROR = 5e-5  # relative
DF = 1e-4  # relative
ORDINAL = 2e-4  # ordinal's clm and clmm stop at a looser gradient
ORDINAL_ERROR = 1e-3  # relative; clmm differentiates numerically
EXACT = 1e-9
DIFFERENCES = 1e-4  # relative, of errors by one-sided differences
DROP = 1e-2  # in minus twice the log-likelihood, of 3.84
DEVIANCE = float(chi2.ppf(0.95, 1))


def stored(name, numbers=()):
    frame = pd.read_csv(RUN / "data" / f"{name}.csv", dtype="str")
    return frame.assign(**{column: pd.to_numeric(frame[column]) for column in numbers})


def linear_case(case, degrees):
    if case == "cake":
        return fit(
            stored("cake", ["angle"]),
            response="angle",
            fixed=product("recipe", "temperature"),
            grouped=by("recipe", "replicate"),
            degrees=degrees,
        )
    return fit(
        stored("crossed", ["score", "week", "weight"]),
        response="score",
        fixed=[product("cohort", "criterion"), "week"],
        grouped=["candidate", "rater"],
        degrees=degrees,
        weights="weight" if case == "crossed_weighted" else None,
    )


ORDINAL_CASES = {
    "wine": ("wine", "rating", 5, {"fixed": product("temp", "contact")}),
    "wine_mixed": ("wine", "rating", 5, {"fixed": ["temp", "contact"], "grouped": "judge"}),
    "soup": ("soup", "SURENESS", 6, {"fixed": [product("PROD", "DAY"), "SOUPTYPE"], "link": "probit"}),
    "soup_mixed": (
        "soup",
        "SURENESS",
        6,
        {"fixed": ["PROD", "SOUPTYPE"], "grouped": "RESP", "link": "probit"},
    ),
    "soup_nominal": ("soup", "SURENESS", 6, {"fixed": ["PROD"], "thresholds_by": "DAY"}),
}
SCALES = {"latent": "latent", "prob": "probability", "mean.class": "level"}


def ordinal_case(case):
    name, response, count, rest = ORDINAL_CASES[case]
    levels = [str(i + 1) for i in range(count)]
    return fit(stored(name), response=response, levels=levels, kind="ordinal", **rest)


def linear_table(case, table):
    what, degrees = table.rsplit(", ", 1)
    found = linear_case(case, degrees.replace("-", "_"))
    main, other = ("recipe", "temperature") if case == "cake" else ("cohort", "criterion")
    if what == "both":
        return found.means([main, other])
    if what == "week":
        return found.means("week", at={"week": [1, 10]}, over="observed")
    if what.endswith("pairs"):
        return found.contrasts(main)
    if "within" in what:
        return found.contrasts(main, within=other)
    return found.means(main, over="observed" if "observed" in what else "equal")


def ordinal_table(case, table):
    found, parts = ordinal_case(case), table.split(", ")
    mode = next(part for part in parts if part in SCALES)
    over = "observed" if "proportional" in parts else "equal"
    if "pairs" in parts:
        return found.contrasts(parts[0], scale=SCALES[mode], over=over)
    if "within" in parts:
        return found.contrasts(parts[0], within=parts[2], scale=SCALES[mode], over=over)
    return found.means(parts[: parts.index(mode)], scale=SCALES[mode], over=over)


def expected():
    frame = pd.read_csv(RUN / "values.csv", dtype={"cell": "str"})
    return {key: part.set_index("cell") for key, part in frame.groupby(["case", "table"], sort=False)}


EMMEANS = expected()
LINEAR_TABLES = [key for key in EMMEANS if key[0] in ("cake", "crossed", "crossed_weighted")]
ORDINAL_TABLES = [
    key for key in EMMEANS if key not in LINEAR_TABLES and key[1] not in ("shifts", "equal shifts")
]


def matched(found, reference):
    """Our rows in the order of the reference; a contrast the other way round changes its sign."""
    names = ["|".join(map(str, key)) if isinstance(key, tuple) else str(key) for key in found.index]
    found = found.set_axis([name.replace(" − ", " - ") for name in names])
    value, error, df = [], [], []
    for cell in reference.index.str.replace(r"[()]", "", regex=True):
        group, _, pair = cell.rpartition("|")
        turned = "|".join(filter(None, [group, " - ".join(reversed(pair.split(" - ")))]))
        row = found.loc[cell if cell in found.index else turned]
        value.append(row["value"] if cell in found.index else -row["value"])
        error.append(row["se"])
        df.append(row["df"])
    return np.array(value), np.array(error), np.array(df)


@pytest.mark.parametrize("key", LINEAR_TABLES, ids=str)
def test_linear_means_and_contrasts_are_those_of_emmeans(key):
    value, error, df = matched(linear_table(*key), EMMEANS[key])
    assert value == pytest.approx(EMMEANS[key]["value"].to_numpy(), abs=VALUE)
    assert error == pytest.approx(EMMEANS[key]["se"].to_numpy(), rel=ERROR)
    assert df == pytest.approx(EMMEANS[key]["df"].to_numpy(), rel=DF)


@pytest.mark.parametrize("key", ORDINAL_TABLES, ids=str)
def test_ordinal_means_and_contrasts_are_those_of_emmeans(key):
    value, error, _ = matched(ordinal_table(*key), EMMEANS[key])
    assert value == pytest.approx(EMMEANS[key]["value"].to_numpy(), abs=ORDINAL)
    assert error == pytest.approx(EMMEANS[key]["se"].to_numpy(), rel=ORDINAL_ERROR)


def test_shifts_of_cut_points_and_their_tests_are_those_of_clm():
    name, response, count, _ = ORDINAL_CASES["soup_nominal"]
    found = fit(
        stored(name),
        response=response,
        levels=[str(i + 1) for i in range(count)],
        kind="ordinal",
        fixed=["PROD", "DAY"],
    )
    table, comparison = found.proportional_odds("DAY")
    shifts, equal = EMMEANS["soup_nominal", "shifts"], EMMEANS["soup_nominal", "equal shifts"]
    assert table["value"].to_numpy() == pytest.approx(shifts["value"].to_numpy(), abs=ORDINAL)
    assert table["se"].to_numpy() == pytest.approx(shifts["se"].to_numpy(), rel=ORDINAL_ERROR)
    assert table["p"].iloc[0] == pytest.approx(equal["value"]["wald p"], rel=ORDINAL_ERROR)
    assert comparison.statistic == pytest.approx(equal["value"]["likelihood ratio"], abs=ORDINAL)
    assert comparison.df == 4


# Invented ratings: raters at uneven rates, candidates with a slope over weeks ----------------------


def invented(n=300, seed=3, *, rater=0.8, slope=0.1, raters=12, candidates=25):
    random = np.random.default_rng(seed)
    who = np.minimum(random.geometric(0.18, n) - 1, raters - 1)
    whom = random.integers(0, candidates, n)
    criterion = random.choice(["plan", "reflect", "teach"], n, p=[0.5, 0.3, 0.2])
    week = np.round(random.uniform(1, 12, n), 1)
    cohort, role = np.array(["a", "b"])[who % 2], random.choice(["mentor", "tutor"], n)
    eta = 0.6 * (criterion == "teach") + 0.08 * week + 0.4 * (cohort == "b")
    eta += random.normal(0, rater, raters)[who] + random.normal(0, 1.2, candidates)[whom]
    eta += random.normal(0, slope, candidates)[whom] * week if slope else 0.0
    return pd.DataFrame(
        {
            "rater": [f"r{i:02d}" for i in who],
            "candidate": [f"c{i:02d}" for i in whom],
            "criterion": criterion,
            "week": week,
            "day": np.round(random.uniform(-1, 1, n), 2),
            "cohort": cohort,
            "role": role,
            "level": np.searchsorted([-1.0, 0.5, 2.0, 3.5], eta + random.logistic(size=n)) + 1,
            "score": np.round(eta + random.normal(0, 1, n), 3),
            "often": random.choice([1, 2, 3], n),
            "weight": random.choice([0.5, 1.0, 2.5], n),
        }
    )


FIXED = ("criterion", "week", "cohort")


def ordinal_fit(frame, fixed=FIXED, grouped=("rater", "candidate"), **rest):
    return fit(
        frame, response="level", levels=[1, 2, 3, 4, 5], kind="ordinal", fixed=fixed, grouped=grouped, **rest
    )


def linear_fit(frame, fixed=FIXED, grouped=("rater", "candidate"), **rest):
    return fit(frame, response="score", fixed=fixed, grouped=grouped, **rest)


def indicators(values):
    return (values.to_numpy()[:, None] == np.unique(values)).astype(float)


class Henderson:
    """Mixed-model equations of one linear fit, dense."""

    def __init__(self, frame, found, weights):
        (rater,), (candidate) = (
            found.model.fitted.covariances()[0].ravel(),
            found.model.fitted.covariances()[1],
        )
        x = np.column_stack(
            [
                np.ones(len(frame)),
                frame["criterion"] == "reflect",
                frame["criterion"] == "teach",
                frame["week"],
                frame["cohort"] == "b",
            ]
        ).astype(float)
        who, whom = indicators(frame["rater"]), indicators(frame["candidate"])
        self.p, self.raters, self.whom = x.shape[1], who.shape[1], whom.shape[1]
        self.wide = np.hstack([x, who, whom, whom * frame["week"].to_numpy()[:, None]])
        spread = block_diag(np.eye(who.shape[1]) * rater, np.kron(candidate, np.eye(whom.shape[1])))
        self.penalty = np.zeros((self.wide.shape[1],) * 2)
        self.penalty[self.p :, self.p :] = np.linalg.inv(spread)
        self.weights, self.residual = weights / found.model.residual, found.model.residual
        self.y = frame["score"].to_numpy()
        self.inverse, self.solution = self.solve(np.ones(len(frame), dtype=bool))

    def solve(self, rows):
        wide, weights = self.wide[rows], self.weights[rows]
        inverse = np.linalg.inv(wide.T @ (weights[:, None] * wide) + self.penalty)
        return inverse, inverse @ (wide.T @ (weights * self.y[rows]))


@pytest.fixture(scope="module", params=[None, "weight"])
def brute(request):
    frame = invented()
    found = linear_fit(frame, grouped=["rater", by("candidate", slope="week")], weights=request.param)
    weights = frame["weight"].to_numpy() if request.param else np.ones(len(frame))
    return frame, found, Henderson(frame, found, weights)


def errors_of_effects(found):
    """Errors with the variances taken as known, factor by factor, effect by effect."""
    parts = []
    for t, members in enumerate(found.model.members):
        _, covariance = found.model.fitted.joint.effects(t)
        variances = np.einsum("mkk->mk", covariance) / members.scales**2
        parts.append(np.sqrt(variances.T.ravel()))
    return np.concatenate(parts)


def test_effects_and_their_errors_solve_the_mixed_model_equations(brute):
    _, found, equations = brute
    errors = np.sqrt(np.diag(equations.inverse))[equations.p :]
    effects = pd.concat([found.effects("rater"), found.effects("candidate")])
    assert effects["effect"].to_numpy() == pytest.approx(equations.solution[equations.p :], abs=EXACT)
    assert errors_of_effects(found) == pytest.approx(errors, rel=EXACT)
    assert (effects["se"].to_numpy() >= errors * (1 - EXACT)).all()  # the variances are estimated too


def test_errors_of_predictions_of_known_and_new_members(brute):
    frame, found, equations = brute
    variance = np.einsum("ij,jk,ik->i", equations.wide, equations.inverse, equations.wide)
    assert found.predict()["se"].to_numpy() == pytest.approx(np.sqrt(variance), rel=EXACT)
    new = found.predict(interval="prediction")["se"].to_numpy()
    assert new == pytest.approx(np.sqrt(variance + equations.residual), rel=EXACT)
    wide = equations.wide.copy()
    wide[:, equations.p + equations.raters :] = 0.0
    at = np.column_stack([np.ones(len(frame)), frame["week"]])
    own = np.einsum("na,ab,nb->n", at, found.model.fitted.covariances()[1], at)
    variance = np.einsum("ij,jk,ik->i", wide, equations.inverse, wide) + own
    strangers = found.predict(frame.assign(candidate="new"))
    assert strangers["value"].to_numpy() == pytest.approx(wide @ equations.solution, abs=EXACT)
    assert strangers["se"].to_numpy() == pytest.approx(np.sqrt(variance), rel=EXACT)


@pytest.mark.parametrize("name", ["rater", "candidate"])
def test_linear_influence_is_deletion_with_the_variances_held(brute, name):
    frame, found, equations = brute
    table = found.influence(name, term="week")
    for member, row in table.iterrows():
        rows = (frame[name] != member).to_numpy()
        change = (equations.solve(rows)[1] - equations.solution)[: equations.p]
        covariance = equations.inverse[: equations.p, : equations.p]
        assert row["change"] == pytest.approx(change[3], abs=EXACT)
        assert row["distance"] == pytest.approx(change @ np.linalg.solve(covariance, change) / 5, rel=1e-6)


def test_draws_have_the_variances_of_the_model(brute):
    frame, found, equations = brute
    drawn = found.simulate(600, seed=2).to_numpy()
    z = equations.wide[:, equations.p :]
    own = z @ np.linalg.inv(equations.penalty[equations.p :, equations.p :]) @ z.T
    assert np.var(drawn, axis=1) / np.diag(own + np.diag(1 / equations.weights)) == pytest.approx(1, abs=0.3)
    left, right = np.triu_indices(len(frame), 1)
    centred = drawn - drawn.mean(axis=1, keepdims=True)
    between = (centred @ centred.T / drawn.shape[1])[left, right]
    assert np.polyfit(own[left, right], between, 1)[0] == pytest.approx(1, abs=0.15)


def test_ordinal_effects_predictions_and_integrated_means():
    frame = invented(slope=0)
    found = ordinal_fit(frame, weights="often")
    engine = found.model.levels
    x = np.column_stack(
        [
            frame["criterion"] == "reflect",
            frame["criterion"] == "teach",
            frame["week"],
            frame["cohort"] == "b",
        ]
    ).astype(float)
    z = np.hstack([indicators(frame["rater"]), indicators(frame["candidate"])])
    _, tau, beta, _ = engine.problem.split(engine.state.psi)
    b = engine.joint.b
    level = frame["level"].to_numpy() - 1
    below = np.zeros((len(frame), 6))
    below[:, -1] = 1
    below[:, 1:-1] = expit(tau - (x @ beta + z @ b)[:, None])
    rows = np.arange(len(frame))
    high, low = below[rows, level + 1], below[rows, level]
    dense_high, dense_low = high * (1 - high), low * (1 - low)
    share = high - low
    slope = -(dense_high - dense_low) / share
    curve = slope**2 - (dense_high * (1 - 2 * high) - dense_low * (1 - 2 * low)) / share
    weights = frame["often"].to_numpy()
    prior = np.repeat([1 / c[0, 0] for c in engine.covariances()], [s[0] for s in engine.triangles.sizes])
    assert z.T @ (weights * slope) == pytest.approx(prior * b, abs=1e-4)
    inner = np.linalg.inv(z.T @ ((weights * curve)[:, None] * z) + np.diag(prior))
    # second derivatives by a row's position and its two cut-points
    by_tau = np.zeros((len(frame), 4))
    up = dense_high * (1 - 2 * high) / share - dense_high * (dense_high - dense_low) / share**2
    down = -dense_low * (1 - 2 * low) / share + dense_low * (dense_high - dense_low) / share**2
    for j in range(4):
        by_tau[:, j] = np.where(level == j, up, 0) + np.where(level == j + 1, down, 0)
    towards = inner @ (z.T @ (weights[:, None] * np.hstack([by_tau, curve[:, None] * x])))
    fixed = engine.full_covariance[engine.problem.q :, engine.problem.q :]
    errors = np.sqrt(np.diag(inner + towards @ fixed @ towards.T))
    assert errors_of_effects(found) == pytest.approx(errors, rel=1e-7)

    dense = np.zeros((len(frame), 6))
    dense[:, 1:-1] = below[:, 1:-1] * (1 - below[:, 1:-1])
    expected_level = np.diff(below, axis=1) @ np.arange(1, 6)
    by_cut = -dense[:, 1:-1]  # expected level = 5 − Σ F(τ_j − η)
    tilt = np.hstack([by_cut, dense.sum(axis=1)[:, None] * x])
    through = dense.sum(axis=1)[:, None] * z
    left = tilt - through @ towards
    variance = np.einsum("ij,jk,ik->i", through, inner, through) + np.einsum("ij,jk,ik->i", left, fixed, left)
    predicted = found.predict(scale="level")
    assert predicted["value"].to_numpy() == pytest.approx(expected_level, abs=1e-9)
    assert predicted["se"].to_numpy() == pytest.approx(np.sqrt(variance), rel=DIFFERENCES)

    residual = found.residuals(seed=1)["residual"].to_numpy()
    uniform = low + np.random.default_rng(1).random(len(frame)) * share
    assert residual == pytest.approx(ndtri(uniform), abs=1e-6)

    effects_drawn = np.random.default_rng(0).standard_normal(400_000) * np.sqrt(1 / prior[0] + 1 / prior[-1])
    at = found.means("cohort", at={"criterion": "teach"}, scale="probability", random="integrated")
    eta = beta[1] + beta[2] * np.average(frame["week"], weights=weights)
    drawn = expit(tau - eta - effects_drawn[:, None]).mean(axis=0)
    assert at.loc["a", "value"].to_numpy() == pytest.approx(np.diff(drawn, prepend=0, append=1), abs=2e-3)


@pytest.mark.parametrize("sd", [0.5, 1.4, 1.6, 3, 8, 30])
def test_probabilities_are_integrated_over_effects_however_wide(sd):
    distance = np.linspace(-2 * sd, 2 * sd, 9)
    at = (np.arange(400_000) + 0.5) / 400_000
    by_hand = expit(distance[:, None] / 0.7 - sd / 0.7 * ndtri(at)).mean(axis=1)
    found = _share_below("logit", distance, np.full(9, 0.7), np.full(9, sd**2.0))
    assert found == pytest.approx(by_hand, abs=1e-5)


def test_ordinal_weights_say_how_often_a_row_occurred():
    frame = invented(n=260)
    each = frame.loc[frame.index.repeat(frame["often"])].reset_index(drop=True)
    how = {
        "fixed": ["criterion", spline("week"), "cohort"],
        "grouped": ["candidate", by("rater", within="role")],
    }
    one, two = ordinal_fit(frame, weights="often", **how), ordinal_fit(each, **how)
    assert one.log_likelihood == pytest.approx(two.log_likelihood, abs=EXACT)
    for name in ("components", "shares", "coefficients", "comparison_values"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(two, name), rtol=1e-5)
    for made in (
        lambda f: f.means("criterion", scale="level", random="integrated", over="observed"),
        lambda f: f.contrasts("cohort", scale="probability"),
        lambda f: f.effects("rater").astype({"n": float}),
        lambda f: f.influence("candidate").astype({"n": float}),
        lambda f: f.level_counts("criterion"),
        lambda f: f.proportional_odds("criterion")[0],
        lambda f: f.bootstrap(20, seed=1),
    ):
        pd.testing.assert_frame_equal(made(one), made(two), rtol=1e-4)
    assert len(one.simulate(1)) == len(each)
    with pytest.raises(ModelError, match="not whole numbers"):
        ordinal_fit(frame, weights="weight").bootstrap(20)


# Profile limits --------------------------------------------------------------------------------------


def deviance(frame, found, covariances, residual, *, restricted):
    """Minus twice the marginal log-likelihood, dense."""
    y, x = frame["score"].to_numpy(), found.model.fixed_part(frame)
    spread = np.eye(len(y)) * residual
    for members, covariance in zip(found.model.members, covariances, strict=True):
        same = members.find(frame)[:, None] == members.find(frame)
        raw = members.values(frame) * members.scales
        spread += same * (raw @ covariance @ raw.T)
    inverse = np.linalg.inv(spread)
    information = x.T @ inverse @ x
    left = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
    value = np.linalg.slogdet(spread)[1] + left @ inverse @ left
    if restricted:
        value += np.linalg.slogdet(information)[1]
    return value + (len(y) - restricted * x.shape[1]) * np.log(2 * np.pi)


@pytest.mark.parametrize("method", ["reml", "ml"])
@pytest.mark.parametrize("quantity", ["variance", "correlation", "share"])
def test_profile_limits_are_where_the_best_remaining_fit_is_worse_by_the_quantile(method, quantity):
    frame = invented(n=160, candidates=20, seed=2, slope=0.15)
    how = {"reml": ["rater", by("candidate", slope="week")], "ml": ["rater", by("candidate", within="role")]}
    found = linear_fit(frame, fixed=["week"], grouped=how[method], method=method)
    name = found.model.members[1].coefficients[0]
    frequency = (frame["role"] == "mentor").mean() if method == "ml" else 1.0
    others = [1 - frequency] if method == "ml" else [0.0]
    table = {
        "variance": lambda: found.components.loc[name],
        "share": lambda: found.shares.loc[name],
        "correlation": lambda: found.correlations.iloc[0],
    }[quantity]()

    def value(at, limit):
        own, other, rater, residual = np.exp(2 * np.clip(at[:4], -12, 5))
        rho = np.tanh(at[4])
        if quantity == "variance":
            own = limit
        elif quantity == "share":
            own = limit / (1 - limit) * (rater + others[0] * other + residual) / frequency
        else:
            rho = limit
        cross = rho * np.sqrt(own * other)
        covariances = [np.array([[rater]]), np.array([[own, cross], [cross, other]])]
        return deviance(frame, found, covariances, residual, restricted=method == "reml")

    covariances = found.model.fitted.covariances()
    sds = np.sqrt(np.maximum([*np.diag(covariances[1]), covariances[0][0, 0], found.model.residual], 1e-4))
    rho = np.clip(covariances[1][0, 1] / (sds[0] * sds[1]), -0.95, 0.95)
    best = deviance(frame, found, covariances, found.model.residual, restricted=method == "reml")
    assert best == pytest.approx(-2 * found.log_likelihood, abs=1e-6)
    start = np.append(np.log(sds), np.arctanh(rho))
    for limit in (table["low"], table["high"]):
        held = minimize(value, start, args=(limit,), method="BFGS", options={"gtol": 1e-3})
        if abs(limit) in (0.0, 1.0):
            assert held.fun - best < DEVIANCE
        else:
            assert held.fun - best == pytest.approx(DEVIANCE, abs=DROP)


def test_limits_of_a_variance_of_zero():
    frame = invented(n=220, candidates=20, seed=2, slope=0, rater=0)
    found = linear_fit(frame)
    row = found.components.loc["rater"]
    assert (row["variance"], row["low"]) == (0, 0)
    covariances = found.model.fitted.covariances()

    def value(at):
        return deviance(
            frame,
            found,
            [np.array([[row["high"]]]), np.array([[np.exp(at[0])]])],
            np.exp(at[1]),
            restricted=True,
        )

    start = np.log([covariances[1][0, 0], found.model.residual])
    held = minimize(value, start, method="BFGS", options={"gtol": 1e-3})
    assert held.fun + 2 * found.log_likelihood == pytest.approx(DEVIANCE, abs=DROP)


# Likelihood ratios -------------------------------------------------------------------------------------


def test_mixtures_of_the_likelihood_ratio():
    frame = invented(seed=1)
    plain, sloped = linear_fit(frame), linear_fit(frame, grouped=["rater", by("candidate", slope="week")])
    found = likelihood_ratio(plain, sloped)
    q = found.statistic
    assert found.p == pytest.approx(0.5 * chi2.sf(q, 1) + 0.5 * chi2.sf(q, 2), rel=EXACT)
    assert not found.conservative
    apart = linear_fit(frame, grouped=["rater", by("candidate", slope="week", correlated=False)])
    assert likelihood_ratio(plain, apart).p == pytest.approx(
        0.5 * chi2.sf(likelihood_ratio(plain, apart).statistic, 1), rel=EXACT
    )
    assert likelihood_ratio(apart, sloped).reference == "χ²(1)"
    both = linear_fit(
        frame, grouped=["rater", "candidate", by("candidate", "role"), by("rater", "criterion")]
    )
    two = likelihood_ratio(plain, both)
    q = two.statistic
    binomial = 0.25 * (q <= 0) + 0.5 * chi2.sf(q, 1) + 0.25 * chi2.sf(q, 2)
    assert (two.p, two.conservative) == (pytest.approx(binomial, rel=EXACT), True)


def test_a_second_slope_beside_a_correlated_one_has_the_exact_mixture():
    """One more variance with two covariances: equal halves of two and three degrees [stram_lee_1994]."""
    frame = invented(seed=1)
    one = linear_fit(frame, grouped=["rater", by("candidate", slope="day")])
    two = linear_fit(frame, grouped=["rater", by("candidate", slope=["week", "day"])])
    found = likelihood_ratio(one, two)
    assert (found.reference, found.conservative) == ("0.5 χ²(2) + 0.5 χ²(3)", False)


@pytest.mark.parametrize("of", [linear_fit, ordinal_fit])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_variance_of_zero_tests_with_p_of_one(of, seed):
    frame = invented(n=400, seed=seed, rater=0, slope=0)
    smaller, larger = of(frame, grouped="candidate"), of(frame)
    found = likelihood_ratio(smaller, larger)
    zero = larger.components.loc["rater", "status"] == Status.BOUNDARY
    assert (found.p == 1) == zero


def test_models_that_only_seem_nested_are_refused():
    frame = invented(seed=1)
    ml = {"method": "ml"}
    pairs = [
        (linear_fit(frame, grouped=by("candidate", slope="day")), by("candidate", slope=["week", "often"])),
        (linear_fit(frame, grouped=by("candidate", slope="day")), by("candidate", within="criterion")),
    ]
    fits = [(smaller, linear_fit(frame, grouped=grouping)) for smaller, grouping in pairs]
    fits += [
        (linear_fit(frame, [spline("week", df=2)], **ml), linear_fit(frame, [spline("week", df=3)], **ml)),
        (linear_fit(frame, weights="weight", grouped="candidate"), linear_fit(frame)),
        (ordinal_fit(frame, ["week"], link="probit"), ordinal_fit(frame)),
        (ordinal_fit(frame, scale="role"), ordinal_fit(frame, scale=["cohort", "criterion"])),
        (
            ordinal_fit(frame, ["week", "criterion"]),
            ordinal_fit(frame, ["cohort"], thresholds_by="criterion"),
        ),
        (
            ordinal_fit(frame, ["week"], thresholds_by="cohort"),
            ordinal_fit(frame, ["week", spline("score", df=6)]),
        ),
    ]
    for smaller, larger in fits:
        with pytest.raises(ModelError):
            likelihood_ratio(smaller, larger)


# Degrees of freedom of ordinal contrasts ------------------------------------------------------------------


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_rounding_does_not_decide_whether_a_contrast_rests_on_few_members(seed):
    found = ordinal_fit(invented(seed=seed), fixed=[*FIXED, "role"])
    for over in ("equal", "observed"):
        assert np.isinf(found.contrasts("criterion", over=over)["df"]).all()
    assert (found.contrasts("cohort")["df"] == 10).all()  # 12 raters, two cohorts


def test_what_rests_on_comparing_few_raters():
    frame = invented(n=400, seed=4, candidates=40)
    sloped = ordinal_fit(
        frame, ["criterion", product("week", "cohort")], ["candidate", by("rater", slope="week")]
    ).coefficients["df"]
    assert sloped.loc[["cohort: b", "week", "week × cohort: b"]].tolist() == [10, 10, 10]
    assert np.isinf(sloped.filter(like="criterion")).all()
    roles = ordinal_fit(frame, ["criterion", "role"], ["candidate", by("rater", within="role")]).coefficients
    assert (roles.loc["role: tutor", "df"], roles.loc["criterion: teach", "df"]) == (11, np.inf)
    apart = ordinal_fit(frame, ["criterion"], thresholds_by="cohort")
    assert (apart.contrasts("cohort")["df"] == 10).all()
    assert np.isinf(apart.contrasts("criterion")["df"]).all()


def test_the_spline_is_a_natural_cubic_one():
    """Straight beyond the outer knots, with two continuous derivatives at the inner ones."""
    frame = invented()
    found = linear_fit(frame, fixed=[spline("week", df=4)])
    knots = np.quantile(frame["week"], [0, 0.25, 0.5, 0.75, 1])

    def curve(at):
        return found.model.fixed_part(pd.DataFrame({"week": np.atleast_1d(at)}))

    assert np.linalg.matrix_rank(curve(np.linspace(1, 12, 50))) == 5
    for outside in (np.array([-3.0, -2.0, -1.0]), np.array([14.0, 15.0, 16.0])):
        assert np.diff(curve(outside), 2, axis=0) == pytest.approx(0, abs=1e-9)
    h = 1e-3
    for knot in knots:
        bent = [np.diff(curve(knot + s * h * np.array([1.0, 2.0, 3.0])), 2, axis=0) / h**2 for s in (-1, 1)]
        assert bent[0] == pytest.approx(bent[1], abs=0.02)
