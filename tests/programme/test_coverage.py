"""What is expected and what is there, on a programme small enough to count by hand."""

import closed_lists
import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.weightstats import CompareMeans

from mentorstats import programme
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status

TOLERANCE = 1e-12  # the same arithmetic in another library
DAY = pd.Timestamp("2025-09-01")
RUBRICS = pd.DataFrame({"rubric": "r", "version": "1", "criterion": ["a", "b"]})


def tables(
    statuses=("completed", "completed", "ended_early", "planned", "completed"), visits=(3, 1, 1, 0, 0)
):
    placements = pd.DataFrame(
        {
            "placement": [f"p{i}" for i in range(5)],
            "candidate": [f"c{i}" for i in range(5)],
            "cohort": "2025",
            "site": ["x", "x", "y", "y", None],
            "licensure_area": "science",
            "status": statuses,
            "start": DAY,
            "end": DAY + pd.Timedelta(days=90),
        }
    )
    owner = np.repeat(np.arange(5), visits)
    turn = np.concatenate([np.arange(n) for n in visits]).astype(int)
    observations = pd.DataFrame(
        {
            "observation": [f"o{i}" for i in range(len(owner))],
            "placement": [f"p{i}" for i in owner],
            "date": DAY + pd.to_timedelta(10 + 30 * turn, unit="D"),
        }
    )
    long = observations.loc[np.repeat(np.arange(len(owner)), 2)].reset_index(drop=True)
    long = long.assign(
        candidate="c" + long["placement"].str[1:],
        rater="s1",
        rater_role="supervisor",
        rubric="r",
        rubric_version="1",
        criterion=["a", "b"] * len(owner),
        week=((long["date"] - DAY).dt.days // 7 + 1).astype("Int64"),
        rank=pd.array([2, 3] * len(owner), dtype="Int8"),
    )
    return placements, observations, long


def found(**changed):
    placements, observations, long = tables()
    given = {"placements": placements, "observations": observations, "long": long} | changed
    return programme.expected_and_present(**given, rubrics=RUBRICS, lessons=3)


def test_each_step_counts_what_is_left_and_what_went():
    flow = found().flow
    assert flow["n"].tolist() == [5, 4, 3, 3, 3, 3]
    assert flow["n_left_out"].tolist() == [0, 1, 1, 0, 0, 0]


def test_lessons_are_expected_of_completed_placements_only():
    groups = found().groups
    whole = groups.loc[("all", "all")]
    assert (whole["n_placements"], whole["n_lessons"], whole["n_expected"], whole["n_enough"]) == (3, 4, 9, 1)
    assert whole["value"] == pytest.approx(1 / 3)
    assert groups.loc[("site", "x"), "n_enough"] == 1
    assert "y" not in groups.xs("site").index, "neither placement there was completed"


def test_late_is_the_last_third_of_the_placement():
    whole = found().groups.loc[("all", "all")]
    assert (whole["n_late"], whole["n_dated"]) == (1, 3)
    placements, *_ = tables()
    undated = found(placements=placements.drop(columns=["start", "end"])).groups.loc[("all", "all")]
    assert undated["n_dated"] == 0
    assert np.isnan(undated["share_late"])


def test_a_form_should_have_a_level_for_each_criterion():
    _, _, long = tables()
    long.loc[0, "rank"] = pd.NA
    role = found(long=long).roles.loc["supervisor"]
    assert (role["n_forms"], role["n_expected"], role["n_ratings"]) == (5, 10, 9)
    assert role["value"] == 0.9


def test_leavers_are_compared_as_a_library_does():
    rng = np.random.default_rng(1)
    placements = pd.DataFrame(
        {
            "placement": [f"p{i}" for i in range(30)],
            "candidate": [f"c{i}" for i in range(30)],
            "status": ["ended_early"] * 8 + ["completed"] * 22,
        }
    )
    long = pd.DataFrame({"candidate": placements["candidate"], "rank": rng.integers(1, 5, 30), "week": 2})
    long = long.assign(placement=placements["placement"], observation=placements["placement"], rater="s")
    long = long.assign(rater_role="supervisor", rubric="r", rubric_version="1", criterion="a")
    seen = long[["observation", "placement"]].assign(date=DAY)
    row = found(placements=placements, observations=seen, long=long).leavers.iloc[0]
    compared = CompareMeans.from_data(long["rank"][:8], long["rank"][8:])
    low, high = compared.tconfint_diff(usevar="unequal")
    assert row["low"] == pytest.approx(low, abs=TOLERANCE)
    assert row["high"] == pytest.approx(high, abs=TOLERANCE)
    assert (row["n_first"], row["n_second"]) == (8, 22)


def test_nobody_left_is_a_status():
    placements, observations, long = tables(statuses=("completed",) * 5)
    row = found(placements=placements, observations=observations, long=long).leavers.iloc[0]
    assert row["status"] == Status.NO_RECORDS
    assert np.isnan(row["value"])
    assert found().leavers.iloc[0]["status"] == Status.TOO_FEW_TO_ASSESS


def test_tables_keep_to_the_closed_lists_and_bad_input_is_refused():
    assert closed_lists.outside(found()) == []
    placements, *_ = tables()
    with pytest.raises(ColumnError, match="candidate"):
        found(placements=placements.drop(columns="candidate"))
    with pytest.raises(ArgumentError, match="lessons"):
        programme.expected_and_present(*tables(), RUBRICS, lessons=0)


def test_the_demo_is_counted_whole(invented_records):
    r = invented_records
    whole = programme.expected_and_present(r.placements, r.observations, r.long(), r.rubrics)
    assert whole.flow["n"].iloc[0] == len(r.placements)
    assert whole.flow["n_left_out"].sum() + whole.flow["n"].iloc[-1] == len(r.placements)
    assert whole.leavers["n_first"].iloc[0] == 9, "three placements a cycle end early"
