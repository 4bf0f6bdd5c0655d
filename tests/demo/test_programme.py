"""Planted effects come back from the clean tables by simple estimates that share no code with the package."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import expit, log_ndtr

from mentorstats import demo, dictionary
from mentorstats.errors import ArgumentError

WITHIN = 3.0  # standard errors: what the planted effects are asked to come back within
SEEDS = (demo.SEED, 11, 12)
LEVELS = ("support", "part", "reliable", "adapts")
TABLES = dictionary.tables()


@pytest.fixture(scope="module", params=SEEDS)
def invented(request):
    return demo.programme(request.param)


@pytest.fixture(scope="module")
def rated(invented):
    """Independent ratings that hold a level, with candidate, cohort and week."""
    lessons = invented.observations.merge(invented.placements, on="placement")
    lessons["week"] = (lessons["date"] - lessons["start"]).dt.days // 7 + 1
    lessons = lessons[["observation", "candidate", "cohort", "week", "mentor"]]
    ratings = invented.ratings[invented.ratings["independent"] & invented.ratings["level"].notna()]
    out = ratings.merge(lessons, on="observation", validate="many_to_one")
    return out.assign(rank=out["level"].cat.codes.astype(float) + 1, own=out["rater"] == out["mentor"])


@pytest.fixture(scope="module")
def planted(invented):
    return invented.truth.planted.set_index("rater")


@pytest.fixture(scope="module")
def contrasts(rated):
    """Supervisor less own mentor, mean over criteria, of each lesson that both rated."""
    supervisors = rated[rated["rater_role"] == "supervisor"]
    both = supervisors.merge(rated[rated["own"]], on=["observation", "criterion"], suffixes=("", "_mentor"))
    both["contrast"] = both["rank"] - both["rank_mentor"]
    keys = ["observation", "rater", "rater_mentor", "candidate", "week"]
    return both.groupby(keys, as_index=False)["contrast"].mean()


@pytest.fixture(scope="module")
def ordinary(contrasts, planted):
    """Mean contrast of each supervisor on whom nothing is planted."""
    clean = ~contrasts["rater"].isin(planted.index) & ~contrasts["rater_mentor"].isin(planted.index)
    return contrasts[clean].groupby("rater")["contrast"].mean()


def clustered(y, x, groups):
    """Coefficients and cluster-robust standard errors of a least-squares fit."""
    fit = sm.OLS(np.asarray(y), np.asarray(x, dtype=float)).fit(
        cov_type="cluster", cov_kwds={"groups": pd.factorize(groups)[0]}
    )
    return fit.params, fit.bse


def size_of(invented, name, column="level"):
    return invented.truth.sizes.set_index("name").loc[name, column]


def test_severe_and_lenient_raters(contrasts, ordinary, planted):
    usual, usual_se = ordinary.mean(), ordinary.std() / np.sqrt(len(ordinary))
    shifted = planted[planted["effect"].isin(["severe", "lenient"])]
    assert sorted(shifted["size"]) == [-2.5, -2.0, 2.5]
    for rater, row in shifted.iterrows():
        own = contrasts[contrasts["rater"] == rater]
        value, se = clustered(own["contrast"], np.ones((len(own), 1)), own["rater_mentor"])
        se = np.hypot(se[0], usual_se)
        assert abs(value[0] - usual - row["level"]) < WITHIN * se
        assert np.sign(value[0] - usual) == np.sign(row["level"])


def test_own_mentor_bonus(invented, ordinary):
    bonus = size_of(invented, "own mentor")
    assert 0.1 < bonus < 0.2
    assert abs(-ordinary.mean() - bonus) < WITHIN * ordinary.std() / np.sqrt(len(ordinary))


def test_drift(contrasts, planted):
    (rater,) = planted.index[planted["effect"] == "drift"]
    own = contrasts[contrasts["rater"] == rater]
    value, se = clustered(own["contrast"], sm.add_constant(own["week"]), own["candidate"])
    assert abs(value[1] - planted.loc[rater, "level"]) < WITHIN * se[1]


def test_change_per_week(invented, rated, planted):
    forms = rated[~rated["rater"].isin(planted.index)]
    forms = forms.groupby(["observation", "rater", "candidate", "week"], as_index=False)["rank"].mean()
    inside = forms[["rank", "week"]] - forms.groupby("candidate")[["rank", "week"]].transform("mean")
    value, se = clustered(inside["rank"], inside[["week"]], forms["candidate"])
    assert value[0] > WITHIN * se[0]
    assert abs(value[0] - size_of(invented, "change a week")) < WITHIN * se[0]


def test_cohort_difference(invented, rated, planted):
    forms = rated[~rated["rater"].isin(planted.index) & (rated["rubric_version"] == "1")]
    keys = ["observation", "rater", "candidate", "cohort", "week"]
    forms = forms.groupby(keys, as_index=False)["rank"].mean()
    x = np.column_stack([np.ones(len(forms)), forms["cohort"] == "2024-25", forms["week"] - 7.5])
    value, se = clustered(forms["rank"], x, forms["candidate"])
    assert abs(value[1] - size_of(invented, "cohort 2024-25")) < WITHIN * se[1]


@pytest.fixture(scope="module")
def latent(invented, rated):
    """Centre of each rating's latent judgement, lesson and rater × criterion aside, and its thresholds."""
    truth, week = invented.truth, rated["week"] - 7.5
    candidate = truth.candidates.set_index("candidate").loc[rated["candidate"]].reset_index(drop=True)
    rater = truth.raters.set_index("rater").loc[rated["rater"]].reset_index(drop=True)
    cohort = rated["cohort"].map(
        {c: size_of(invented, f"cohort {c}", "logits") for c in rated["cohort"].unique()}
    )
    centre = (
        cohort
        + candidate["effect"]
        + (size_of(invented, "change a week", "logits") + candidate["slope"]) * week
        + rater["shift"]
        + rater["drift"] * week
        + size_of(invented, "own mentor", "logits") * rated["own"]
    )
    cuts = truth.thresholds.set_index(["rubric_version", "criterion"])
    cuts = cuts.loc[list(zip(rated["rubric_version"], rated["criterion"], strict=True)), list(LEVELS[1:])]
    return centre.to_numpy(), cuts.to_numpy()


def sd_of(invented, *names):
    components = invented.truth.components.set_index("component")["variance"]
    return np.sqrt(components[list(names)].sum())


def above(centre, cuts, sd):
    """P(level above each cut), with normal effects of that standard deviation integrated out."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(25)
    p = expit(centre[:, None, None] + sd * nodes - cuts[:, :, None])
    return p @ (weights / weights.sum())


def test_levels_are_used_as_the_model_says(invented, rated, latent, planted):
    centre, cuts = latent
    usual = ~rated["rater"].isin(planted.index[planted["effect"].isin(["central_tendency", "halo"])])
    p = above(centre, cuts, sd_of(invented, "lesson", "rater × criterion"))
    for cut in range(len(LEVELS) - 1):
        excess = (rated["rank"] > cut + 1) - p[:, cut]
        value, se = clustered(excess[usual], np.ones((usual.sum(), 1)), rated["rater"][usual])
        assert abs(value[0]) < WITHIN * se[0]


def test_central_tendency(invented, rated, latent, planted):
    (rater,) = planted.index[planted["effect"] == "central_tendency"]
    stretch = planted.loc[rater, "size"]
    own = (rated["rater"] == rater).to_numpy()
    centre, cuts = latent[0][own], latent[1][own]
    middle = cuts.mean(axis=1, keepdims=True)
    at_the_ends = rated["rank"][own].isin([1, 4])
    excess = {}
    for factor in (1.0, stretch):
        sd = sd_of(invented, "lesson", "rater × criterion")
        p = above(centre, middle + factor * (cuts - middle), sd)
        ends = 1 - p[:, 0] + p[:, -1]
        excess[factor] = clustered(at_the_ends - ends, np.ones((own.sum(), 1)), rated["candidate"][own])
    assert abs(excess[stretch][0][0]) < WITHIN * excess[stretch][1][0]
    assert excess[1.0][0][0] < -WITHIN * excess[1.0][1][0]


def spread_in_forms(rank, form):
    """Mean over forms of the variance of the levels in a form."""
    return pd.Series(rank).groupby(form).var().mean()


def simulated_spreads(centre, cuts, form, sd, halo, rng, times=300):
    """Spread in forms under the declared model, many times over, without rater × criterion effects."""
    code = pd.factorize(form)[0]
    out = []
    for _ in range(times):
        shared, lesson = rng.standard_normal(code.max() + 1)[code], rng.normal(0, sd, code.max() + 1)[code]
        normal = np.sqrt(halo) * shared + np.sqrt(1 - halo) * rng.standard_normal(len(code))
        judged = centre + lesson + log_ndtr(normal) - log_ndtr(-normal)
        out.append(spread_in_forms(1 + (judged[:, None] > cuts).sum(axis=1), code))
    return np.array(out)


def test_halo(invented, rated, latent, planted):
    (rater,) = planted.index[planted["effect"] == "halo"]
    own = (rated["rater"] == rater).to_numpy()
    form = rated["observation"][own].to_numpy()
    observed = spread_in_forms(rated["rank"][own].to_numpy(), form)
    centre, cuts, sd = latent[0][own], latent[1][own], sd_of(invented, "lesson")
    rng = np.random.default_rng(1)
    for halo, found in ((planted.loc[rater, "size"], True), (0.0, False)):
        spreads = simulated_spreads(centre, cuts, form, sd, halo, rng)
        assert (abs(observed - spreads.mean()) < WITHIN * spreads.std()) == found


def test_realised_effects_have_their_declared_size(invented):
    truth = invented.truth
    drawn = truth.raters.loc[truth.raters["planted"] == "", "shift"]
    for values, name in ((truth.candidates["effect"], "candidate"), (drawn, "rater")):
        sd = sd_of(invented, name)
        assert abs(values.std() - sd) < WITHIN * sd / np.sqrt(2 * len(values))
        assert abs(values.mean()) < WITHIN * sd / np.sqrt(len(values))


def test_shares_on_the_level_scale(invented):
    """Against plain simulation of one version's criteria."""
    truth, rng, n = invented.truth, np.random.default_rng(5), 200_000
    components = truth.components.set_index("component")
    cuts = truth.thresholds.loc[truth.thresholds["rubric_version"] == "1", list(LEVELS[1:])].to_numpy()
    assert components["share"].sum() == pytest.approx(1)
    assert components["share_level"].sum() == pytest.approx(1)
    for name in ("candidate", "rater"):
        rest = np.sqrt(components["variance"].drop([name, "residual"]).sum())
        one = rng.normal(0, components.loc[name, "sd"], n)
        twice = [one + rng.normal(0, rest, n) + rng.logistic(size=n) for _ in range(2)]
        ranks = [(judged[:, None, None] > cuts).sum(axis=2) for judged in twice]
        shared = np.mean([np.cov(*pair)[0, 1] for pair in zip(*(r.T for r in ranks), strict=True)])
        share = shared / np.mean([r.var(axis=0) for r in ranks])
        assert share == pytest.approx(components.loc[name, "share_level"], abs=0.01)  # Monte Carlo error .003


def test_components_are_of_a_published_order(invented):
    share = invented.truth.components.set_index("component")["share"]
    assert 0.2 < share["candidate"] < 0.4
    assert 0.05 < share["rater"] < 0.2
    assert 0.05 < share["lesson"] < 0.15
    assert 0.4 < share["residual"] < 0.5


def test_design(invented):
    placements, observations = invented.placements, invented.observations
    assert (placements.groupby("cohort").size() == 60).all()
    assert placements["site"].nunique() == 5
    lessons = observations.merge(placements, on="placement").groupby(["placement", "status"]).size()
    full = lessons.xs("completed", level="status")
    assert full.between(6, 8).all()
    assert len(full) == 171
    assert (observations.merge(placements, on="placement").eval("start <= date <= end")).all()
    assert 0.3 < invented.truth.double_scored < 0.4
    cohorts = invented.ratings.merge(observations, on="observation").merge(placements, on="placement")
    served = cohorts.groupby(["rater_role", "rater"])["cohort"].nunique()
    assert (served.loc["mentor"] > 1).any()
    assert (served.loc["supervisor"] > 1).any()
    assert placements.groupby("candidate").size().max() == 1


def test_two_supervisors_share_candidates_and_lessons(invented):
    supervised = invented.ratings[invented.ratings["rater_role"] == "supervisor"]
    lessons = supervised.merge(invented.observations, on="observation")
    assert (lessons.groupby("observation")["rater"].nunique() > 1).sum() > 50
    assert (lessons.groupby("placement")["rater"].nunique() > 1).mean() > 0.5


def test_one_site_shares_no_rater(invented):
    """Follow raters to candidates and back until nothing more is reached."""
    seen = invented.ratings.merge(invented.observations, on="observation").merge(
        invented.placements, on="placement"
    )[["rater", "candidate", "site"]]
    seen = seen.drop_duplicates()
    far = seen["site"] == invented.truth.unlinked_site
    for part in (seen[far], seen[~far]):
        reached = {part["rater"].iloc[0]}
        while True:
            theirs = part[part["rater"].isin(reached)]["candidate"]
            more = set(part[part["candidate"].isin(theirs)]["rater"])
            if more == reached:
                break
            reached = more
        assert reached == set(part["rater"])
    assert not set(seen[far]["rater"]) & set(seen[~far]["rater"])
    network = invented.truth.raters.set_index("rater")["network"]
    assert network[sorted(set(seen[far]["rater"]))].nunique() == 1
    assert network.nunique() == 2


def test_every_kind_of_absence_is_there(invented):
    reasons = invented.ratings["missing_reason"]
    assert set(reasons.dropna()) == {"not_observed", "not_applicable", "not_scored", "withheld"}
    assert (reasons.isna() == invented.ratings["level"].notna()).all()
    assert 0.03 < reasons.notna().mean() < 0.08


def test_agreed_forms_are_not_independent(invented):
    ratings = invented.ratings
    agreed = ratings.loc[~ratings["independent"], ["observation", "rater"]].drop_duplicates()
    listed = invented.truth.agreed
    assert len(listed) == 12
    assert set(map(tuple, agreed.to_numpy())) == set(map(tuple, listed.to_numpy()))
    copied = ratings[~ratings["independent"]].merge(
        ratings[ratings["rater_role"] == "supervisor"],
        on=["observation", "criterion"],
        suffixes=("", "_theirs"),
    )
    copied = copied.dropna(subset=["level", "level_theirs"]).groupby(["observation", "criterion"]).first()
    assert (copied["level"].astype(str) == copied["level_theirs"].astype(str)).mean() > 0.7


def test_same_seed_same_tables():
    one, same, other = demo.programme(5), demo.programme(5), demo.programme(6)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(same, name))
    assert not one.ratings["rater"].equals(other.ratings["rater"])


def test_codes_say_nothing(invented):
    people = invented.raters["rater"].tolist() + invented.placements["candidate"].tolist()
    assert len(set(people)) == len(people)
    assert all(pd.Series(people).str.fullmatch(r"[a-z]\d[a-z]\d[a-z]"))
    assert invented.observations["observation"].str.startswith("0").any()


def test_effects_can_be_left_out():
    none = demo.Effects(severities=(), drifts=(), stretches=(), halos=())
    truth = demo.programme(1, effects=none).truth
    assert truth.planted.empty
    assert (truth.raters["planted"] == "").all()


def test_more_raters_than_serve_throughout_cannot_be_planted():
    with pytest.raises(ArgumentError, match="serve in every cycle"):
        demo.programme(1, effects=demo.Effects(severities=(2.0,) * 40))


def test_the_rubric_is_one_dimension_of_what_the_candidate_does():
    rubrics = demo.programme().rubrics
    assert list(rubrics.groupby("rank")["label"].first()) == [
        "With support",
        "In part",
        "Reliably",
        "Reliably, and adapts",
    ]
    assert set(";".join(rubrics["standards"]).split(";")) <= {"S1", "S2", "S3", "S4"}
