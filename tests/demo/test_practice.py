"""What is planted beside the ratings comes back by simple estimates, and touches no other table."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from mentorstats import demo
from mentorstats.demo import practice

WITHIN = 3.5  # standard errors, of a handful of estimates in three programmes


@pytest.fixture(scope="module", params=(demo.SEED, 11, 12))
def invented(request):
    return demo.programme(request.param)


def near(estimate, error, planted):
    assert abs(estimate - planted) <= WITHIN * error


def test_tutored_pupils_gain_what_was_planted(invented):
    """Given the score before, so that chance alone, which lifts the lowest, is no gain."""
    pupils = invented.tutoring.assign(tutored=lambda t: (~t["comparison"]).astype(float))
    fit = smf.ols("after ~ before + tutored + C(placement)", pupils.astype({"before": float})).fit()
    near(fit.params["tutored"], fit.bse["tutored"], invented.truth.practice["tutoring_effect_points"])
    plain = pupils["after"] - pupils["before"]
    naive = plain[pupils["tutored"] == 1].mean() - plain[pupils["tutored"] == 0].mean()
    assert naive > fit.params["tutored"] + 1


def test_the_slow_site_holds_back(invented):
    load = invented.teaching_load.merge(invented.placements, on="placement")
    middle = load[load["week"].between(4, 11)]  # where no share is cut off at 0 or 1
    behind = (middle["planned_share"] - middle["actual_share"]).groupby(middle["site"]).agg(["mean", "sem"])
    slow = demo.frames.SITE_NAMES[practice.SLOW_SITE]
    for site, row in behind.iterrows():
        planted = practice.SLOW_BEHIND if site == slow else practice.BEHIND
        near(row["mean"], row["sem"], planted)


def test_upper_questions_become_more(invented):
    lessons = invented.observations.merge(invented.placements, on="placement")
    week = ((lessons["date"] - lessons["start"]).dt.days // 7).set_axis(lessons["observation"])
    asked = invented.questions
    upper = asked[asked["thinking_level"].isin(["analyse", "evaluate", "create"])]
    count = upper.groupby("observation")["count"].sum()
    x = sm.add_constant(count.index.map(week).to_numpy(float))
    fit = sm.GLM(count.to_numpy(float), x, family=sm.families.Poisson()).fit()
    near(fit.params[1], fit.bse[1], practice.GROWTH)
    assert (asked["supported"] <= asked["count"]).all()


def test_arrangements_fill_the_lesson(invented):
    minutes = invented.coteaching.groupby("observation")["minutes"].sum()
    lessons = invented.observations.set_index("observation")["minutes"]
    pd.testing.assert_series_equal(minutes, lessons.loc[minutes.index], check_names=False)
    assert set(minutes.index) == set(lessons.index)


def test_nothing_is_done_before_the_placement_begins(invented):
    items = invented.orientation.merge(invented.placements, on="placement")
    assert (items["done"].dropna() >= items.loc[items["done"].notna(), "start"]).all()
    share = items["done"].notna().groupby(items["item"]).mean()
    for item, planted in practice.ITEMS.items():
        near(share[item], np.sqrt(planted * (1 - planted) / 180), planted)
