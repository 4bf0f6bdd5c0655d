"""Counts and signed differences behind the rater-agreement report."""

import tomllib

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from mentorstats import places
from mentorstats.agreement import double_scored
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.counts import double_scoring, flow
from mentorstats.agreement.scores import level_differences
from mentorstats.errors import ArgumentError

CLOSE = 1e-10  # the same closed form in another order of summation

LEVELS = ("low", "mid", "high")


def rating(observation, role, rank, *, rater=None, criterion="k", version="1", independent=True):
    number = int(observation[1:])
    return {
        "observation": observation,
        "candidate": f"c{number // 2}",
        "cohort": "2025",
        "site": "Moss" if number % 2 else "Reed",
        "rater": rater or f"{role}-{number}",
        "rater_role": role,
        "rubric": "r",
        "rubric_version": version,
        "criterion": criterion,
        "level": None if rank is None else LEVELS[rank - 1],
        "rank": pd.NA if rank is None else rank,
        "independent": independent,
    }


def long(*rows):
    frame = pd.DataFrame(rows)
    frame["level"] = pd.Categorical(frame["level"], LEVELS, ordered=True)
    return frame.astype({"rank": "Int8", "independent": "boolean"})


def rubrics(versions=("1", "2"), ranks=3):
    rows = [("r", version, "k", rank) for version in versions for rank in range(1, ranks + 1)]
    return pd.DataFrame(rows, columns=["rubric", "version", "criterion", "rank"])


@pytest.fixture
def few():
    return long(
        rating("o0", "mentor", 3),
        rating("o0", "supervisor", 2),
        rating("o1", "mentor", 2),
        rating("o1", "supervisor", None),
        rating("o2", "mentor", 1),
        rating("o2", "supervisor", 1, independent=False),
        rating("o3", "supervisor", 2),
        rating("o3", "trainer", 2),
        rating("o4", "mentor", 2, independent=None),
        rating("o4", "supervisor", 2),
        rating("o5", "mentor", 2, version="1"),
        rating("o5", "supervisor", 2, version="2"),
    )


def test_each_rating_is_asked_each_question(few):
    found = flow.flow(flow.checks(few))
    assert found["n_left_out"].to_dict() == {
        "has_level": 1,
        "of_either_role": 1,
        "other_role_too": 4,
        "not_marked_dependent": 2,
    }
    assert found["n"].tolist() == [11, 10, 6, 4]


def test_what_remains_is_what_is_paired(few):
    enters = flow.checks(few).all(axis=1)
    pairs = double_scored(few)
    kept = pairs[pairs["independent"].fillna(True)]
    assert set(few.loc[enters, "observation"]) == set(kept["observation"]) == {"o0", "o4"}
    assert int(enters.sum()) == 2 * len(kept)


def test_a_second_supervisor_rescues_a_rating_whose_first_partner_was_not_independent():
    table = long(
        rating("o0", "mentor", 3),
        rating("o0", "supervisor", 2, rater="s1", independent=False),
        rating("o0", "supervisor", 2, rater="s2"),
    )
    assert flow.checks(table)["not_marked_dependent"].tolist() == [True, False, True]


def test_a_lesson_counts_as_double_scored_where_a_criterion_is_shared(few):
    lessons = double_scoring.lessons(few)
    assert lessons["double_scored"].to_dict() == {
        "o0": True, "o1": False, "o2": True, "o3": False, "o4": True, "o5": False,
    }  # fmt: skip
    total = double_scoring.double_scoring(lessons)
    assert total.loc["all"].to_dict() == {
        "n_lessons": 6, "n_double_scored": 3, "n_candidates": 3, "value": 0.5,
    }  # fmt: skip


def test_a_site_that_was_not_recorded_keeps_its_row(few):
    few.loc[few["observation"] == "o4", "site"] = None
    by_site = double_scoring.double_scoring(double_scoring.lessons(few), by="site")
    assert by_site["n_lessons"].sum() == 6
    assert by_site.index.isna().sum() == 1


def test_each_role_counts_its_own_lessons_and_raters(few):
    by_role = double_scoring.double_scoring_by_role(few)
    assert by_role.loc["mentor", ["n_raters", "n_lessons", "n_double_scored"]].tolist() == [5, 5, 3]
    assert by_role.loc["supervisor", ["n_raters", "n_lessons", "n_double_scored"]].tolist() == [5, 5, 3]


@pytest.fixture
def many():
    rng = np.random.default_rng(3)
    rows = []
    for number in range(120):
        truth = rng.normal(2 + 0.4 * rng.normal() * (number % 2), 0.5)
        for role in ("mentor", "supervisor"):
            rank = int(np.clip(round(truth + rng.normal(0.2 * (role == "mentor"), 0.6)), 1, 3))
            rows.append(rating(f"o{number}", role, rank, version="1" if number < 70 else "2"))
    return double_scored(long(*rows))


def test_the_interval_of_a_difference_is_that_of_a_cluster_robust_regression(many):
    found = level_differences.differences(many)
    assert len(found) == 2
    for (_, version, _), row in found.iterrows():
        chosen = many[many["rubric_version"] == version]
        groups = pd.factorize(chosen["candidate"])[0]
        fit = sm.OLS(chosen["difference"].to_numpy(float), np.ones(len(chosen))).fit(
            cov_type="cluster", cov_kwds={"groups": groups, "df_correction": True}, use_t=True
        )
        assert row["value"] == pytest.approx(fit.params[0], abs=CLOSE)
        assert row["se"] == pytest.approx(fit.bse[0], abs=CLOSE)
        assert [row["low"], row["high"]] == pytest.approx(fit.conf_int()[0].tolist(), abs=CLOSE)
        assert (row["n_units"], row["n_clusters"]) == (len(chosen), chosen["candidate"].nunique())


def test_few_candidates_are_marked_and_very_few_have_no_interval(many):
    row = level_differences.differences(many[many["candidate"].isin([f"c{n}" for n in range(12)])]).iloc[0]
    assert row["status"] == "few_clusters"
    assert not np.isnan(row["low"])
    row = level_differences.differences(many[many["candidate"].isin(["c0", "c1", "c2"])]).iloc[0]
    assert row["status"] == "too_few_clusters"
    assert np.isnan(row["low"])
    assert not np.isnan(row["value"])


def test_the_same_difference_everywhere_is_at_the_boundary(many):
    row = level_differences.differences(many.assign(difference=1)).iloc[0]
    assert (row["value"], row["status"]) == (1.0, "boundary")
    assert np.isnan(row["se"])


def test_versions_are_never_pooled(many):
    found = by_version.by_version(many, rubrics())
    sizes = found.xs("percent_agreement", level="coefficient")["n_units"]
    assert sizes.to_dict() == {("r", "1", "k"): 70, ("r", "2", "k"): 50}
    alone = by_version.by_version(many[many["rubric_version"] == "2"], rubrics())
    pd.testing.assert_frame_equal(alone, found.loc[["r"]].xs("2", level=1, drop_level=False))


def test_levels_that_nobody_used_count_as_declared(many):
    three = by_version.by_version(many, rubrics()).xs("gwet_ac", level="coefficient")["value"]
    four = by_version.by_version(many, rubrics(ranks=4)).xs("gwet_ac", level="coefficient")["value"]
    assert (three != four).all()


def test_a_version_without_declared_levels_is_refused_by_name(many):
    with pytest.raises(ArgumentError, match="rubric 'r', version '2'"):
        by_version.by_version(many, rubrics(versions=("1",)))


def test_paired_levels_are_complete_and_add_up(many):
    grid = level_differences.paired_levels(many, rubrics())
    assert len(grid) == 2 * 9
    assert grid["n"].sum() == len(many)
    shares = grid.groupby(["rubric_version", "rank_first"])["value"].sum()
    assert shares.tolist() == pytest.approx([1.0] * 6)
    counted = pd.crosstab(many["rank_first"], many["rank_second"])
    assert grid["n"].groupby(["rank_first", "rank_second"]).sum().loc[(3, 2)] == counted.loc[3, 2]


def test_without_pairs_there_is_an_empty_result(few):
    none = double_scored(few.iloc[:1])
    assert by_version.by_version(none, rubrics()).empty
    assert level_differences.differences(none).empty
    assert level_differences.paired_levels(none, rubrics()).empty


def test_columns_come_from_the_vocabulary(few, many):
    text = (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    known = set(tomllib.loads(text))
    tables = (
        flow.flow(flow.checks(few)),
        double_scoring.double_scoring(double_scoring.lessons(few), by="site"),
        double_scoring.double_scoring_by_role(few),
        by_version.by_version(many, rubrics()),
        level_differences.differences(many),
        level_differences.paired_levels(many, rubrics()),
    )
    for table in tables:
        assert set(table.columns) <= known
