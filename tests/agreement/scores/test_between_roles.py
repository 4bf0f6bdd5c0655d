"""Use of levels and scores of a lesson: by hand, by statsmodels and by the rank correlation."""

import numpy as np
import pandas as pd
import pytest
from paired import pairs, rubrics
from scipy import stats
from statsmodels.stats.multitest import multipletests

from mentorstats.agreement import marginal_homogeneity
from mentorstats.agreement.scores import between_roles

CLOSE = 1e-12  # the same closed form in another order


def three_criteria():
    tables = {"a": [[8, 9, 1], [2, 20, 8], [0, 3, 19]], "b": [[9, 4, 1], [5, 12, 3], [1, 6, 20]]}
    tables["c"] = [[6, 6, 6], [3, 11, 4], [2, 2, 15]]
    return pd.concat([pairs(table, criterion=name) for name, table in tables.items()], ignore_index=True)


def test_tests_are_those_of_each_criterion_and_adjusted_within_a_version():
    found = between_roles.levels_used(three_criteria(), rubrics(3))
    assert found.index.names == ["rubric", "rubric_version", "criterion", "test"]
    for test, rows in found.groupby("test"):
        wanted = multipletests(rows["p"], method="fdr_bh")[1]
        assert rows["p_adjusted"].to_numpy() == pytest.approx(wanted, abs=CLOSE), test
    b = three_criteria().query("criterion == 'b'")
    long = pd.concat(
        [
            pd.DataFrame({"unit": range(len(b)), "rater": name, "level": b[f"rank_{side}"].to_numpy()})
            for name, side in (("m", "first"), ("s", "second"))
        ]
    )
    alone = marginal_homogeneity(long, unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    of_b = found.loc[("r", "1", "b")]
    assert of_b.loc["bhapkar", "p"] == pytest.approx(alone.loc["bhapkar", "p"], abs=CLOSE)
    assert of_b.loc["between_clusters", "n_clusters"] == b["candidate"].nunique()


def test_shares_by_hand():
    found = between_roles.shares(pairs([[2, 1], [0, 1]]), rubrics(2))
    assert found["share_first"].tolist() == [0.75, 0.25]
    assert found["share_second"].tolist() == [0.5, 0.5]


def test_a_score_is_the_mean_over_the_criteria_that_both_rated():
    chosen = pd.concat([pairs([[0, 1], [0, 0]], criterion="a"), pairs([[0, 0], [1, 0]], criterion="b")])
    found = between_roles.lesson_scores(chosen)
    assert len(found) == 1
    assert found.iloc[0].to_dict() == {
        "candidate": "c0",
        "n_criteria": 2,
        "mean_first": 1.5,
        "mean_second": 1.5,
    }


def test_limits_and_order_of_lessons():
    chosen = three_criteria()
    scores = between_roles.lesson_scores(chosen)
    found = between_roles.lesson_agreement(chosen).loc[("r", "1")]
    difference = (scores["mean_first"] - scores["mean_second"]).to_numpy()
    assert found.loc["mean_difference", "value"] == pytest.approx(difference.mean(), abs=CLOSE)
    limit = difference.mean() + stats.norm.ppf(0.975) * difference.std(ddof=1)
    assert found.loc["upper_limit", "value"] == pytest.approx(limit, abs=CLOSE)
    order = stats.spearmanr(scores["mean_first"], scores["mean_second"]).statistic
    # With two raters and few ties W is (1 + rank correlation) / 2; both are corrected for ties differently.
    assert found.loc["kendall_w", "value"] == pytest.approx((1 + order) / 2, abs=2e-3)
    assert found.loc["mean_difference", "n_clusters"] == scores["candidate"].nunique()
    assert found.loc["mean_difference", "generalises_to"] == "new candidates, these raters"


def test_nothing_paired_nothing_said():
    nothing = pairs([[1, 0], [0, 1]]).iloc[:0]
    for found in (
        between_roles.levels_used(nothing, rubrics(2)),
        between_roles.shares(nothing, rubrics(2)),
        between_roles.lesson_agreement(nothing),
    ):
        assert found.empty


def test_versions_stay_apart():
    chosen = pd.concat([pairs([[5, 2], [1, 6]]), pairs([[3, 3], [4, 9]], version="2")])
    found = between_roles.lesson_agreement(chosen)
    assert sorted(set(found.index.get_level_values("rubric_version"))) == ["1", "2"]
    assert np.isfinite(found["value"]).all()
