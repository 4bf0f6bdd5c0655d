"""Double-scored lessons are counted by hand, by rater, site and month."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import by_rater, double_scored, lesson_table, partners
from mentorstats.agreement.coefficients.by_version import by_version, side_by_side
from mentorstats.agreement.counts.double_scores import over_raters
from mentorstats.agreement.counts.double_scoring import double_scores, double_scoring
from mentorstats.errors import ArgumentError, ColumnError

ROWS = [  # lesson, candidate, site, day, rater, role, criterion, rank, independent
    ("o1", "c1", "Moss", "2026-03-02", "m1", "mentor", "x", 2, True),
    ("o1", "c1", "Moss", "2026-03-02", "s1", "supervisor", "x", 3, True),
    ("o1", "c1", "Moss", "2026-03-02", "m1", "mentor", "y", 1, True),
    ("o2", "c1", "Moss", "2026-03-09", "m1", "mentor", "x", 4, True),
    ("o2", "c1", "Moss", "2026-03-09", "s2", "supervisor", "x", 4, False),
    ("o3", "c1", "Moss", "2026-04-01", "m1", "mentor", "x", 3, None),
    ("o3", "c1", "Moss", "2026-04-01", "s1", "supervisor", "x", 3, None),
    ("o4", "c2", "Fen", "2026-04-02", "m2", "mentor", "x", 1, True),
    ("o5", "c2", "Fen", "2026-04-03", "s1", "supervisor", "x", 2, True),
    ("o6", "c2", "Fen", "2026-04-04", "m2", "mentor", "x", 2, True),
    ("o6", "c2", "Fen", "2026-04-04", "s1", "supervisor", "y", 2, True),
    ("o7", "c2", "Fen", "2026-04-05", "t1", "trainer", "x", 2, True),
    ("o7", "c2", "Fen", "2026-04-05", "t2", "trainer", "x", 2, True),
]


def long_table():
    names = ["observation", "candidate", "site", "date", "rater", "rater_role", "criterion", "rank"]
    frame = pd.DataFrame(ROWS, columns=[*names, "independent"]).assign(rubric="r", rubric_version="1")
    frame["level"] = frame["rank"].astype("str")
    frame["date"] = pd.to_datetime(frame["date"])
    return frame.astype({"rank": "Int8", "independent": "boolean"})


def test_one_row_a_lesson():
    table = lesson_table(long_table())
    assert list(table.index) == ["o1", "o2", "o3", "o4", "o5", "o6"]
    assert table["double_scored"].tolist() == [True, True, True, False, False, False]
    assert table["n_raters"].tolist() == [2, 2, 2, 1, 1, 2]
    assert table["month"].tolist() == ["2026-03", "2026-03", "2026-04", "2026-04", "2026-04", "2026-04"]
    # mentors on x: 2 4 3 1 2, mean 2.4; the only mentor's y is its own mean
    assert table.loc["o1", "level_mentor"] == pytest.approx((2 - 2.4 + 0) / 2)
    assert table.loc["o2", "level_mentor"] == pytest.approx(1.6)
    assert np.isnan(table.loc["o5", "level_mentor"])
    assert table.loc["o5", "level_supervisor"] == pytest.approx(2 - 3)


def test_any_two_raters_count_where_no_roles_are_asked_for():
    table = lesson_table(long_table(), roles=None)
    assert table.index[table["double_scored"]].tolist() == ["o1", "o2", "o3", "o7"]


@pytest.mark.parametrize(
    ("by", "expected"),
    [
        ("site", {"Moss": (3, 3), "Fen": (3, 0)}),
        ("month", {"2026-03": (2, 2), "2026-04": (4, 1)}),
    ],
)
def test_counts_by_site_and_month(by, expected):
    found = double_scoring(lesson_table(long_table()), by=by)
    assert {key: (row.n_lessons, row.n_double_scored) for key, row in found.iterrows()} == expected


def test_counts_by_rater_and_partner():
    found = by_rater(long_table())
    assert found[["n_lessons", "n_double_scored", "n_candidates"]].T.to_dict("list") == {
        "m1": [3, 3, 1],
        "m2": [2, 0, 1],
        "s1": [4, 2, 2],
        "s2": [1, 1, 1],
    }
    assert found.loc["m1", ["n_partners", "partner", "partner_share"]].tolist() == [2, "s1", 2 / 3]
    assert found.loc["s1", ["n_partners", "partner", "partner_share"]].tolist() == [1, "m1", 1.0]
    assert found.loc["m2", ["n_partners", "partner", "partner_share"]].isna().all()
    assert found.loc["s1", "value"] == 0.5
    assert found["rater_role"].tolist() == ["mentor", "mentor", "supervisor", "supervisor"]


def test_of_partners_alike_the_first_by_name():
    pairs = double_scored(long_table())
    found = partners(pairs[pairs["observation"].isin(["o1", "o2"])])
    assert found.loc["m1"].tolist() == [2, 2, "s1", 0.5]


def test_no_double_scores_give_empty_tables():
    alone = long_table().query("rater_role == 'mentor'")
    assert partners(double_scored(alone)).empty
    found = by_rater(alone)
    assert found["n_double_scored"].tolist() == [0, 0]
    assert not lesson_table(alone)["double_scored"].any()


def test_more_columns_join_by_lesson():
    more = pd.DataFrame({"observation": ["o1", "o2"], "visit_mode": ["recording", "in_person"], "site": "no"})
    table = lesson_table(long_table(), more=more)
    assert table["visit_mode"].tolist()[:2] == ["recording", "in_person"]
    assert table["visit_mode"].isna().sum() == 4
    assert set(table["site"]) == {"Moss", "Fen"}
    with pytest.raises(ArgumentError, match="twice"):
        lesson_table(long_table(), more=pd.concat([more, more]))
    with pytest.raises(ColumnError, match="'observation'"):
        lesson_table(long_table(), more=more.drop(columns="observation"))
    with pytest.raises(ColumnError, match="'rank'"):
        lesson_table(long_table().drop(columns="rank"))


def many(seed=4, n=240):
    """Pairs of 40 candidates whose dependent ratings always agree."""
    rng = np.random.default_rng(seed)
    first = rng.integers(1, 5, n)
    independent = rng.random(n) < 0.7
    second = np.where(independent & (rng.random(n) < 0.5), rng.integers(1, 5, n), first)
    frame = pd.DataFrame({"observation": [f"o{number}" for number in range(n)], "rank_first": first})
    frame["rank_second"] = second
    frame["independent"] = pd.Series(independent, dtype="boolean")
    frame.loc[:19, "independent"] = pd.NA
    frame["candidate"] = [f"c{number % 40}" for number in range(n)]
    for side in ("first", "second"):
        frame[f"rater_{side}"] = side
        frame[f"rater_role_{side}"] = side
        frame[f"level_{side}"] = frame[f"rank_{side}"].astype("str")
    return frame.assign(rubric="r", rubric_version="1", criterion="x")


RUBRICS = pd.DataFrame({"rubric": "r", "version": "1", "criterion": "x", "rank": [1, 2, 3, 4]})


def test_dependent_ratings_and_weights_stand_side_by_side():
    pairs = many()
    weights = pd.Series(np.where(np.arange(240) % 2, 1.0, 3.0), index=pairs["observation"], name="weight")
    weights.iloc[-30:] = np.nan
    found = side_by_side(pairs, RUBRICS, lesson_weights=weights).droplevel(["rubric", "rubric_version"])
    kept = {
        "all": pairs,
        "not_marked": pairs[pairs["independent"].fillna(True)],
        "marked_independent": pairs[pairs["independent"].fillna(False)],
        "weighted_lessons_alike": pairs[:-30],
    }
    for name, rows in kept.items():
        alone = by_version(rows, RUBRICS, by=()).droplevel(["rubric", "rubric_version"])
        pd.testing.assert_frame_equal(found.loc[name], alone)
    kappa = found["value"].xs("cohen_kappa", level="coefficient")
    assert kappa["marked_independent"] < kappa["not_marked"] < kappa["all"]
    weighted = found.loc["weighted"]
    assert weighted.n_units["cohen_kappa"] == 210
    agreed = (pairs["rank_first"] == pairs["rank_second"])[:210]
    expected = np.average(agreed, weights=weights[:210])
    assert weighted.value["percent_agreement"] == pytest.approx(expected)


def test_without_weights_there_are_three_rows():
    found = side_by_side(many(), RUBRICS)
    assert list(found.index.get_level_values("ratings").unique()) == [
        "all",
        "not_marked",
        "marked_independent",
    ]


def test_over_raters_by_hand():
    of_raters = pd.DataFrame(
        {
            "rater_role": ["mentor"] * 4 + ["supervisor"],
            "n_double_scored": [0, 1, 2, 5, 8],
            "value": [0.0, 0.5, 0.5, 1.0, 0.4],
            "n_partners": pd.array([None, 1, 1, 3, 4], dtype="Int64"),
            "partner_share": [np.nan, 1.0, 1.0, 0.6, 0.25],
        }
    )
    found = over_raters(of_raters)
    row = found.loc[("mentor", "n_double_scored")]
    assert (row["n_raters"], row["lower_quartile"], row["median"]) == (4, 0.75, 1.5)
    assert found.loc[("mentor", "partner_share"), "n_raters"] == 3
    assert found.loc[("mentor", "n_partners"), "share_with_one"] == pytest.approx(2 / 3)
    assert found.loc[("supervisor", "value"), ["lower_quartile", "upper_quartile"]].tolist() == [0.4, 0.4]


def test_the_report_counts_months_and_raters():
    found = double_scores(long_table().assign(cohort="2026"))
    assert found.by_month["n_double_scored"].to_dict() == {"2026-03": 2, "2026-04": 1}
    assert found.total.loc["all", "n_lessons"] == 6
    assert found.over_raters.loc[("supervisor", "n_double_scored"), "n_raters"] == 2
