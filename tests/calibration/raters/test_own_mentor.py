"""Own mentors against others, and all three modules on the invented programme and the closed lists."""

import tomllib

import numpy as np
import pandas as pd
import pytest
from crossed import programme

from mentorstats import places
from mentorstats.calibration import (
    adjusted_scores,
    assignment_check,
    base_fit,
    is_own_mentor,
    own_mentor_difference,
)
from mentorstats.calibration.base.base import fit_again
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.sources import SOURCES

WITHIN = 3.0  # standard errors
ONE_STEP = 0.1  # of a standard error, against a refit


@pytest.fixture(scope="module")
def found(invented_base, invented):
    return own_mentor_difference(invented_base, is_own_mentor(invented_base.rows, invented.placements))


def visited(seed, bonus=0.4):
    """Two raters a candidate, of whom the first is the candidate's own mentor."""
    rows = programme(seed, criteria=2)
    own = rows["rater"].str[1:].astype(int) == rows["candidate"].str[1:].astype(int) % 12
    raised = own & (np.random.default_rng(seed).random(len(rows)) < bonus / 3)
    return rows.assign(own=own, rank=(rows["rank"] + raised).clip(upper=4), rater_role="mentor")


def test_the_planted_difference_is_found(found, invented) -> None:
    planted = invented.truth.sizes.set_index("name").loc["own mentor", "logits"]
    row = found.iloc[0]
    assert planted == 0.5
    assert abs(row["value"] - planted) < WITHIN * row["se"]
    assert row["low"] > 0
    assert row["n_both"] > 10


def test_the_difference_of_roles_is_that_of_the_fit(invented_base, found) -> None:
    row = found.iloc[1]
    assert row["comparison"] == "mentor against supervisor"
    name = invented_base.model.names.index("rater_role: supervisor") + invented_base.model.levels.problem.c
    assert row["value"] == pytest.approx(-invented_base.joint.beta[name])
    assert row["se"] == pytest.approx(np.sqrt(invented_base.joint.covariance[name, name]))


def test_one_step_reaches_a_refit() -> None:
    made = base_fit(visited(6))
    row = own_mentor_difference(made, "own").iloc[0]
    refit = fit_again(made, {"own": made.rows["own"].astype(float)}, more=["own"])
    there = refit.coefficients.loc["own"]
    assert row["value"] == pytest.approx(there["estimate"], abs=ONE_STEP * there["se"])
    assert row["se"] == pytest.approx(there["se"], rel=ONE_STEP)


def test_mentors_who_never_visit_are_one_with_their_role() -> None:
    rows = visited(6)
    rows = rows.assign(rater_role=np.where(rows["own"], "mentor", "supervisor"))
    rows["rater"] = rows["rater_role"].str[0] + rows["rater"]
    row = own_mentor_difference(base_fit(rows), "own")
    assert row["status"].tolist() == ["not_identified", "ok"]
    assert np.isnan(row["value"].iloc[0])
    assert "cannot be distinguished" in row["status_note"].iloc[0]


def test_who_is_the_own_mentor_comes_from_the_placements() -> None:
    rows = pd.DataFrame(
        {"placement": ["1", "1", "2", "3", "9"], "rater": ["a", "b", "b", "a", "a"]}, index=range(5, 10)
    )
    placements = pd.DataFrame({"placement": ["1", "2", "3"], "mentor": ["a", "b", None]})
    own = is_own_mentor(rows, placements)
    assert own.index.tolist() == list(range(5, 10))
    assert own.tolist()[:3] == [True, False, True]
    assert own.isna().tolist() == [False, False, False, True, True]


def test_the_invented_programme_knows_them_too(invented_base, invented) -> None:
    own = is_own_mentor(invented_base.rows, invented.placements)
    assert own.notna().all()
    assert (invented_base.rows.loc[own.to_numpy(dtype=bool), "rater_role"] == "mentor").all()


def test_bad_input_is_refused(invented_base) -> None:
    with pytest.raises(ArgumentError, match="values of own_mentor"):
        own_mentor_difference(invented_base, [True])
    with pytest.raises(ColumnError, match="own"):
        own_mentor_difference(invented_base, "own")
    with pytest.raises(ColumnError, match="mentor"):
        is_own_mentor(invented_base.rows, pd.DataFrame({"placement": ["1"]}))
    twice = pd.DataFrame({"placement": ["1", "1"], "mentor": ["a", "b"]})
    with pytest.raises(ArgumentError, match="two rows"):
        is_own_mentor(invented_base.rows, twice)
    with pytest.raises(ArgumentError, match="confidence"):
        own_mentor_difference(invented_base, np.zeros(len(invented_base.rows), dtype=bool), confidence=2)


def test_nobody_rated_an_own_candidate(invented_base) -> None:
    row = own_mentor_difference(invented_base, np.zeros(len(invented_base.rows), dtype=bool)).iloc[0]
    assert row["status"] == "no_records"


def test_candidates_of_the_invented_programme_came_as_if_at_random(invented_base, invented) -> None:
    checked = assignment_check(invented_base)
    assert checked.ignorable
    told = checked.raters[checked.raters["status"] == "ok"].merge(invented.truth.raters, on="rater")
    told = told[told["rater_role"] == "supervisor"]
    ordinary = told["planted"].isin(["", "severe", "lenient"])
    for name in ("contrast", "within"):
        off = (told[name] - told["shift"])[ordinary]
        z = (off - off.mean()) / told[f"{name}_se"][ordinary]  # the middle of a role is its own
        assert (z.abs() < WITHIN).all()


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


def test_tables_keep_to_the_closed_lists(invented_base, found) -> None:
    checked, scores = assignment_check(invented_base), adjusted_scores(invented_base, cut=2.5)
    keys = {"rater", "candidate", "cohort", "rubric", "rubric_version"}
    for table in (found, checked.raters, checked.roles, scores.scores, scores.summary):
        assert set(table.columns) - keys <= known("result_columns.toml")
        assert set(table["status"]) <= known("statuses.toml")
        assert set(table["reference"]) <= set(SOURCES)
